"""The shipped tables (TOML in corridor/data), read once: materials, coatings, defaults, vocabulary, access."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

__all__ = ["Coating", "Material", "access_rules", "coatings", "default_rules", "materials", "vocabulary", "word_key"]


@dataclass(frozen=True, kw_only=True)
class Material:
    """A material of a pipe, conductor or sheath; the figures are None where it isn't metallic."""

    name: str
    metallic: bool
    source: str
    resistivity_ohm_m: float | None = None
    resistivity_low_ohm_m: float | None = None
    resistivity_high_ohm_m: float | None = None
    relative_permeability: float | None = None
    relative_permeability_low: float | None = None
    relative_permeability_high: float | None = None
    aliases: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Coating:
    """A coating or jacket; its conductivity stands for the whole coating with its holidays."""

    name: str
    insulating: bool
    source: str
    relative_permittivity: float
    thickness_mm: float
    conductivity_s_per_m: float
    conductivity_low_s_per_m: float
    conductivity_high_s_per_m: float


@cache
def materials() -> dict[str, Material]:
    """Return the materials by name (``unknown`` included)."""
    return {
        name: Material(name=name, **row | {"aliases": tuple(row.get("aliases", ()))})
        for name, row in _read("materials.toml")["materials"].items()
    }


@cache
def coatings() -> dict[str, Coating]:
    """Return the coatings by name (``none`` and ``unknown`` included)."""
    return {name: Coating(name=name, **row) for name, row in _read("materials.toml")["coatings"].items()}


@cache
def default_rules() -> dict[str, list[dict[str, Any]]]:
    """Return the default rules by column, in the order in which columns are filled."""
    return _read("defaults.toml")


@cache
def access_rules() -> list[dict[str, Any]]:
    """Return the rules of access, first match first."""
    rules: list[dict[str, Any]] = _read("access.toml")["rule"]
    return rules


@cache
def vocabulary(name: str) -> dict[str, str]:
    """Return the words read as words of a vocabulary, by ``word_key``; materials count as one."""
    words = {word_key(k): v for k, v in _read("vocabulary.toml").get(name, {}).items()}
    if name in ("material", "sheath"):
        words |= {word_key(alias): m.name for m in materials().values() for alias in m.aliases} | words
    return words


def word_key(word: str) -> str:
    """Return a word as vocabularies compare it: lower case, without dots, with ``_`` for spaces and hyphens.

    Examples
    --------
    >>> word_key(" Fire-Water ")
    'fire_water'
    """
    return "_".join(word.casefold().replace(".", "").replace("-", " ").replace("_", " ").split())


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads(resources.files("corridor.data").joinpath(name).read_text(encoding="utf-8"))
