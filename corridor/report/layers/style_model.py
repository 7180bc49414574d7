"""What a style is made of: rules, each with a look and the rows it is for."""

from dataclasses import dataclass
from typing import Literal

__all__ = ["Condition", "Look", "Rule", "Style"]


@dataclass(frozen=True)
class Condition:
    """One comparison of a column: ``=``, ``>=`` or ``<``; a flag is compared with True."""

    column: str
    operator: str
    value: str | float | bool

    @property
    def literal(self) -> str:
        """The value as SLD writes it."""
        if isinstance(self.value, bool):
            return str(self.value).lower()
        return self.value if isinstance(self.value, str) else f"{self.value:g}"

    @property
    def expression(self) -> str:
        """The comparison as the desktop's expressions write it."""
        literal = f"'{self.literal}'" if isinstance(self.value, str) else self.literal
        return f'"{self.column}" {self.operator} {literal}'


@dataclass(frozen=True)
class Look:
    """How a row is drawn: a line of a width, or, with a ``shape``, a marker of a size; both in points."""

    colour: str
    width_pt: float
    dash_pt: tuple[float, ...] = ()
    shape: str = ""
    size_pt: float = 0.0
    fill: str = ""
    rotation_deg: float = 0.0


@dataclass(frozen=True)
class Rule:
    """A look, what the legend calls it, and the rows it is for: those that meet all conditions.

    ``only`` limits it to one kind of geometry, for layers that hold several: an outline is a line round an area.
    """

    label: str
    look: Look
    conditions: tuple[Condition, ...] = ()
    only: Literal["", "Point", "Line", "Polygon"] = ""


@dataclass(frozen=True)
class Style:
    """The rules of a layer, and those drawn over them."""

    title: str
    rules: tuple[Rule, ...]
    overlay: tuple[Rule, ...] = ()

    @property
    def mixed(self) -> bool:
        """Whether the layer may hold several kinds of geometry."""
        return any(rule.only for rule in self.rules)
