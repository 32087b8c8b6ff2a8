"""The house's own rules: sizes of modules and functions, sources, columns, layers."""

import ast
import csv
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from culvertrisk.tables import columns, sources

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "culvertrisk"
MODULES = sorted(PACKAGE.rglob("*.py"))
GENERATOR = sorted((ROOT / "data_demo").rglob("*.py"))
MAX_MODULE_LINES = 300
MAX_FUNCTION_LINES = 30
MAX_PARAMETERS = 6


def _functions(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef)
    return [node for node in ast.walk(tree) if isinstance(node, kinds)]


def _public_functions(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    classes = [node for node in tree.body if isinstance(node, ast.ClassDef)]
    nodes = [*tree.body, *(item for node in classes for item in node.body)]
    functions = [node for node in nodes if isinstance(node, ast.FunctionDef)]
    return [node for node in functions if not node.name.startswith("_")]


def _body_lines(node, lines):
    """Lines of a function without its docstring and its comments."""
    first = node.body[0]
    is_docstring = isinstance(first, ast.Expr) and isinstance(
        getattr(first, "value", None), ast.Constant
    )
    docstring = first.end_lineno - first.lineno + 1 if is_docstring else 0
    inside = lines[node.lineno - 1 : node.end_lineno]
    comments = sum(line.lstrip().startswith("#") for line in inside)
    return len(inside) - docstring - comments


def _is_kernel(node):
    return any("jit" in ast.unparse(mark) for mark in node.decorator_list)


@pytest.mark.parametrize("path", [*MODULES, *GENERATOR], ids=lambda p: p.stem)
def test_module_is_short_and_says_what_it_is_for(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MAX_MODULE_LINES
    assert ast.get_docstring(ast.parse(text))


@pytest.mark.parametrize("path", [*MODULES, *GENERATOR], ids=lambda p: p.stem)
def test_functions_are_short(path):
    lines = path.read_text(encoding="utf-8").splitlines()
    sizes = {node.name: _body_lines(node, lines) for node in _functions(path)}
    assert not {n: size for n, size in sizes.items() if size > MAX_FUNCTION_LINES}


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.stem)
def test_public_functions_take_few_parameters_and_have_docstrings(path):
    if path.name == "cli.py":
        pytest.skip("options of a command are words of its user, not parameters")
    for node in _public_functions(path):
        count = len(node.args.args) + len(node.args.kwonlyargs)
        assert _is_kernel(node) or count <= MAX_PARAMETERS, node.name
        assert ast.get_docstring(node), node.name


@pytest.mark.parametrize(
    "path", sorted((PACKAGE / "formulas").glob("[!_]*.py")), ids=lambda p: p.stem
)
def test_public_formulas_carry_their_proof(path):
    for node in _public_functions(path):
        text = ast.get_docstring(node) or ""
        for section in ("Parameters", "Returns", "References"):
            assert f"{section}\n---" in text, f"{node.name} lacks {section}"


@pytest.mark.parametrize(
    "path", sorted((PACKAGE / "reports" / "templates").glob("*")), ids=lambda p: p.name
)
def test_page_sources_are_short(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MAX_MODULE_LINES


def test_every_source_named_in_a_table_or_check_exists():
    known = set(sources().index)
    named = {}
    for path in [*PACKAGE.glob("tables/*.csv"), *ROOT.glob("shared/checks/*.csv")]:
        with path.open(encoding="utf-8", newline="") as stream:
            for row in csv.DictReader(stream):
                if row.get("source"):
                    named.setdefault(row["source"], path.name)
    assert not {key: file for key, file in named.items() if key not in known}


def test_every_check_row_is_whole():
    for path in ROOT.glob("shared/checks/*.csv"):
        rows = pd.read_csv(path, dtype=str, keep_default_na=False)
        assert rows["kind"].isin(["published", "hand", "limit"]).all(), path.name
        assert (rows["where"] != "").all(), path.name
        assert (rows["expected"] != "").all(), path.name


def test_every_formula_has_a_check_file():
    checked = {path.stem for path in ROOT.glob("shared/checks/*.csv")}
    tests = "\n".join(
        path.read_text(encoding="utf-8") for path in ROOT.glob("tests/*.py")
    )
    for name in checked:
        assert f'published("{name}")' in tests, f"{name}.csv is read by no test"


def test_columns_are_named_once_with_a_maker_and_a_meaning():
    table = columns()
    assert table.index.is_unique
    assert table["made_by"].notna().all()
    assert table["meaning"].notna().all()
    makers = set(table["made_by"])
    stages = {path.stem for path in (PACKAGE / "stages").glob("*.py")}
    assert makers - {"culverts"} <= stages


def test_sources_are_named_once():
    assert sources().index.is_unique


def test_layers_hold():
    command = [
        sys.executable,
        "-c",
        "from importlinter.cli import lint_imports_command; lint_imports_command()",
    ]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout
