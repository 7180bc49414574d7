"""Colours of utilities, as a table that can be switched; the data never hold a colour."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from corridor.errors import SettingsError

__all__ = ["ColourTable", "colour_table", "colour_tables", "data_block"]


@dataclass(frozen=True)
class ColourTable:
    """One convention: a colour for each utility, and the names of the groups that share one."""

    title: str
    by_utility: dict[str, str]
    groups: dict[str, str]
    edition: str = ""
    note: str = ""

    def of(self, utility: str | None) -> str:
        """Return the colour of a utility as #rrggbb; an unlisted one is drawn as unknown."""
        return self.by_utility.get(utility or "unknown", self.by_utility["unknown"])


def colour_tables() -> tuple[str, ...]:
    """Return the names of the colour conventions."""
    return tuple(_blocks("colours.toml"))


def colour_table(name: str = "apwa") -> ColourTable:
    """Return a colour convention by name.

    Raises
    ------
    SettingsError
        If there is no such convention.
    """
    table = data_block("colours.toml", name, "a colour table")
    return ColourTable(
        title=table["title"],
        by_utility={utility: group["colour"] for group in table["group"] for utility in group["utilities"]},
        groups={group["colour"]: group["text"] for group in table["group"]},
        edition=table["edition"],
        note=table["note"],
    )


def data_block(file: str, name: str, what: str) -> dict[str, Any]:
    """Return one block of a shipped TOML file.

    Raises
    ------
    SettingsError
        If it has no such block; ``what`` names the kind.
    """
    tables = _blocks(file)
    if name not in tables:
        message = f"expected {what} ({', '.join(sorted(tables))}), got {name!r}"
        raise SettingsError(message)
    return dict(tables[name])


@cache
def _blocks(file: str) -> dict[str, Any]:
    return tomllib.loads(resources.files("corridor.data").joinpath(file).read_text(encoding="utf-8"))
