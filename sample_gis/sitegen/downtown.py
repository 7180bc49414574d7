"""The downtown block: four streets round a block of houses and an alley through it.

Offsets grow outward from the block, the inner footway lies at -7 to -4.5 m, the outer one at 4.5 to 7 m. Lines of one
utility that are not joined keep 1.6 m between their ends, except inside one structure.
"""

import numpy as np

from .block import EAST, NORTH, SOUTH, WEST, WORK_AREA, Block
from .downtown_services import add_services
from .downtown_ties import add_bonds, add_grounds, add_lonely_partners, add_unexplained
from .draft import Draft, Line
from .streets import EAST_WEST, Street
from .write import Areas


def build(draft: Draft) -> Areas:
    """Put the whole block on a draft and return its polygons."""
    block = Block(draft)
    for step in (
        add_water,
        add_gas,
        add_power,
        add_duct_banks,
        add_telecommunications,
        add_lighting,
        add_signals,
        add_drains,
        add_heat_and_rail,
        add_services,
        add_lonely_partners,
        add_bonds,
        add_grounds,
        add_unexplained,
    ):
        step(block)
    ground = [(-150.0, -140.0), (150.0, -140.0), (150.0, 140.0), (-150.0, 140.0)]
    return Areas(
        soil=[{"ring": ground, "resistivity_ohm_m": 80.0, "low_ohm_m": 30.0, "high_ohm_m": 250.0}],
        work_area=[{"ring": WORK_AREA, "phase": "1", "dig_depth_m": 2.5}],
    )


def add_water(block: Block) -> None:
    """North ring main, west zone, east main, south trunk and south plastic main, with valves and hydrants."""
    draft, edge = block.draft, block.edge
    corner = NORTH.point(32.8, -2.6)
    west_half = block.main("water_n", "water_main", NORTH, (-2.6, edge(-1, 108, 120), 32.8))
    east_half = block.main("water_n2", "water_main", NORTH, (-2.6, 32.8, edge(1, 104, 118)))
    east = block.main("water_e", "water_main_bonded", EAST, (-5.2, 25.4, edge(-1, 98, 110)), depth_m=1.4)
    valve = draft.structure("valve", corner, utility="water", access="carriageway")
    draft.attach(valve, west_half, "end", access="yn")
    draft.attach(valve, east_half, "start", access="yn")
    draft.attach(valve, east, "start", access="yn", isolated="yes")
    draft.join(west_half, east_half, valve)
    draft.join(west_half, east, valve)
    draft.join(east_half, east, valve)
    draft.plant("isolating_joint", structure_id=valve, line_id=east.line_id)
    upper = block.main("water_w", "water_main_bonded", WEST, (4.0, edge(1, 98, 110), -5.0))
    lower = block.main("water_w2", "water_main_bonded", WEST, (4.0, -5.0, edge(-1, 98, 110)))
    valve = draft.structure("valve", upper.end, utility="water", access="carriageway")
    draft.attach(valve, upper, "end", access="yn")
    draft.attach(valve, lower, "start", access="yn")
    draft.join(upper, lower, valve)
    block.structures["valve_w"] = valve
    trunk = block.main("trunk", "water_trunk", SOUTH, (2.4, edge(-1, 104, 114), edge(1, 104, 114)))
    for station, access in ((-20.0, "yn"), (31.0, "uy")):
        draft.attach(
            draft.structure(
                "chamber", SOUTH.on(trunk.path, station), utility="water", access="carriageway", permit="lane closure"
            ),
            trunk,
            "through",
            access=access,
        )
    block.main("water_s", "water_plastic", SOUTH, (-4.2, edge(-1, 84, 96), edge(1, 84, 96)))
    for name, street, station, offset, gap in (
        ("water_n", NORTH, 11.0, 4.9, 0.08),
        ("water_w", WEST, 19.0, 6.2, 0.0),
        ("water_e", EAST, 3.0, -6.3, 0.0),
    ):
        add_hydrant(block, block.lines[name], street, station, offset, gap_m=gap)


