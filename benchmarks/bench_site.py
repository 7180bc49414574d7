"""Large records: reading them, and finding where tone can jump."""

from pathlib import Path
from typing import Any

import pytest
from streets import write_records

import corridor


@pytest.fixture(scope="module")
def records(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("records") / "streets.gpkg"
    write_records(path, request.config.getoption("--lines"))
    return path


@pytest.mark.benchmark(group="5 large records")
def bench_read_site(benchmark: Any, records: Path, request: pytest.FixtureRequest) -> None:
    site = benchmark.pedantic(corridor.read_site, args=([records],), rounds=1)
    assert len(site.lines) == request.config.getoption("--lines")


@pytest.mark.benchmark(group="5 large records")
def bench_find_couplings(benchmark: Any, records: Path) -> None:
    site = corridor.read_site([records])
    found = benchmark.pedantic(corridor.find_couplings, args=(site,), rounds=1)
    benchmark.extra_info["parallel_runs"] = len(found.parallel_runs)
    benchmark.extra_info["crossings"] = len(found.crossings)
    assert len(found.parallel_runs)
    assert len(found.crossings)
