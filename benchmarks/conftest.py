"""Options and surroundings of the benchmarks."""

from collections.abc import Iterator

import pytest
from threadpoolctl import threadpool_limits

SECTIONS = (500, 1000, 2000)
LARGE_SECTIONS = 4000


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--large", action="store_true", help=f"Also {LARGE_SECTIONS} sections (2 GB, minutes).")
    parser.addoption("--sections-max", type=int, help="Leave out networks with more sections.")
    parser.addoption("--target", action="append", default=[], help="Review this line only (may be repeated).")
    parser.addoption("--page", help="Measure this what-if page instead of the invented one.")
    parser.addoption("--lines", type=int, default=100_000, help="Lines of the large records.")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "sections" not in metafunc.fixturenames:
        return
    sizes = SECTIONS + ((LARGE_SECTIONS,) if metafunc.config.getoption("--large") else ())
    limit = metafunc.config.getoption("--sections-max")
    if limit is not None:
        sizes = tuple(size for size in sizes if size <= limit)
    metafunc.parametrize("sections", sizes, scope="module")


@pytest.fixture(autouse=True, scope="session")
def one_blas_thread() -> Iterator[None]:
    """As the engine itself runs; frequencies, not matrix blocks, are what it does at once."""
    with threadpool_limits(1, user_api="blas"):
        yield