def add_hydrant(block: Block, main: Line, street: Street, station_m: float, offset_m: float, *, gap_m: float) -> None:
    """Run a hydrant lateral from a main; a gap below the snapping tolerance still means joined."""
    draft = block.draft
    x, y = street.on(main.path, station_m)
    across = (y if street.axis == EAST_WEST else x) - street.centre_m
    start = across * street.outward + np.copysign(gap_m, offset_m - across * street.outward)
    lateral = draft.line("hydrant_lateral", street.path((station_m, start), (station_m, offset_m)))
    hydrant = draft.structure("hydrant", lateral.end, utility="water", access="footway")
    draft.attach(hydrant, lateral, "end", access="yn")
    draft.join(main, lateral)
    if gap_m:
        draft.plant("junction_gap_snapped", line_id=lateral.line_id, onto=main.line_id, gap_m=gap_m)


def add_gas(block: Block) -> None:
    """Lay the protected steel grid, a plastic east main with tracer wire and an abandoned iron main."""
    draft, edge = block.draft, block.edge
    north = block.main("gas_n", "gas_main", NORTH, (-3.9, edge(-1, 104, 116), -37.0))
    north2 = block.main("gas_n2", "gas_main", NORTH, (-3.9, -37.0, edge(1, 104, 116)))
    south = block.main("gas_s", "gas_main", SOUTH, (-2.5, edge(-1, 100, 112), -37.0))
    south2 = block.main("gas_s2", "gas_main", SOUTH, (-2.5, -37.0, edge(1, 100, 112)))
    west = block.main("gas_w", "gas_main", WEST, (-1.0, 24.1, -25.5))
    for first, second, at in ((north, north2, "start"), (south, south2, "end")):
        valve = draft.structure("valve", first.end, utility="gas", access="carriageway")
        for line, end in ((first, "end"), (second, "start"), (west, at)):
            draft.attach(valve, line, end, access="un")
        draft.join(first, second, valve)
        draft.join(first, west, valve)
        draft.join(second, west, valve)
    plastic = block.main("gas_e", "gas_plastic", EAST, (-3.8, 24.1, -25.5))
    plastic.path[0] = NORTH.on(north2.path, 34.2)
    plastic.path[-1] = SOUTH.on(south2.path, 34.2)
    for main, spot, at in ((north2, plastic.start, "start"), (south2, plastic.end, "end")):
        valve = draft.structure("valve", spot, utility="gas", access="carriageway")
        draft.attach(valve, main, "through", access="un")
        draft.attach(valve, plastic, at, access="yn", isolated="yes")
        draft.join(main, plastic, valve)
        draft.plant("isolating_joint", structure_id=valve, line_id=plastic.line_id)
    old = block.main("gas_old", "gas_old", NORTH, (2.0, edge(-1, 82, 92), edge(1, 50, 58)), status="abandoned")
    draft.plant("abandoned_line", line_id=old.line_id)
    test = draft.structure("test_station", NORTH.on(north2.path, -2.0), utility="gas", access="footway")
    draft.attach(test, north2, "through", access="yn")
    negative = draft.line("protection_cable", [NORTH.on(north.path, -72.0), NORTH.point(-72.0, 6.2)])
    rectifier = draft.structure("rectifier", NORTH.point(-72.0, 6.4), utility="gas", access="verge")
    positive = draft.line("protection_cable", [NORTH.point(-72.0, 6.7), NORTH.point(-72.0, 24.0)])
    bed = draft.structure("anode_bed", positive.end, utility="gas", access="private")
    draft.join(north, negative)
    draft.attach(rectifier, negative, "end", access="un")
    draft.attach(rectifier, positive, "start", access="un")
    draft.attach(bed, positive, "end", access="nn")
    draft.ground(positive, positive.end, 1.5, "recorded")


