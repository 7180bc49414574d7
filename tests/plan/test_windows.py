"""Targets solved in windows: as one where it fits, in overlapping parts where it doesn't."""

import geopandas as gpd
import numpy as np
import pytest

from corridor import Settings, Site, review_site
from corridor.errors import DomainError
from corridor.plan.prepare import Connected, Prepared, connect, hookup_of, prepare
from corridor.plan.review import Review
from corridor.plan.windows import split_windows
from corridor.settings import SolverSettings
from tests.block import at_frequencies
from tests.builders import make_site
from tests.plan.conftest import CABLE, KNOWN_SOIL, access, bond, cable, ground

EQUIPMENT = at_frequencies(50_000.0)
STREETS_M = (0.0, 300.0, 600.0)  # too far apart for tone to pass from one to the next
LENGTH_M = 60.0


@pytest.fixture(scope="module")
def streets() -> Site:
    """Three streets of two cables, each grounded at both ends, with a handhole on each cable."""
    names = {f"{'PQR'[k]}{n}": y + n for k, y in enumerate(STREETS_M) for n in (1, 2)}
    return make_site(
        lines=[CABLE | {"line_id": name, "geometry": [(0, y), (LENGTH_M, y)]} for name, y in names.items()],
        grounds=[ground(name, x, y) for name, y in names.items() for x in (0.0, LENGTH_M)],
        structures=[
            {"structure_id": f"H-{name}", "kind": "handhole", "access": "footway", "geometry": (0, y)}
            for name, y in names.items()
        ],
        terminations=[
            {"structure_id": f"H-{name}", "line_id": name, "at": "start", "direct": "yes", "clamp": "yes"}
            for name in names
        ],
        soil=[KNOWN_SOIL],
    )


def with_limit(sections: int) -> Settings:
    return Settings(solver=SolverSettings(section_limit=sections, compressed_limit=0, workers=1))


def reviewed(site: Site, sections: int) -> Review:
    return review_site(site, everything=True, equipment=EQUIPMENT, settings=with_limit(sections))


@pytest.fixture(scope="module")
def whole(streets: Site) -> Review:
    return reviewed(streets, 6000)


@pytest.fixture(scope="module")
def parted(streets: Site) -> Review:
    return reviewed(streets, 100)


def connected(site: Site, settings: Settings) -> tuple[Connected, gpd.GeoDataFrame]:
    found = connect(site, equipment=EQUIPMENT, settings=settings)
    return found, found.hookups[found.hookups["ready"] == "ready"]


def test_what_fits_is_one_window(whole: Review) -> None:
    assert whole.summary["windows"] == 1
    assert whole.summary["reach"].startswith("the network solved is all")


def test_what_does_not_fit_is_parted_by_place(streets: Site) -> None:
    settings = with_limit(100)
    found, ready = connected(streets, settings)
    windows = split_windows(found, ready, streets.lines["line_id"].tolist(), settings=settings)
    assert sorted(line for window in windows for line in window.lines) == sorted(streets.lines["line_id"])
    assert all(len({line[0] for line in window.lines}) == 1 for window in windows)  # no window spans two streets
    for window in windows:
        assert set(ready["line_id"].iloc[list(window.rows)]) <= set(window.lines)


def test_a_target_without_hookups_needs_no_window(streets: Site) -> None:
    settings = with_limit(100)
    found, ready = connected(streets, settings)
    assert split_windows(found, ready.iloc[:0], streets.lines["line_id"].tolist(), settings=settings) == []


def test_parts_that_tone_does_not_join_are_the_same_in_windows(whole: Review, parted: Review) -> None:
    # identity up to what passes through 300 m of soil
    assert parted.summary["windows"] > 1
    key = ["line_id", "hookup_id", "frequency_hz"]
    both = whole.stations.merge(parted.stations, on=["station_id", *key], suffixes=("", "_parted"))
    assert len(whole.stations) == len(parted.stations)
    assert len(both) > 0.9 * len(whole.stations)  # of two choices that grade alike either may win
    assert both["peak_offset_m_parted"].to_numpy() == pytest.approx(both["peak_offset_m"].to_numpy(), abs=2e-3)
    assert both["depth_reading_m_parted"].to_numpy() == pytest.approx(both["depth_reading_m"].to_numpy(), abs=2e-3)
    pieces = whole.sections.merge(parted.sections, on=["section_id", *key], suffixes=("", "_parted"))
    assert len(pieces) > 0.9 * len(whole.sections)
    shares = pieces["share_of_output"].to_numpy()
    assert pieces["share_of_output_parted"].to_numpy() == pytest.approx(shares, rel=1e-3, abs=1e-4)


