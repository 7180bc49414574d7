"""Work on tiles, in one process and on a cluster of two: the same results, also when a worker is killed."""

import os
import signal
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from corridor.city import Crew, city_bonded_networks, city_couplings, crew, open_tiles, over_tiles, spread, write_tiles
from corridor.city import couplings as tile_by_tile
from corridor.couplings import Couplings, find_couplings
from corridor.errors import InputError
from corridor.network import bonded_networks
from corridor.settings import CitySettings, Settings
from tests.city.made_up import assert_same, random_city

USED = Settings(city=CitySettings(tile_segments=9))


@pytest.fixture(scope="module")
def two() -> Iterator[Crew]:
    with crew(workers=2) as hands:
        yield hands


@dataclass(frozen=True)
class Killed(tile_by_tile._Work):
    """The work of `city_couplings`, whose process is killed in the middle of the second tile, the first time."""

    marker: Path | None = None

    def __call__(self, number: int) -> Couplings:
        if number == 1 and self.marker is not None and not self.marker.exists():
            self.marker.touch()
            os.kill(os.getpid(), signal.SIGKILL)
        return super().__call__(number)


def negative(number: int) -> int:
    if number == 5:
        message = "expected anything but a 5"
        raise InputError(message)
    return -number


def test_on_two_processes_the_tables_are_those_of_one(two: Crew, tmp_path: Path) -> None:
    site = random_city(3)
    assert write_tiles(site, tmp_path / "t", settings=USED) > 1
    tiles = open_tiles(tmp_path / "t")
    whole, found = find_couplings(site), city_couplings(tiles, hands=two)
    for name in vars(whole):
        assert_same(getattr(whole, name), getattr(found, name), name)
    joined, groups = bonded_networks(site), city_bonded_networks(tiles, hands=two)
    for name in vars(joined):
        assert_same(getattr(joined, name), getattr(groups, name), name)


def test_a_worker_killed_in_a_run_loses_nothing(two: Crew, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site, marker = random_city(4), tmp_path / "killed"
    assert write_tiles(site, tmp_path / "t", settings=USED) > 1
    monkeypatch.setattr(tile_by_tile, "_Work", lambda tiles, used: Killed(tiles, used, marker))
    whole, found = find_couplings(site), city_couplings(open_tiles(tmp_path / "t"), hands=two)
    assert marker.exists(), "nobody was killed"
    for name in vars(whole):
        assert_same(getattr(whole, name), getattr(found, name), name)


def test_results_come_in_the_order_of_the_tiles(two: Crew) -> None:
    told: list[tuple[str, int, int]] = []
    assert over_tiles(negative, 4, two, told=lambda *step: told.append(step), step="x") == [0, -1, -2, -3]
    assert told == [("x", k, 4) for k in (1, 2, 3, 4)]
    assert over_tiles(negative, 4, Crew()) == [0, -1, -2, -3]


def test_an_error_comes_through_as_it_is(two: Crew) -> None:
    for hands in (two, Crew()):
        with pytest.raises(InputError, match="expected anything but a 5"):
            over_tiles(negative, 6, hands)


def test_a_cluster_that_is_there_is_used_and_stays(two: Crew) -> None:
    address = two.client.scheduler.address
    with crew(scheduler=address) as hands:
        assert over_tiles(negative, 3, hands) == [0, -1, -2]
    assert over_tiles(negative, 3, two) == [0, -1, -2]


def test_nobody_at_the_address(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spread, "_PATIENCE_S", 0.2)
    with (
        pytest.raises(InputError, match=r"address of a Dask scheduler, 'tcp://127\.0\.0\.1:9' doesn't answer"),
        crew(scheduler="tcp://127.0.0.1:9"),
    ):
        pass


def test_one_worker_needs_no_cluster() -> None:
    with crew() as hands:
        assert hands.client is None
    with pytest.raises(InputError, match="at least one worker, got 0"), crew(workers=0):
        pass


def test_without_dask_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spread, "find_spec", lambda name: None)
    with pytest.raises(InputError, match=r"pip install 'corridor\[cluster\]'"), crew(workers=2):
        pass