def add_power(block: Block) -> None:
    """Lay primary and secondary cables with manholes, two transformers and a de-energized cable in the alley."""
    draft, edge = block.draft, block.edge
    north = block.lines["primary_n"] = draft.line(
        "primary", NORTH.path((edge(-1, 106, 118), 3.45), (edge(1, 104, 116), 3.45))
    )
    east = block.lines["primary_e"] = draft.line("primary", EAST.path((31.45, 5.0), (edge(-1, 100, 110), 5.0)))
    branch = draft.line("primary", [NORTH.point(25.75, 3.45), NORTH.point(25.75, 6.4)])
    alley = draft.line("primary", [EAST.point(1.8, 5.0), (8.25, 1.8)])
    secondary = block.lines["secondary_n"] = draft.line(
        "secondary", [NORTH.point(26.25, 6.4), NORTH.point(26.25, 3.85), NORTH.point(-54.0, 3.85)]
    )
    west = block.lines["secondary_w"] = draft.line("secondary", WEST.path((31.85, -2.4), (-22.6, -2.4)))
    south = block.lines["secondary_s"] = draft.line(
        "secondary",
        SOUTH.path(
            (edge(-1, 104, 112), -5.4), (-86.0, -5.4), (-82.0, -4.65), (-78.0, -4.65), (-74.0, -5.4), (52.0, -5.4)
        ),
    )
    lane = block.lines["secondary_a"] = draft.line("secondary", [(7.75, 1.8), (-35.6, 1.8)])
    idle = block.lines["idle"] = draft.line(
        "secondary", [(-24.0, -0.4), (24.0, -0.4)], status="out_of_service", energized="no", sheath_bonding="one_end"
    )
    draft.plant("de_energized_line", line_id=idle.line_id)
    manholes = (
        (NORTH.point(-54.0, 3.65), ((north, "through"), (secondary, "end")), ()),
        (NORTH.point(-35.6, 3.65), ((north, "through"), (secondary, "through"), (west, "start")), ((secondary, west),)),
        (NORTH.point(-4.0, 3.65), ((north, "through"), (secondary, "through")), ()),
        (NORTH.point(26.0, 3.65), ((north, "through"), (branch, "start"), (secondary, "through")), ((north, branch),)),
        (NORTH.point(43.0, 3.65), ((north, "through"), (east, "start")), ((north, east),)),
        (EAST.point(1.8, 5.0), ((east, "through"), (alley, "start")), ((east, alley),)),
        (SOUTH.point(-35.6, -5.4), ((south, "through"), (west, "end")), ((south, west),)),
    )
    for position, standing, joined in manholes:
        manhole = draft.structure(
            "manhole", position, utility="electricity", access="carriageway", permit="lane closure"
        )
        for line, at in standing:
            draft.attach(manhole, line, at, access="ny")
        for line_a, line_b in joined:
            draft.join(line_a, line_b, manhole)
    pad = draft.structure("transformer", NORTH.point(26.0, 6.4), utility="electricity", access="locked")
    box = draft.structure("transformer", (8.0, 1.8), utility="electricity", access="locked")
    for where, feed, out in ((pad, branch, secondary), (box, alley, lane)):
        draft.attach(where, feed, "end", access="nu")
        draft.attach(where, out, "start", access="nu")
        draft.ground(out, out.start, 4.0, "recorded")
    draft.join(west, lane, draft.structure("handhole", lane.end, utility="electricity", access="carriageway"))
    for spot, at in ((idle.start, "start"), (idle.end, "end")):
        draft.attach(draft.structure("handhole", spot, utility="electricity", access="private"), idle, at, access="yy")
    draft.attach(
        draft.structure("cabinet", south.end, utility="electricity", access="locked"), south, "end", access="nu"
    )


def add_duct_banks(block: Block) -> None:
    """Lay the bank that holds the north cables, from the first to the last manhole."""
    bank = block.draft.line("duct_bank", [NORTH.point(-54.0, 3.65), NORTH.point(43.0, 3.65)])
    for name in ("primary_n", "secondary_n"):
        block.lines[name].attributes["contained_in"] = bank.line_id


