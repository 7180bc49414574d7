"""The excavation zone: six blocks, three phases of a dig along the middle street, and the surfaces above."""

from itertools import product
from typing import Any

from .draft import Draft
from .grid import GAS_M, POWER_M, TELEPHONE_M, WATER_M, Grid
from .write import Areas

XS, YS = (-150.0, -50.0, 50.0, 150.0), (-80.0, 0.0, 80.0)
BEYOND_M = 42.0
TRAM_STREET = 2
METAL = (("water", "water_service"), ("gas", "gas_service"), ("power", "power_service"))
MIXED = (
    ("water", "water_service_plastic"),
    ("gas", "gas_service"),
    ("power", "power_service"),
    ("telephone", "copper_drop"),
)
COMMON = (("water", "water_service"), ("power", "power_service"), ("telephone", "copper_drop"))
CLOSURES = {
    "carriageway": "lane closure",
    "footway": "footway diversion",
    "rail": "track possession",
    "private": "consent of the owner",
    "verge": None,
}


def build(draft: Draft) -> Areas:
    """Put the zone on a draft and return its polygons."""
    grid = Grid(draft, xs=XS, ys=YS, beyond_m=BEYOND_M)
    rows, columns = [("ew", number) for number in range(3)], [("ns", number) for number in range(4)]
    grid.lay_pipes("water", "water_main", WATER_M, (*rows, *columns), isolating_joints=9)
    grid.lay_pipes("gas", "gas_main", GAS_M, (rows[0], rows[1], columns[0], columns[3]), isolating_joints=4)
    for row, transformers in zip(rows, ((-100.0,), (-90.0, 96.0), (12.0,)), strict=True):
        grid.lay_cable("power", "secondary", POWER_M, row, transformers=transformers)
    grid.lay_cable("primary", "primary", POWER_M, columns[1])
    for street in (rows[1], rows[2], columns[3]):
        grid.lay_cable("telephone", "copper_pair", TELEPHONE_M, street)
    for row in rows:
        grid.rack(("power", row), ("primary", columns[1]))
    grid.rack(("telephone", rows[1]), ("telephone", columns[3]))
    for row, cabinet in zip(rows, (4.0, -22.0, 30.0), strict=True):
        grid.light(row, cabinet, 76.0)
    add_unshared(grid)
    for row, stations in zip(
        rows,
        ((-120.0, -20.0, 84.0), (-122.0, -108.0, -24.0, 6.0, 24.0, 76.0, 122.0), (-110.0, 20.0, 100.0)),
        strict=True,
    ):
        for number, station in enumerate(stations):
            services = {0: METAL if row != rows[2] else COMMON, 1: MIXED if row == rows[1] else METAL[:1] + METAL[2:]}[
                number % 2
            ]
            grid.serve(row, station, services, gas="no" if number == 2 else "yes")
    add_bonds(grid)
    ground = [(-220.0, -150.0), (20.0, -150.0), (20.0, 150.0), (-220.0, 150.0)]
    wet = [(20.0, -150.0), (220.0, -150.0), (220.0, 150.0), (20.0, 150.0)]
    return Areas(
        soil=[
            {"ring": ground, "resistivity_ohm_m": 120.0, "low_ohm_m": 50.0, "high_ohm_m": 400.0},
            {"ring": wet, "resistivity_ohm_m": 35.0, "low_ohm_m": 15.0, "high_ohm_m": 110.0},
        ],
        work_area=[
            {"ring": box((left, right), (-9.0, 9.0)), "phase": phase, "dig_depth_m": depth}
            for phase, left, right, depth in (
                ("1", -160.0, -52.0, 1.8),
                ("2", -52.0, 48.0, 3.2),
                ("3", 48.0, 160.0, 2.4),
            )
        ],
        surfaces=surfaces(),
    )


