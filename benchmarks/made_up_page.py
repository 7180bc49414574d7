"""An invented review of any size for the what-if page: as many sections and hook-ups as wanted, nothing solved."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, box

from corridor.frames import empty_table, table_frame
from corridor.plan.what_if import WhatIf, pack, steps_of
from corridor.plan.what_if_profiles import Profiles
from corridor.plan.what_if_ways import Links
from corridor.settings import Settings, load_equipment
from tests.builders import METRIC, make_site

ORIGIN_M = (500_000.0, 1_000_000.0)
FREQUENCIES_HZ = (500.0, 1000.0, 5000.0, 10_000.0, 50_000.0, 100_000.0)
LANES = 8
BLOCK_M = 90.0
SECTION_M = 2.5
STATION_M = 4.0
UTILITIES = ("water", "gas", "electricity", "telecommunications", "sewer", "heat", "lighting", "unknown")
LEVEL_MA = 100.0
REACH_M = 120.0


def made_up_review(sections: int, hookups: int, *, seed: int = 1) -> Any:
    """Return a review of a grid of streets, tone falling with the distance along and across, and waves on it."""
    rng = np.random.default_rng(seed)
    per_line = round(BLOCK_M / SECTION_M)
    count = -(-sections // per_line)
    shapes = [_line(k, round(np.sqrt(count / LANES / 2))) for k in range(count)]
    rows = [
        {
            "line_id": f"L-{k:04d}",
            "utility": UTILITIES[k % LANES],
            "geometry": shape,
            "depth_m": 1.0,
            "owner": f"Owner {k % 7}",
        }
        for k, shape in enumerate(shapes)
    ]
    site = make_site(lines=rows, work_area=[{"geometry": box(*_bounds(shapes))}])
    found = _what_if(shapes, per_line, hookups, rng)
    places = [shapes[_line_of(k, hookups, count)].interpolate(0.3, normalized=True) for k in range(hookups)]
    rows = [
        {"hookup_id": name, "mode": name.split(":")[0], "line_id": name.split(":")[1], "at_m": 27.0, "ready": "ready"}
        for name in found.hookup_ids
    ]
    table = table_frame("hookups", rows, geometry=places, crs=METRIC)
    names = (
        "strategy", "setups", "findings", "parallel_runs", "crossings", "bonded_groups", "isolations", "sections",
        "stations", "bleed_paths", "bonds_found",
    )  # fmt: skip
    frames = {name: empty_table(name, METRIC) for name in names}
    return SimpleNamespace(
        **frames, hookups=table, site=site, settings=Settings(), equipment=load_equipment(None), summary={},
        what_if=(found,),
    )  # fmt: skip


def _line(number: int, side: int) -> LineString:
    street, lane = divmod(number, LANES)
    column, row = divmod(street // 2, max(side, 1))
    x, y, shift = ORIGIN_M[0] + BLOCK_M * column, ORIGIN_M[1] + BLOCK_M * row, 0.8 * lane
    if street % 2:
        return LineString([(x, y + shift), (x + BLOCK_M, y + shift)])
    return LineString([(x + shift, y), (x + shift, y + BLOCK_M)])


def _bounds(shapes: list[LineString]) -> tuple[float, float, float, float]:
    every = np.array([shape.bounds for shape in shapes])
    return (*every[:, :2].min(axis=0), *every[:, 2:].max(axis=0))


def _line_of(hookup: int, hookups: int, lines: int) -> int:
    return hookup * lines // hookups


def _what_if(shapes: list[LineString], per_line: int, hookups: int, rng: np.random.Generator) -> WhatIf:
    lines, n, f = len(shapes), len(shapes) * per_line, len(FREQUENCIES_HZ)
    names = tuple(f"L-{k:04d}" for k in range(lines))
    marks = np.linspace(0.0, 1.0, per_line + 1)
    ends = np.array([[np.array(shape.interpolate(m, normalized=True).coords[0]) for m in marks] for shape in shapes])
    xy = np.stack([ends[:, :-1], ends[:, 1:]], axis=2).reshape(n, 2, 2)
    measure = np.tile(np.stack([marks[:-1], marks[1:]], axis=1) * BLOCK_M, (lines, 1))
    line_of = np.repeat(np.arange(lines), per_line)
    modes = ("direct", "clamp", "induction")
    ids = tuple(sorted(f"{modes[k % 3]}:{names[_line_of(k, hookups, lines)]}:{k:04d}" for k in range(hookups)))
    per = round(BLOCK_M / STATION_M)
    profiles = Profiles(
        np.repeat(np.arange(lines), per),
        np.tile((np.arange(per) + 0.5) * STATION_M, lines),
        tuple(np.array([names.index(name.split(":")[1])]) for name in ids),
    )
    a = np.arange(lines - 1)
    links = Links(a, a, a + 1, ("bond",) * len(a), tuple(f"B-{k}" for k in a))
    full = np.full((hookups, f), LEVEL_MA)
    made = WhatIf(
        names, line_of, xy, measure, np.full(n, 1.05), profiles, links, ids, FREQUENCIES_HZ, full, full, full / 10.0,
        full, np.full((hookups, f), "level", dtype=object), np.zeros((hookups, f), dtype=bool),
    )  # fmt: skip
    return replace(made, blocks=tuple(_block(made, k, rng) for k in range(hookups)))


def _block(made: WhatIf, hookup: int, rng: np.random.Generator) -> bytes:
    """Return one hook-up's block; what it holds is as irregular as solved tone."""
    f, lines = len(FREQUENCIES_HZ), len(made.line_ids)
    target = int(made.profiles.graded[hookup][0])
    middle = made.ends_m.mean(axis=1)
    away = np.linalg.norm(middle - middle[made.line_of == target].mean(axis=0), axis=1)
    share = rng.uniform(-2.5, 0.0, (f, lines))[:, made.line_of]
    share[:, made.line_of == target] = 0.0
    wave = 0.3 * np.sin(away[None, :] * rng.uniform(0.01, 0.2, (f, 1)) + rng.uniform(0, 6, (f, lines))[:, made.line_of])
    slope = rng.normal(0, 0.004, (f, lines))[:, made.line_of] * made.measure_m[None, :, 0]
    current = LEVEL_MA * 10.0 ** (share + wave + slope - away[None, :] / REACH_M)
    below = np.abs(wave * 20 + rng.uniform(0, 30, (f, lines))[:, made.line_of])
    above = np.abs(wave * 10 + rng.uniform(0, 12, (f, lines))[:, made.line_of])
    steps = steps_of(current)
    sense = (wave > 0).astype(np.uint8)
    stations = made.profiles.stations_of(hookup).size
    offsets = [np.rint(rng.normal(0, 20, (f, stations))).astype(np.int16) for _ in range(4)]
    grades = [rng.integers(0, 4, (f, stations)).astype(np.uint8) for _ in range(2)]
    ways = [np.full((f, lines), -1, dtype=np.int16), np.zeros((f, lines), dtype=np.uint16)]
    differences = np.diff(steps, axis=1, prepend=np.uint16(0))
    ranges: list[NDArray[np.uint8]] = [below.astype(np.uint8), above.astype(np.uint8)]
    masked = np.full((f, stations), -1, dtype=np.int16)
    return pack([differences, *ranges, sense, *ways, *offsets, *grades, masked])
