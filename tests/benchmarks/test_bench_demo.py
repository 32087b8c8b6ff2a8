"""Whole-process runs of the demo's morning: warm cache, empty cache, fine DEM."""

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
GENERATE = ROOT / "data_demo" / "generator" / "generate.py"
RUN = "from culvertrisk.cli import run; run()"


def _command(benchmark, words, **environment):
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    subprocess.run(
        [sys.executable, "-c", RUN, *map(str, words)],
        check=True,
        capture_output=True,
        env=os.environ | environment,
    )
    peak_kb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    benchmark.extra_info["peak_mb_of_largest_child"] = max(before, peak_kb) / 1024


def test_demo_with_a_warm_cache(benchmark, tmp_path):
    words = ["demo", "--out", tmp_path]
    benchmark.pedantic(_command, (benchmark, words), rounds=3, warmup_rounds=1)


def test_demo_with_an_empty_cache(benchmark, tmp_path):
    words = ["demo", "--out", tmp_path / "out"]
    cache = {"NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    benchmark.pedantic(_command, (benchmark, words), cache, rounds=1)


@pytest.fixture(scope="module")
def fine_town(tmp_path_factory):
    """The demo town on a 3 m DEM: about 10 million cells."""
    folder = tmp_path_factory.mktemp("fine")
    command = [sys.executable, str(GENERATE), "--cell", "3", "--out", str(folder)]
    subprocess.run(command, check=True, capture_output=True)
    return folder / "town" / "town.toml"


def test_morning_on_ten_million_cells(benchmark, fine_town, tmp_path):
    words = ["morning", fine_town, "--out", tmp_path]
    benchmark.pedantic(_command, (benchmark, words), rounds=3, warmup_rounds=1)
