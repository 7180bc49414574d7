"""Settings of the whole test suite."""

import gc
import os
from pathlib import Path

import pytest
from hypothesis import settings

from tests.compiling import share

HERE = Path(__file__).parent

if worker := os.environ.get("PYTEST_XDIST_WORKER"):  # before anything is compiled
    share(HERE.parent / ".pytest_cache" / "compiled", worker)

# the same examples on every run, so that a failure is the change's own; HYPOTHESIS_PROFILE=search looks for new ones
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("search", deadline=None, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))

# What takes longest goes first, so that both workers end together; the first compiles the solver, the second and the
# third need none of it meanwhile. The rest as collected.
FIRST = (
    "plan/test_review.py",
    "site/test_read.py",
    "site/test_messy_files.py",
    "validation/test_main_job.py",
    "validation/test_large_networks.py",
    "test_open_data.py",
    "test_sample_gis.py",
    "test_clipped_downtown.py",
    "plan/test_plan.py",
    "plan/test_passive.py",
    "validation/test_mutual_impedance.py",
    "commands/test_commands.py",
    "validation/test_trade_facts.py",
    "validation/test_sectioning.py",
    "test_benchmarks.py",
)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let the long ones be asked for."""
    parser.addoption("--thorough", action="store_true", help="run the tests marked thorough too: more of the same")


def pytest_configure(config: pytest.Config) -> None:
    """Keep the order below: of files, the plug-in that shares them out takes those with most tests first."""
    config.option.loadscopereorder = False
    config.addinivalue_line(
        "markers", "thorough: long, or further cases of what a quicker test asks; run with --thorough, and by .ci/run"
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Put the files of `FIRST` first, and leave the thorough ones out unless they are asked for."""
    rank = {HERE / name: number for number, name in enumerate(FIRST)}
    items.sort(key=lambda item: rank.get(item.path, len(FIRST)))
    if not config.getoption("--thorough"):
        left_out = [item for item in items if item.get_closest_marker("thorough")]
        items[:] = [item for item in items if not item.get_closest_marker("thorough")]
        config.hook.pytest_deselected(items=left_out)


def pytest_collection_finish() -> None:
    """Leave what libraries and tests have made so far out of the collector's rounds: a tenth of the time."""
    gc.freeze()
    gc.set_threshold(50_000)
