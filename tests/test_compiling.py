"""The suite's own machinery: one cache of compiled functions for all workers, and the order of the files."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.compiling import fcntl, own_copy
from tests.conftest import FIRST, HERE

MODULE = """
import numba

@numba.njit(cache=True)
def inner(x):
    return 2.0 * x

@numba.njit(cache=True)
def outer(x):
    return inner(x) + 1.0
"""
SCRIPT = """
import sys
from pathlib import Path
from tests.compiling import share
folder, worker = Path(sys.argv[1]), sys.argv[2]
share(folder / "compiled", worker)
sys.path.insert(0, str(folder))
import made
assert made.outer(3.0) == 7.0
print(sum(made.outer.stats.cache_hits.values()))
"""


@pytest.mark.skipif(fcntl is None, reason="files can't be locked here, so that each worker has a folder of its own")
def test_of_two_processes_at_once_one_compiles_and_the_other_loads(tmp_path: Path) -> None:
    (tmp_path / "made.py").write_text(MODULE, encoding="utf-8")
    plain = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", SCRIPT, str(tmp_path), worker],
            cwd=HERE.parent, env=plain, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for worker in ("gw0", "gw1")
    ]  # fmt: skip
    told = [run.communicate() for run in runs]
    assert sorted(out.strip() for out, _ in told) == ["0", "1"], told
    locks = sorted(path.name for path in (tmp_path / "compiled" / "locks").iterdir())
    assert locks == ["made.inner", "made.outer"]


def test_a_process_that_a_test_starts_gets_a_copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shared = tmp_path / "shared"
    shared.mkdir()
    (shared / "f.nbi").write_bytes(b"index")
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(shared))
    own = own_copy(tmp_path / "own")
    place = Path(own["NUMBA_CACHE_DIR"])
    assert place != shared
    assert (place / "f.nbi").read_bytes() == b"index"
    monkeypatch.delenv("NUMBA_CACHE_DIR")
    assert "NUMBA_CACHE_DIR" not in own_copy(tmp_path / "none")


def test_the_files_that_go_first_are_there() -> None:
    assert [name for name in FIRST if not (HERE / name).is_file()] == []
    assert len(set(FIRST)) == len(FIRST)
