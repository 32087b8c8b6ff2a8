"""The folder that a run writes into, made and tried before the work starts."""

from pathlib import Path
from tempfile import TemporaryDirectory

from culvertrisk.checks import InputError

_REMEDY = "Give another folder; nothing was worked out or written."
_WRITTEN = (".html", ".csv", ".geojson", ".gpkg", ".gpx")


def make_folder(out: Path) -> None:
    """Make the folder and see that files can be put into it.

    Raises
    ------
    InputError
        If it cannot be made or written into, or holds a folder where a file goes.
    """
    rule, found = "be a folder", "a place where none can be made"
    try:
        out.mkdir(parents=True, exist_ok=True)
        rule, found = "let files be written into it", "a folder that does not"
        with TemporaryDirectory(dir=out, prefix=".new-"):
            in_the_way = [p.name for p in out.glob("*.*")
                          if p.suffix in _WRITTEN and p.is_dir()]  # fmt: skip
    except OSError as error:
        told = f"--out {out}: must {rule}, got {found} ({error.strerror}). {_REMEDY}"
        raise InputError([told]) from error
    if in_the_way:
        found = f"folders named {', '.join(sorted(in_the_way))}"
        rule = "hold no folder where a file is written"
        raise InputError([f"--out {out}: must {rule}, got {found}. {_REMEDY}"])
