"""The benchmarks still run: once each at their smallest, untimed."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.compiling import own_copy

ROOT = Path(__file__).parent.parent


@pytest.mark.thorough  # a process of its own compiles and imports again
def test_the_small_benchmarks_run(tmp_path: Path) -> None:
    files = [f"benchmarks/bench_{name}.py" for name in ("tone", "pairs", "site")]
    small = ["--sections-max", "500", "--lines", "100", "--benchmark-disable", "-p", "no:cacheprovider"]
    run = subprocess.run(
        [sys.executable, "-m", "pytest", *files, *small],
        cwd=ROOT, env=own_copy(tmp_path), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr
    assert "10 passed" in run.stdout


def test_the_readme_names_every_benchmark_and_option() -> None:
    text = (ROOT / "benchmarks" / "README.md").read_text(encoding="utf-8")
    files = [path.name for path in sorted((ROOT / "benchmarks").glob("bench_*.py"))]
    assert [name for name in files if f"`{name}`" not in text] == []
    assert [
        option for option in ("--large", "--sections-max", "--lines", "--target", "--page") if option not in text
    ] == []
