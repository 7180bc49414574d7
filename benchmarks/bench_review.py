"""The whole desk review of the downtown block, as its user starts it: one round, with the peak of memory."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

DOWNTOWN = Path(__file__).parent.parent / "sample_gis" / "downtown_block" / "downtown_block.gpkg"
KB_PER_MB = 1024.0


@pytest.mark.benchmark(group="6 review of the downtown block")
@pytest.mark.skipif(sys.platform != "linux", reason="the peak of a process's memory is read as Linux gives it")
def bench_review(benchmark: Any, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    command = [sys.executable, "-m", "corridor", "review", str(DOWNTOWN), "-o", str(tmp_path / "out"), "--quiet"]
    command += [part for name in request.config.getoption("--target") for part in ("--target", name)]

    def review() -> float:
        with subprocess.Popen(command) as process:
            _, status, used = os.wait4(process.pid, 0)
            process.returncode = os.waitstatus_to_exitcode(status)
        assert process.returncode == 0
        return used.ru_maxrss / KB_PER_MB

    peak_mb = benchmark.pedantic(review, rounds=1)
    benchmark.extra_info["peak_memory_mb"] = round(peak_mb)
    assert (tmp_path / "out" / "results.gpkg").exists()