def add_telecommunications(block: Block) -> None:
    """Copper along the streets and the alley, fibre in ducts, one with tracer wire."""
    draft, edge = block.draft, block.edge
    north = block.main("copper_n", "copper_pair", NORTH, (-5.8, edge(-1, 104, 116), 92.0))
    south = block.lines["copper_s"] = draft.line(
        "copper_pair",
        SOUTH.path(
            (edge(-1, 100, 110), -3.4),
            (-86.0, -3.4),
            (-82.0, -4.15),
            (-78.0, -4.15),
            (-74.0, -3.4),
            (edge(1, 100, 110), -3.4),
        ),
    )
    west = block.lines["copper_w"] = draft.line(
        "copper_pair", [NORTH.on(north.path, -33.8), SOUTH.on(south.path, -33.8)]
    )
    east = block.main("copper_e", "copper_pair", EAST, (6.8, edge(-1, 98, 108), edge(1, 98, 108)))
    alley = block.lines["copper_a"] = draft.line("copper_pair", [(-33.8, -2.2), (28.0, -2.2)])
    crossing = (44.8, 22.2)
    for position, standing in (
        (west.start, ((north, "through"), (west, "start"))),
        (west.end, ((south, "through"), (west, "end"))),
        (crossing, ((north, "through"), (east, "through"))),
        (NORTH.on(north.path, -17.5), ((north, "through"),)),
    ):
        manhole = draft.structure("manhole", position, utility="telecommunications", access="footway")
        for line, at in standing:
            draft.attach(manhole, line, at, access="uy")
        if west in (line for line, _ in standing):
            draft.join(west, standing[0][0], manhole)
    joint = draft.structure(
        "vault", SOUTH.point(-80.0, -4.4), utility="unknown", access="footway", permit="both owners present"
    )
    draft.attach(joint, block.lines["secondary_s"], "through", access="nn")
    draft.attach(joint, south, "through", access="ny")
    draft.join(west, alley, draft.structure("handhole", alley.start, utility="telecommunications", access="footway"))
    pedestal = draft.structure("pedestal", alley.end, utility="telecommunications", access="private")
    draft.attach(pedestal, alley, "end", access="yy")
    traced = block.main("fibre_n", "fibre_duct", NORTH, (5.4, edge(-1, 92, 104), edge(1, 92, 104)), tracer_wire="yes")
    for station in (-28.0, 21.0):
        box = draft.structure(
            "handhole", NORTH.on(traced.path, station), utility="telecommunications", access="footway"
        )
        draft.attach(box, traced, "through", access="yn")
    block.main("fibre_s", "fibre_duct", SOUTH, (-1.6, edge(-1, 96, 106), edge(1, 96, 106)))
    loop = draft.line(
        "fibre_duct",
        WEST.path(
            (edge(-1, 84, 94), -6.2), (52.0, -6.2), (55.0, -6.2), (55.0, -7.4), (53.5, -7.4), (53.5, -5.4), (60.0, -5.4)
        ),
    )
    draft.plant("self_crossing_line", line_id=loop.line_id)


def add_lighting(block: Block) -> None:
    """Lighting feeders with luminaires; the north and west feeders start in pairs at a cabinet."""
    draft = block.draft
    feeders = {
        "light_nw": (NORTH, -6.6, -2.2, -70.0),
        "light_ne": (NORTH, -6.6, -1.8, 29.2),
        "light_wn": (WEST, -5.2, -7.8, 62.0),
        "light_ws": (WEST, -5.2, -8.2, -60.0),
        "light_s": (SOUTH, -6.6, 20.0, -75.0),
        "light_e": (EAST, -6.5, 14.0, -62.0),
    }
    for name, (street, offset, start, end) in feeders.items():
        line = block.lines[name] = draft.line("lighting", street.path((start, offset), (end, offset)))
        step = 24.0 if end > start else -24.0
        for station in [*np.arange(start + step * 0.55, end, step), end]:
            if name == "light_ne" and station == end:
                continue
            luminaire = draft.structure(
                "luminaire", street.on(line.path, float(station)), utility="lighting", access="footway"
            )
            draft.attach(luminaire, line, "end" if station == end else "through", access="ny")
    for position, names in (
        (NORTH.point(-2.0, -6.6), ("light_nw", "light_ne")),
        (WEST.point(-8.0, -5.2), ("light_wn", "light_ws")),
        (SOUTH.point(20.0, -6.6), ("light_s",)),
        (EAST.point(14.0, -6.5), ("light_e",)),
    ):
        cabinet = draft.structure("cabinet", position, utility="lighting", access="locked")
        for name in names:
            draft.attach(cabinet, block.lines[name], "start", access="nu")
            draft.ground(block.lines[name], block.lines[name].start, None if name == "light_e" else 18.0, "recorded")


