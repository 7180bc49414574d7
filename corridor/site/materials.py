"""Metals, other materials, coatings and joints, from the shipped tables (corridor/data/materials.toml, joints.toml)."""

import math
from dataclasses import dataclass
from functools import cache
from typing import Any

from corridor.site.tables import read_table, word_key

__all__ = [
    "Coating",
    "Joint",
    "Material",
    "Metal",
    "coating",
    "coatings",
    "joint_types",
    "material_words",
    "materials",
    "metal",
]


@dataclass(frozen=True, kw_only=True)
class Metal:
    """Electrical figures of a metal at 20 °C, with their ranges (ohm m; relative)."""

    resistivity_ohm_m: float
    resistivity_low_ohm_m: float
    resistivity_high_ohm_m: float
    relative_permeability: float
    relative_permeability_low: float
    relative_permeability_high: float


@dataclass(frozen=True, kw_only=True)
class Material:
    """A material of a pipe, conductor or sheath; ``metal`` is None where it isn't metallic."""

    name: str
    source: str
    aliases: tuple[str, ...]
    metal: Metal | None = None


@dataclass(frozen=True, kw_only=True)
class Coating:
    """A coating or jacket; its conductivity (S/m) stands for the whole coating with its holidays."""

    name: str
    insulating: bool
    source: str
    relative_permittivity: float
    thickness_mm: float
    conductivity_s_per_m: float
    conductivity_low_s_per_m: float
    conductivity_high_s_per_m: float


@dataclass(frozen=True, kw_only=True)
class Joint:
    """A kind of joint between lengths of metal.

    ``parts`` says whether it may part the metal; if so it is solved as an element of ``closed_ohm`` or of ``open_ohm``
    beside ``open_f`` (F), ``closed`` in the nominal case or not. The others only add their ``closed_ohm``.
    """

    name: str
    source: str
    parts: bool
    closed: bool
    closed_ohm: float
    closed_low_ohm: float
    closed_high_ohm: float
    open_ohm: float = math.inf
    open_low_ohm: float = math.inf
    open_high_ohm: float = math.inf
    open_f: float = 0.0
    open_low_f: float = 0.0
    open_high_f: float = 0.0


@cache
def joint_types() -> dict[str, Joint]:
    """Return the kinds of joint by name: the words of the column ``joints``, and ``isolating_joint``."""
    return {name: Joint(name=name, **row) for name, row in read_table("joints").items()}


@cache
def materials() -> dict[str, Material]:
    """Return the materials by name (``unknown`` included)."""
    return {name: _material(name, row) for name, row in read_table("materials")["materials"].items()}


def _material(name: str, row: dict[str, Any]) -> Material:
    figures = {key: value for key, value in row.items() if key not in ("metallic", "source", "aliases")}
    return Material(
        name=name,
        source=row["source"],
        aliases=tuple(row["aliases"]),
        metal=Metal(**figures) if row["metallic"] else None,
    )


@cache
def coatings() -> dict[str, Coating]:
    """Return the coatings by name (``none`` and ``unknown`` included)."""
    return {name: Coating(name=name, **row) for name, row in read_table("materials")["coatings"].items()}


@cache
def material_words() -> dict[str, str]:
    """Return the names of the materials by name and alias, as ``word_key`` gives them."""
    rows = materials().values()
    return {word_key(word): row.name for row in rows for word in (*row.aliases, row.name)}


def metal(name: str | None) -> Metal | None:
    """Return the figures of a metal by name or alias; None for what isn't metal, isn't known or isn't stated.

    Examples
    --------
    >>> metal("copper").relative_permeability
    1.0
    >>> metal("polyethylene") is None
    True
    """
    known = materials().get(material_words().get(word_key(name), "")) if isinstance(name, str) else None
    return known.metal if known else None


def coating(name: str | None) -> Coating | None:
    """Return a coating by name; None is bare metal: ``none`` or not stated.

    A word that isn't known is read as the coating ``unknown``.
    """
    if not isinstance(name, str) or word_key(name) == "none":
        return None
    return coatings().get(word_key(name), coatings()["unknown"])
