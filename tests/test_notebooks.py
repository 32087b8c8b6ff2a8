"""Every notebook runs from a clean start, and stands in the tree after such a run."""

import ast
import tempfile
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).parent.parent / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
LARGEST_PICTURE_BYTES = 150_000
HERE = (str(FOLDER.parent), str(Path.home()), tempfile.gettempdir())
MACHINE_PATHS = (*HERE, "/home/", "site-packages", ":\\Users")


def _cells(path, kind="code"):
    book = nbformat.read(path, as_version=4)
    return [cell for cell in book.cells if cell.cell_type == kind]


def _code(path):
    lines = "\n".join(cell.source for cell in _cells(path)).splitlines()
    return ast.parse("\n".join(line for line in lines if not line.startswith("%")))


def _outputs(cells):
    return [output for cell in cells for output in cell.outputs]


@pytest.mark.slow
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_notebook_runs_without_error_or_warning(path):
    book = nbformat.read(path, as_version=4)
    where = {"metadata": {"path": str(FOLDER)}}
    # The first error ends the run and fails the test with its traceback.
    NotebookClient(book, timeout=300, kernel_name="python3", resources=where).execute()
    cells = [cell for cell in book.cells if cell.cell_type == "code"]
    said = [o.text for o in _outputs(cells) if o.get("name") == "stderr"]
    assert said == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_notebook_is_kept_after_a_clean_run(path):
    cells = _cells(path)
    counts = [cell.execution_count for cell in cells]
    assert counts == [*range(1, len(cells) + 1)]
    kinds = {output.output_type for output in _outputs(cells)}
    assert "error" not in kinds
    assert all(output.get("name") != "stderr" for output in _outputs(cells))
    assert nbformat.read(path, as_version=4).metadata.kernelspec.name == "python3"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_notebook_is_small_and_names_no_machine(path):
    text = path.read_text(encoding="utf-8")
    assert not [part for part in MACHINE_PATHS if part in text]
    for output in _outputs(_cells(path)):
        picture = output.get("data", {}).get("image/png", "")
        assert len(picture) * 3 / 4 < LARGEST_PICTURE_BYTES


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_notebook_defines_nothing_and_calls_only_public_names(path):
    tree = _code(path)
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda)
    assert not [node for node in ast.walk(tree) if isinstance(node, kinds)]
    names = [node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)]
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            names += [alias.name for alias in node.names]
    assert not [name for name in names if name.startswith("_")]
