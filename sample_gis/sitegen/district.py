"""The bonded district: two by two streets, lines tied together by records, by sight and by code practice."""

from .draft import Draft
from .grid import GAS_M, POWER_M, TELEPHONE_M, WATER_M, Grid
from .write import Areas

NORTH, SOUTH, WEST, EAST = ("ew", 1), ("ew", 0), ("ns", 0), ("ns", 1)
METAL = (("water", "water_service"), ("gas", "gas_service"), ("power", "power_service"))
PLASTIC = (("water", "water_service_plastic"), ("power", "power_service"))


def build(draft: Draft) -> Areas:
    """Put the district on a draft and return its polygons."""
    grid = Grid(draft, xs=(-50.0, 50.0), ys=(-40.0, 40.0), beyond_m=48.0)
    grid.lay_pipes("water", "water_main_bonded", WATER_M, (SOUTH, NORTH, WEST, EAST), isolating_joints=4)
    grid.lay_pipes("gas", "gas_main", GAS_M, (SOUTH, NORTH, WEST), isolating_joints=2)
    grid.lay_cable("power", "secondary", POWER_M, NORTH, transformers=(-8.0,))
    grid.lay_cable("power", "secondary", POWER_M, SOUTH)
    grid.lay_cable("telephone", "copper_pair", TELEPHONE_M, SOUTH)
    grid.lay_cable("telephone", "copper_pair", TELEPHONE_M, EAST)
    grid.rack(("telephone", SOUTH), ("telephone", EAST))
    grid.light(NORTH, 10.0, 60.0)
    heat = draft.line("heat", grid.street(*EAST).path((-70.0, 2.0), (64.0, 2.0)))
    draft.ground(heat, heat.start, 6.0, "observed")
    for station, services in ((-30.0, METAL), (18.0, PLASTIC), (32.0, METAL)):
        grid.serve(NORTH, station, services, gas="yes" if station > 0 else "no")
    for station, services in (
        (-24.0, PLASTIC),
        (6.0, PLASTIC),
        (28.0, (("power", "power_service"), ("telephone", "copper_drop"))),
    ):
        grid.serve(SOUTH, station, services)
    add_bonds(grid)
    around = [(-120.0, -110.0), (120.0, -110.0), (120.0, 110.0), (-120.0, 110.0)]
    inside = [(-62.0, -52.0), (62.0, -52.0), (62.0, 52.0), (-62.0, 52.0)]
    return Areas(
        soil=[{"ring": around, "resistivity_ohm_m": 60.0, "low_ohm_m": 20.0, "high_ohm_m": 200.0}],
        work_area=[{"ring": inside, "phase": "1", "dig_depth_m": 2.0}],
    )


def add_bonds(grid: Grid) -> None:
    """Record bonds of every evidence and state, and hide three."""
    draft = grid.draft
    water_n, water_s = grid.part("water", NORTH, 1), grid.part("water", SOUTH, 1)
    water_w, water_e = grid.part("water", WEST, 1), grid.part("water", EAST, 1)
    gas_n, gas_s, gas_w = grid.part("gas", NORTH, 1), grid.part("gas", SOUTH, 1), grid.part("gas", WEST, 1)
    lamp, phone = grid.part("lighting", NORTH, 0), grid.part("telephone", EAST)
    south_power = grid.part("power", SOUTH)
    heat = next(line for line in draft.lines.values() if line.utility == "heat")
    for line_a, line_b, station, street, evidence, state, probability in (
        (water_w, gas_w, 8.0, WEST, "recorded", "closed", 1.0),
        (heat, phone, -12.0, EAST, "observed", "closed", 1.0),
        (lamp, grid.part("power", NORTH, 0), -22.0, NORTH, "measured", "closed", 1.0),
        (water_e, phone, 14.0, EAST, "inferred", "unknown", 0.35),
        (water_s, gas_s, -6.0, SOUTH, "recorded", "open", 1.0),
        (water_n, gas_n, 2.0, NORTH, "suspected", "unknown", 0.3),
    ):
        grid.link(
            line_a,
            line_b,
            station,
            street,
            evidence=evidence,
            state=state,
            probability=probability,
            resistance_ohm=0.02 if evidence == "recorded" else None,
        )
        if state == "closed":
            draft.plant("bond", bond_id=draft.bonds[-1]["bond_id"])
    crossing = (52.0, south_power.start[1])
    draft.bond(heat, south_power, (crossing, crossing), evidence="inferred", kind="contact", probability=0.7)
    draft.plant("bond", bond_id=draft.bonds[-1]["bond_id"])
    north, south = grid.street(*NORTH), grid.street(*SOUTH)
    draft.hide_bond(water_n, gas_n, north.on(water_n.path, 24.0), resistance_ohm=0.2, why="pipes touch at a crossing")
    draft.hide_bond(
        water_s,
        grid.part("telephone", SOUTH),
        south.on(water_s.path, 20.0),
        resistance_ohm=0.5,
        why="sheath rests on the main",
    )
    draft.hide_bond(heat, gas_s, south.point(52.0, GAS_M), resistance_ohm=0.1, why="shorted sleeve")