def test_a_window_beyond_the_dense_limit_is_solved_in_blocks(streets: Site, whole: Review) -> None:
    # one street has more sections than are solved densely here: the same result, by the other solver
    settings = Settings(solver=SolverSettings(section_limit=50, workers=1))
    blocks = review_site(streets, everything=True, equipment=EQUIPMENT, settings=settings)
    assert blocks.summary["sections"] > 50
    key = ["line_id", "hookup_id", "frequency_hz"]
    pieces = whole.sections.merge(blocks.sections, on=["section_id", *key], suffixes=("", "_blocks"))
    assert len(pieces) > 0.9 * len(whole.sections)
    shares = pieces["share_of_output"].to_numpy()
    assert pieces["share_of_output_blocks"].to_numpy() == pytest.approx(shares, rel=1e-3, abs=1e-4)


def along(*, dense: int, blocks: int) -> Prepared:
    """What is prepared for a hook-up on a short cable, bonded to one that leads far away to a good ground.

    Poor grounds on the way are nodes, where the growth may stop.
    """
    far_m = 600.0
    site = make_site(
        lines=[cable("A"), CABLE | {"line_id": "B", "geometry": [(LENGTH_M, 1.0), (far_m, 1.0)]}],
        bonds=[bond("b", "B", (LENGTH_M, 0.0))],
        grounds=[ground("B", x, 1.0, ohm=1e4) for x in np.arange(120.0, far_m, LENGTH_M)]
        + [ground("B", far_m, 1.0, 1.0)],
        soil=[KNOWN_SOIL],
        **access("A"),
    )
    settings = Settings(solver=SolverSettings(section_limit=dense, compressed_limit=blocks, workers=1))
    found, ready = connected(site, settings)
    row = ready[ready["mode"] == "direct"].iloc[0]
    return prepare(
        found, [hookup_of(row)], [row["hookup_id"]], frequencies_hz=[1e3], equipment=EQUIPMENT, settings=settings
    )


def test_growth_goes_on_beyond_the_dense_limit() -> None:
    stopped, gone_on = along(dense=60, blocks=0), along(dense=60, blocks=20_000)
    assert stopped.stopped
    assert stopped.leaving_share > 0.02
    assert not stopped.model.is_large
    assert not gone_on.stopped
    assert gone_on.model.is_large
    assert gone_on.reach_m > stopped.reach_m


def test_growth_stops_at_the_limit_of_what_is_solved_in_blocks() -> None:
    prepared = along(dense=30, blocks=90)
    assert prepared.stopped
    assert prepared.model.n_sections > 30


def test_a_line_far_too_long_is_refused_before_it_is_cut() -> None:
    # one bad coordinate makes a line of thousands of kilometres
    site = make_site(lines=[cable("A", 0.0) | {"geometry": [(0, 0), (60e3, 0)]}], soil=[KNOWN_SOIL], **access("A"))
    settings = Settings(solver=SolverSettings(memory_limit_mb=100.0))
    found, ready = connected(site, settings)
    row = ready[ready["mode"] == "direct"].iloc[0]
    with pytest.raises(DomainError, match=r"fits in 100 MB .* sections"):
        prepare(
            found, [hookup_of(row)], [row["hookup_id"]], frequencies_hz=[1e3], equipment=EQUIPMENT, settings=settings
        )


def test_windows_are_told(parted: Review) -> None:
    assert parted.summary["reach"].startswith(f"in {parted.summary['windows']} overlapping windows, of which at worst")
    assert parted.summary["sections"] < 200
