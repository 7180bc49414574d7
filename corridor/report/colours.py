"""Colours of utilities, as a table that can be switched; the data never hold a colour."""

import tomllib
from dataclasses import dataclass
from importlib import resources

from corridor.errors import SettingsError

__all__ = ["ColourTable", "colour_table"]


@dataclass(frozen=True)
class ColourTable:
    """One convention: a colour for each utility, and the names of the groups that share one."""

    title: str
    by_utility: dict[str, str]
    groups: dict[str, str]

    def of(self, utility: str | None) -> str:
        """Return the colour of a utility as #rrggbb; an unlisted one is drawn as unknown."""
        return self.by_utility.get(utility or "unknown", self.by_utility["unknown"])


def colour_table(name: str = "apwa") -> ColourTable:
    """Return a colour convention by name.

    Raises
    ------
    SettingsError
        If there is no such convention.
    """
    tables = tomllib.loads(resources.files("corridor.data").joinpath("colours.toml").read_text(encoding="utf-8"))
    if name not in tables:
        message = f"expected a colour table ({', '.join(sorted(tables))}), got {name!r}"
        raise SettingsError(message)
    table = tables[name]
    utilities = {key: value for key, value in table.items() if isinstance(value, str) and value.startswith("#")}
    return ColourTable(title=table["title"], by_utility=utilities, groups=table["groups"])