def add_signals(block: Block) -> None:
    """Traffic signals at the north-east corner, their cabinet shared with a lighting feeder."""
    draft = block.draft
    cabinet = draft.structure("cabinet", (29.5, 21.4), utility="traffic_signal", access="locked")
    across = draft.line("signal", [(29.5, 21.65), (29.5, 34.6)])
    along = draft.line("signal", [(29.75, 21.4), (45.7, 21.4)])
    far = draft.line("signal", [(45.7, 21.4), (45.7, 35.0)])
    draft.attach(cabinet, block.lines["light_ne"], "end", access="nu")
    for line in (across, along):
        draft.attach(cabinet, line, "start", access="ny")
    pole = draft.structure("pole", along.end, utility="traffic_signal", access="footway")
    for line, at in ((along, "end"), (far, "start")):
        draft.attach(pole, line, at, access="nn")
    draft.join(along, far, pole)
    for line in (across, far):
        draft.attach(
            draft.structure("pole", line.end, utility="traffic_signal", access="footway"), line, "end", access="ny"
        )


def add_drains(block: Block) -> None:
    """Clay sewers and concrete storm drains: in the records, but no tone on them."""
    draft, edge = block.draft, block.edge
    for street, sewer, storm, near in (
        (NORTH, -1.0, 0.6, 88.0),
        (SOUTH, -0.4, 1.0, 88.0),
        (WEST, 1.6, 2.8, 80.0),
        (EAST, -2.2, 2.6, 80.0),
    ):
        for template, offset in (("sewer", sewer), ("storm", storm)):
            line = draft.line(
                template, street.main(offset, edge(-1, near, near + 14), edge(1, near, near + 14), draft.rng)
            )
            if street in (NORTH, SOUTH):
                manhole = draft.structure(
                    "manhole", street.on(line.path, -12.0 + 5.0 * offset), utility=line.utility, access="carriageway"
                )
                draft.attach(manhole, line, "through")
    draft.line("sewer", [(-30.0, 0.5), (30.0, 0.5)], depth_m=2.4)
    planned = draft.line("heat", NORTH.path((-26.0, -0.2), (28.0, -0.2)), status="proposed")
    draft.plant("proposed_line", line_id=planned.line_id)


def add_heat_and_rail(block: Block) -> None:
    """District heat in the west street, reclaimed water and a tram rail in the east street."""
    draft, edge = block.draft, block.edge
    heat = block.main("heat", "heat", WEST, (0.2, edge(-1, 98, 108), 14.0))
    service = draft.line("heat", [WEST.on(heat.path, 2.0), (-30.6, 2.0)], depth_m=1.1, diameter_mm=89.0, wall_mm=3.2)
    chamber = block.structures["chamber_heat"] = draft.structure(
        "chamber", heat.end, utility="heat", access="carriageway", permit="confined space"
    )
    draft.attach(chamber, heat, "end", access="yn")
    entry = draft.structure("building_entry", service.end, utility="heat", access="indoor")
    draft.attach(entry, service, "end", access="un")
    draft.join(heat, service)
    draft.ground(service, service.end, 6.0, "observed")
    reclaimed = block.main("reclaimed", "reclaimed", EAST, (3.8, edge(-1, 94, 104), edge(1, 94, 104)))
    for station in (-17.0, 16.0):
        draft.attach(
            draft.structure("valve", EAST.on(reclaimed.path, station), utility="reclaimed_water", access="carriageway"),
            reclaimed,
            "through",
            access="yn",
        )
    block.main("rail", "rail", EAST, (0.0, edge(-1, 104, 114), edge(1, 104, 114)))
