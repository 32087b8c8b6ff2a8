"""The names a notebook needs are there, and nothing else is promised."""

import subprocess
import sys

import pytest

import culvertrisk


def test_every_public_name_can_be_had():
    for name in culvertrisk.__all__:
        assert getattr(culvertrisk, name) is not None


def test_other_names_are_not_there():
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = culvertrisk.nothing


def test_importing_the_package_loads_nothing_heavy():
    code = "import sys, culvertrisk.cli; print('geopandas' in sys.modules)"
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert run.stdout.strip() == "False"
