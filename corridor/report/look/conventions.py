"""Conventions of a place: whose colours stand for utilities, what quality levels are called; the data stay the same."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field

from corridor.report.look.colours import ColourTable, colour_table, data_block
from corridor.settings import ReportSettings

__all__ = ["Conventions", "QualityTable", "conventions", "conventions_in", "quality_table"]

LEVELS = ("a", "b", "c", "d", "none")


@dataclass(frozen=True)
class QualityTable:
    """What one edition of a standard calls the quality levels; keys as in the column ``quality_level``."""

    title: str
    edition: str
    source: str
    by_level: dict[str, str]

    def of(self, level: str | None) -> str:
        """Return the label of a level; NULL is none stated."""
        return self.by_level.get(level or "none", self.by_level["none"])


def quality_table(name: str = "asce_38_22") -> QualityTable:
    """Return a vocabulary of quality levels by name.

    Raises
    ------
    SettingsError
        If there is no such vocabulary.
    """
    block = data_block("quality_levels.toml", name, "a vocabulary of quality levels")
    return QualityTable(
        title=block["title"],
        edition=block["edition"],
        source=block["source"],
        by_level={level: block[level] for level in LEVELS},
    )


@dataclass(frozen=True)
class Conventions:
    """The conventions that maps and styles follow."""

    colours: ColourTable = field(default_factory=colour_table)
    quality: QualityTable = field(default_factory=quality_table)


def conventions(settings: ReportSettings | None = None) -> Conventions:
    """Return the conventions that settings name; the defaults are APWA and ASCE 38-22."""
    chosen = settings or ReportSettings()
    return Conventions(colours=colour_table(chosen.colours), quality=quality_table(chosen.quality_levels))


def conventions_in(metadata: Mapping[str, str]) -> Conventions:
    """Return the conventions that a result's receipt states, the defaults where it states none.

    Parameters
    ----------
    metadata : mapping of str to str
        As ``receipt_metadata`` gives it; ``receipt`` is JSON.
    """
    part = json.loads(metadata.get("receipt", "{}")).get("settings", {}).get("report")
    return conventions(ReportSettings.model_validate(part) if part else None)
