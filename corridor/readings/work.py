"""The network with room for every cause, solved in all soils and with other depths and places, and judged."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from corridor.couplings import find_couplings
from corridor.network.build import build_network
from corridor.plan.prepare import Connected, Prepared, prepare
from corridor.plan.stakes import stake_name
from corridor.readings.asked import asked_of, receiver_of, to_scale
from corridor.readings.bench import Bench, State, benches
from corridor.readings.causes import Suspect, suspects_of, with_places
from corridor.readings.extend import Extended, extended
from corridor.readings.geometry import redrawn_models
from corridor.readings.judge import (
    Expected,
    Hypothesis,
    Judged,
    expectations,
    hypotheses,
    judge,
    pairs,
    soil_factors,
    soils_solved,
    state_of,
)
from corridor.readings.plan import PlanLike, SetUp
from corridor.settings import Equipment, Settings
from corridor.site.model import Site
from corridor.tone.drive import Drive, place

__all__ = ["Progress", "Work", "connected_of", "prepared_of"]

Real = NDArray[np.float64]
Progress = Callable[[str, int, int], None]


def connected_of(site: Site, plan: PlanLike, settings: Settings) -> Connected:
    """Return what a site's records connect, with the plan's own hook-ups."""
    couplings = find_couplings(site, settings=settings)
    return Connected(site, couplings, build_network(site, couplings.bonds_found, settings=settings), plan.hookups, {})


def prepared_of(
    connected: Connected,
    setups: Mapping[str, SetUp],
    table: gpd.GeoDataFrame,
    *,
    equipment: Equipment,
    settings: Settings,
) -> tuple[Prepared, dict[str, int]]:
    """Return the network solved, one drive a hook-up, and the drive of each set-up."""
    own: dict[Any, int] = {}
    drive_of = {name: own.setdefault(setup.hookup, len(own)) for name, setup in sorted(setups.items())}
    names = [next(name for name, k in drive_of.items() if k == number) for number in range(len(own))]
    heard = set(table["frequency_hz"].dropna()) | {setup.frequency_hz for setup in setups.values()}
    prepared = prepare(
        connected, list(own), names, frequencies_hz=sorted(heard), equipment=equipment, settings=settings
    )
    return prepared, drive_of


class Work:
    """One run: the network with room for the causes, and what each leads to expect."""

    def __init__(
        self,
        connected: Connected,
        prepared: Prepared,
        *,
        drive_of: Mapping[str, int],
        readings: gpd.GeoDataFrame,
        setups: Mapping[str, SetUp],
        settings: Settings,
        equipment: Equipment,
    ) -> None:
        self._settings, self._equipment, self._soil = settings, equipment, prepared.soil
        found, self.left_out = suspects_of(connected, prepared, read=readings["line_id"], settings=settings)
        with_room = [(k, s.needs) for k, s in enumerate(found) if s.needs is not None]
        self._room = extended(prepared.model, prepared.drives, [n for _, n in with_room], soil=prepared.soil)
        index = {k: element for (k, _), element in zip(with_room, self._room.index, strict=True)}
        drives, others = _with_wrong(found, self._room, connected, drive_of, equipment=equipment)
        self.suspects = with_places(found, index, others)
        self._drives = drives
        wrong = {
            k: [s.other_drive for s in self.suspects if s.drive == k and s.other_drive >= 0] for k in drive_of.values()
        }
        meant = {name: (k, *wrong[k]) for name, k in drive_of.items()}
        self.asked = asked_of(readings, connected.site.lines, setups, meant, settings=settings)
        self._values = to_scale(self.asked, readings["value"].to_numpy(float))
        self._lines_read = list(dict.fromkeys(one.line_id for one in self.asked))

    def judged(self, progress: Progress | None) -> Judged:
        """Solve, judge each cause alone, then the likeliest two by two."""
        part = self._settings.readings
        factors = soil_factors(part)
        singles = hypotheses(self.suspects)
        base, redrawn = self._benches(soils_solved(part), progress)
        expected = self._expected(singles, base, redrawn)
        first = judge(singles, expected, self.asked, self._values, factors=factors, settings=part)
        both = pairs(singles, first.weight.sum(axis=1), of=part.pairs_of)
        if not both:
            return first
        exact = self._expected([h for h, _, _ in both], base, [])
        more = [expected[j].combined(expected[k], expected[0], one) for (_, j, k), one in zip(both, exact, strict=True)]
        every = [*singles, *(h for h, _, _ in both)]
        return judge(every, [*expected, *more], self.asked, self._values, factors=factors, settings=part)

    def _expected(self, listed: Sequence[Hypothesis], base: Bench, redrawn: Sequence[Bench]) -> list[Expected]:
        """Return what hypotheses lead to expect; equal states of the network are solved once."""
        part = self._settings.readings
        solved = soils_solved(part)
        number: dict[State, int] = {}
        ways = [(h.variant, number.setdefault(state_of(h.variant), len(number))) for h in listed]
        return expectations(
            base.respond(list(number), self.asked),
            [bench.respond(list(number), self.asked) for bench in redrawn],
            ways,
            self.asked,
            nominal=solved.index(1.0),
            equipment=self._equipment,
            solved=solved,
            factors=soil_factors(part),
        )

    def _benches(self, solved: Sequence[float], progress: Progress | None) -> tuple[Bench, list[Bench]]:
        model = self._room.model
        models = redrawn_models(model, self._order(), self._settings.readings)
        frequencies = sorted({one.frequency_hz for one in self.asked})
        total = (len(models) + len(solved)) * len(frequencies)
        done = 0

        def step() -> None:
            nonlocal done
            done += 1
            if progress is not None:
                progress("networks", done, total)

        switched = sorted({element for s in self.suspects for element in s.switch})
        made = benches(
            [(model, solved), *((other, (1.0,)) for other in models)],
            self._drives,
            switched,
            frequencies_hz=frequencies,
            soil=self._soil,
            equipment=self._equipment,
            receiver=receiver_of(self._settings),
            step=step,
        )
        return made[0], made[1:]

    def _order(self) -> list[int]:
        """Return lines by how near they lie to those read and hooked up: these first, then what runs beside them."""
        model = self._room.model
        first = [d.hookup.line_id for d in self._drives[: len(self._room.drives)]]
        named = dict.fromkeys([*first, *self._lines_read])
        middle = (model.start_m + model.end_m)[: model.n_conducting, :2] / 2
        index = model.line_index[: model.n_conducting]
        seen = np.isin(index, [model.line_ids.index(line) for line in named])
        away = np.full(len(model.line_ids), np.inf)
        for number in range(len(model.line_ids)):
            own = middle[index == number]
            if len(own):
                gaps = np.hypot(*(own[:, None] - middle[seen][None]).transpose(2, 0, 1))
                away[number] = gaps.min(axis=1).mean()
        away[[model.line_ids.index(line) for line in named]] = -1.0
        return [int(k) for k in np.argsort(away, kind="stable")]


def _with_wrong(
    found: Sequence[Suspect],
    room: Extended,
    connected: Connected,
    drive_of: Mapping[str, int],
    *,
    equipment: Equipment,
) -> tuple[list[Drive], dict[int, int]]:
    """Return the drives with those on the wrong line behind them, and their numbers by cause."""
    shapes = connected.site.lines.set_index("line_id").geometry
    name_of = {number: name for name, number in reversed(list(drive_of.items()))}
    drives, others = list(room.drives), {}
    for k, suspect in enumerate(found):
        if suspect.other is not None:
            stake = stake_name(name_of[suspect.drive]) if suspect.other.mode == "direct" else None
            others[k] = len(drives)
            drives.append(
                place(room.model, suspect.other, shapes.loc[suspect.other.line_id], stake=stake, equipment=equipment)
            )
    return drives, others
