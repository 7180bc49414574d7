"""One way to compare with an outside reference: it judges, and keeps what docs/make_validation.py prints."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pytest


@dataclass(frozen=True)
class Comparison:
    """A row of the document: the worst place of one comparison, as text."""

    quantity: str
    ours: str
    reference: str
    difference: str
    bar: str
    source: str


def number(value: complex, unit: str) -> str:
    """Write a value with four digits; a complex one as size and angle."""
    if isinstance(value, complex | np.complexfloating):
        return f"{abs(value):.4g}{unit} ∠ {np.degrees(np.angle(value)):.2f}°"
    return f"{value:.4g}{unit}"


def share(value: float) -> str:
    """Write a relative difference in percent, or as a power of ten where that is clearer."""
    return f"{100 * value:.2g} %" if value >= 1e-5 else f"{value:.1e}"


@pytest.fixture
def agrees(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Return a function that compares arrays or numbers, fails beyond the bar and notes the worst place.

    ``within`` is relative to the reference, or to ``of`` where given, or with ``absolute`` in the quantity's own unit.
    """

    def compare(
        quantity: str,
        ours: Any,
        reference: Any,
        *,
        within: Any,
        source: str,
        of: Any = None,
        absolute: bool = False,
        unit: str = "",
    ) -> None:
        unit = f" {unit}" if unit else ""
        one, other = np.broadcast_arrays(np.asarray(ours), np.asarray(reference))
        scale = 1.0 if absolute else np.abs(other if of is None else of)
        difference, bar = np.broadcast_arrays(np.abs(one - other) / scale, np.asarray(within, dtype=float))
        at = np.unravel_index(np.nanargmax(difference / bar), difference.shape)
        words = [f"{v:.2g}{unit}" if absolute else share(float(v)) for v in (difference[at], bar[at])]
        row = Comparison(quantity, number(one[at][()], unit), number(other[at][()], unit), *words, source)
        request.node.user_properties.append(("comparison", asdict(row)))
        assert np.all(difference <= bar), row

    return compare
