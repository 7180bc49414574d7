"""Write docs/conductors.md from the tables of metals, coatings, joints and conductors."""

from collections.abc import Iterable
from pathlib import Path

from corridor.site.materials import Joint, coatings, joint_types, materials
from corridor.site.tables import read_table
from corridor.tone.conductors import CARRIERS

__all__ = ["TARGET", "conductors_text"]

TARGET = Path(__file__).with_name("conductors.md")
_HEAD = """# Conductors

Made by docs/make_conductors.py from corridor/data (materials.toml, joints.toml, conductors.toml); edit there. Values
in brackets are ranges. "From memory" is recalled and not looked up, "engineering estimate" is a judgement; both
deserve a better value from the record: `series_ohm_per_km`, `leakage_s_per_km`, `capacitance_nf_per_km` and
`relative_permeability` of a line go before everything here.

# What carries the tone
"""
_RULES = """\
A cable's sheath carries the tone unless `sheath_bonding` is none. Earthed at one end (one_end), it has a ground by
rule at one end only; earthed at both ends or cross-bonded (both_ends, cross), at each end that stands at a structure
where the rules put one. Cross-bonded sheaths are taken as one continuous sheath, though their sections belong to
different phases. Current that comes back inside a sheath, from core to sheath, isn't solved: tone put on the core of
a cable whose sheath is earthed is not covered.

A stranded conductor is solved as the solid wire of the circle round its strands, with the resistivity raised so that
its resistance to direct current is that of the strands. Its inductance is then up to 0.015 uH/m low for 7 strands
(one part in a hundred of a buried wire's), less for more; the skin effect is that of a solid wire, an engineering
estimate to 15 %.

The bars of a concrete pipe share the current equally and act outside like one wire of their geometric mean distance.
Rings and spirals round them carry none of it along.

Joints that may part the metal are elements of their own, solved both ways; the others add their resistance to the
metal's, spread over the length between joints. `insulated`, `gasketed` and `unknown` part a pipe in the nominal case,
`corroded` joins it. An isolating joint at a structure is a capacitor in series, beside its insulation.
"""


def conductors_text() -> str:
    """Return the whole document."""
    metals = ((name, one.metal, one.source) for name, one in materials().items())
    parts = [
        _HEAD,
        _table(("carrier", "to the solver"), CARRIERS.items()),
        _RULES,
        "# Metals at 20 degrees C\n",
        _table(
            ("metal", "resistivity, 1e-8 ohm m", "relative permeability", "source"),
            (
                (name,
                 _ranged(m.resistivity_ohm_m, m.resistivity_low_ohm_m, m.resistivity_high_ohm_m, scale=1e8),
                 _ranged(m.relative_permeability, m.relative_permeability_low, m.relative_permeability_high), source)
                for name, m, source in metals if m
            ),
        ),
        "# Coatings and jackets\n",
        _table(
            ("coating", "relative permittivity", "thickness, mm", "conductivity, S/m", "source"),
            (
                (c.name, f"{c.relative_permittivity:g}", f"{c.thickness_mm:g}",
                 _ranged(c.conductivity_s_per_m, c.conductivity_low_s_per_m, c.conductivity_high_s_per_m), c.source)
                for c in coatings().values()
            ),
        ),
        "# Joints\n",
        _table(
            ("joint", "nominal", "closed, ohm", "open, ohm", "beside it, nF", "source"),
            (
                (j.name, _state(j),
                 _ranged(j.closed_ohm, j.closed_low_ohm, j.closed_high_ohm),
                 _ranged(j.open_ohm, j.open_low_ohm, j.open_high_ohm) if j.parts else "",
                 _ranged(j.open_f, j.open_low_f, j.open_high_f, scale=1e9) if j.parts else "", j.source)
                for j in joint_types().values()
            ),
        ),
        "# Where the record is silent\n",
        _table(
            ("figure", "value", "meaning", "source"),
            (
                (name, f"{row['value']:g}", row["meaning"], row["source"])
                for name, row in read_table("conductors").items()
            ),
        ),
    ]  # fmt: skip
    return "\n".join(parts)


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    lines = [head, tuple("---" for _ in head), *rows]
    return "".join(f"| {' | '.join(row)} |\n" for row in lines)


def _ranged(value: float, low: float, high: float, *, scale: float = 1.0) -> str:
    shown = f"{value * scale:.5g}"
    return shown if low == high == value else f"{shown} ({low * scale:.5g} to {high * scale:.5g})"


def _state(joint: Joint) -> str:
    if not joint.parts:
        return "metal goes through"
    if joint.name == "isolating_joint":
        return "parted"
    return "joined, solved both ways" if joint.closed else "parted, solved both ways"


if __name__ == "__main__":
    TARGET.write_text(conductors_text(), encoding="utf-8", newline="\n")
