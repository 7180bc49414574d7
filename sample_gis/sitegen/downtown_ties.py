"""What ties the downtown block together, or doesn't: bonds, grounds, and the lines and structures that stand alone."""

from .block import EAST, NORTH, SOUTH, WEST, Block


def add_lonely_partners(block: Block) -> None:
    """One line reached by a long parallel run only, one reached by leakage only: neither has a bond or a joint."""
    draft = block.draft
    alarm = block.lines["alarm"] = draft.line(
        "copper_pair",
        SOUTH.path((-56.0, 6.4), (-53.0, 2.9), (26.0, 2.9), (29.0, 6.4)),
        subtype="private alarm cable",
        owner=None,
        depth_m=1.45,
        diameter_mm=20.0,
    )
    for spot, at, ohm in ((alarm.start, "start", 9.0), (alarm.end, "end", 12.0)):
        box = draft.structure("handhole", spot, utility="telecommunications", access="footway")
        draft.attach(box, alarm, at, access="yn")
        draft.ground(alarm, spot, ohm, "recorded")
    draft.plant(
        "parallel_run_only", target=block.lines["trunk"].line_id, partner=alarm.line_id, separation_m=0.5, length_m=79.0
    )
    oil = draft.line("oil", WEST.path((-16.0, 4.8), (-16.0, 16.0)))
    draft.plant("leakage_only", target=block.lines["water_w2"].line_id, partner=oil.line_id, gap_m=0.8)


def add_bonds(block: Block) -> None:
    """Five planted bonds, each the only link between its two groups; some doubtful rows; the hidden ones."""
    draft, lines = block.draft, block.lines
    planted = (
        ("heat", "water_w", WEST, 9.0, "recorded", "jumper", 0.01),
        ("gas_old", "gas_n2", NORTH, -10.0, "observed", "jumper", 0.02),
        ("light_wn", "copper_w", WEST, 12.0, "recorded", "shared_ground", 0.005),
        ("reclaimed", "rail", EAST, -20.0, "recorded", "jumper", 0.05),
        ("water_e", "gas_e", EAST, -7.0, "observed", "contact", 0.1),
    )
    for name_a, name_b, street, station, evidence, kind, ohm in planted:
        line_a, line_b = lines[name_a], lines[name_b]
        spots = (street.on(line_a.path, station), street.on(line_b.path, station))
        bond_id = draft.bond(line_a, line_b, spots, evidence=evidence, kind=kind, resistance_ohm=ohm, probability=1.0)
        row = draft.bonds[-1]
        draft.plant("bond", bond_id=bond_id, line_a=row["line_a"], line_b=row["line_b"])
    spots = (EAST.on(lines["reclaimed"].path, 16.0), EAST.on(lines["primary_e"].path, 16.0))
    draft.bond(
        lines["reclaimed"],
        lines["primary_e"],
        spots,
        evidence="recorded",
        kind="jumper",
        state="open",
        probability=1.0,
    )
    draft.bond(
        lines["trunk"], lines["gas_s2"], None, evidence="suspected", kind="contact", state="unknown", probability=0.3
    )
    north, old = lines["water_n"], lines["gas_old"]
    draft.hide_bond(
        north,
        lines["light_nw"],
        NORTH.on(north.path, -30.0),
        resistance_ohm=0.3,
        why="column foot touches a service sleeve",
    )
    draft.hide_bond(
        lines["trunk"], lines["gas_s2"], SOUTH.on(lines["trunk"].path, 8.0), resistance_ohm=0.1, why="shorted casing"
    )
    draft.hide_bond(
        old, lines["fibre_n"], NORTH.on(old.path, 21.0), resistance_ohm=1.0, why="tracer wire clamped to the old main"
    )


def add_grounds(block: Block) -> None:
    """Grounds in the records; the lighting columns, the rail and the building entries lack theirs or their figure."""
    draft, lines = block.draft, block.lines
    trunk = lines["trunk"]
    for spot in (trunk.start, trunk.end):
        draft.ground(trunk, spot, 8.0, "recorded")
    for name, resistance, evidence in (
        ("copper_n", 10.0, "recorded"),
        ("copper_s", None, "recorded"),
        ("copper_e", 14.0, "measured"),
    ):
        draft.ground(lines[name], lines[name].end, resistance, evidence)
    draft.ground(lines["copper_a"], lines["copper_a"].end, 16.0, "measured")
    draft.ground(lines["fibre_n"], lines["fibre_n"].start, 25.0, "recorded")
    draft.ground(lines["idle"], lines["idle"].end, 11.0, "observed")


def add_unexplained(block: Block) -> None:
    """Put down a hydrant and a manhole that no recorded line explains."""
    for kind, utility, spot in (("hydrant", "water", (-20.0, 9.0)), ("manhole", "telecommunications", (18.0, -9.0))):
        structure_id = block.draft.structure(kind, spot, utility=utility, access="private")
        block.draft.plant("unexplained_structure", structure_id=structure_id)