def add_unshared(grid: Grid) -> None:
    """Lay what stands alone: drains, fibre in ducts, a tram rail, a reclaimed main, an abandoned gas main."""
    draft = grid.draft
    for number in range(3):
        street = grid.street("ew", number)
        for template, offset in (("sewer", 0.6), ("storm", 1.9)):
            draft.line(template, street.main(offset, *grid.ends("ew"), draft.rng))
    middle, tram = grid.street("ew", 1), grid.street("ns", TRAM_STREET)
    draft.line("fibre_duct", middle.main(-6.2, *grid.ends("ew"), draft.rng), tracer_wire="yes")
    grid.lines["rail"] = {("ns", TRAM_STREET): [draft.line("rail", tram.main(0.0, *grid.ends("ns"), draft.rng))]}
    grid.lines["reclaimed"] = {("ew", 1): [draft.line("reclaimed", middle.main(4.4, -168.0, 66.0, draft.rng))]}
    old = draft.line("gas_old", grid.street("ew", 2).main(1.0, -130.0, 40.0, draft.rng), status="abandoned")
    draft.plant("abandoned_line", line_id=old.line_id)


def add_bonds(grid: Grid) -> None:
    """Record some bonds along the middle street and hide others."""
    draft, row = grid.draft, ("ew", 1)
    reclaimed, (rail,) = grid.part("reclaimed", row), grid.lines["rail"]["ns", TRAM_STREET]
    water, gas, lamp = grid.part("water", row, 2), grid.part("gas", row, 1), grid.part("lighting", row, 1)
    middle = grid.street(*row)
    spots = (middle.on(reclaimed.path, 50.0), grid.street("ns", TRAM_STREET).on(rail.path, 4.4))
    draft.bond(reclaimed, rail, spots, evidence="recorded", kind="jumper", resistance_ohm=0.05, probability=1.0)
    draft.plant("bond", bond_id=draft.bonds[-1]["bond_id"])
    for line_a, line_b, station, evidence, state in (
        (water, gas, 14.0, "observed", "closed"),
        (lamp, reclaimed, 31.0, "recorded", "closed"),
        (gas, reclaimed, -130.0, "recorded", "open"),
    ):
        grid.link(line_a, line_b, station, row, evidence=evidence, state=state, resistance_ohm=0.03, probability=1.0)
        if state == "closed":
            draft.plant("bond", bond_id=draft.bonds[-1]["bond_id"])
    first = grid.part("water", row, 1)
    draft.hide_bond(
        first,
        grid.part("telephone", row),
        middle.on(first.path, -70.0),
        resistance_ohm=0.4,
        why="sheath rests on the main",
    )
    draft.hide_bond(
        gas, grid.part("water", ("ns", 1), 1), (-52.6, GAS_M), resistance_ohm=0.1, why="pipes touch at a crossing"
    )


def box(x: tuple[float, float], y: tuple[float, float]) -> list[tuple[float, float]]:
    """Return the ring of a rectangle, m."""
    return [(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])]


def surfaces() -> list[dict[str, Any]]:
    """Return the surfaces of the zone: they meet, never overlap and leave nothing out."""
    across = bands(XS, BEYOND_M)
    tram = XS[TRAM_STREET]
    place = next(index for index, (_, low, high) in enumerate(across) if low < tram < high)
    _, low, high = across[place]
    across[place : place + 1] = [
        ("carriageway", low, tram - 1.5),
        ("rail", tram - 1.5, tram + 1.5),
        ("carriageway", tram + 1.5, high),
    ]
    rows = []
    for (kind_x, left, right), (kind_y, low, high) in product(across, bands(YS, BEYOND_M)):
        kinds = {kind_x, kind_y}
        kind = next(word for word in ("rail", "carriageway", "footway", "verge", "private") if word in kinds)
        rows.append({"ring": box((left, right), (low, high)), "kind": kind, "closure": CLOSURES[kind]})
    return rows


def bands(centres: tuple[float, ...], beyond_m: float) -> list[tuple[str, float, float]]:
    """Return the bands across a row of streets: kind, from and to, m."""
    cuts: list[tuple[str, float, float]] = []
    edge, kind = centres[0] - beyond_m, "verge"
    for centre in centres:
        cuts += [
            (kind, edge, centre - 7.0),
            ("footway", centre - 7.0, centre - 4.5),
            ("carriageway", centre - 4.5, centre + 4.5),
            ("footway", centre + 4.5, centre + 7.0),
        ]
        edge, kind = centre + 7.0, "private"
    return [*cuts, ("verge", edge, centres[-1] + beyond_m)]
