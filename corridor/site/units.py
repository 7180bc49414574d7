"""Units of source columns, converted to the dictionary's."""

from typing import Any

import numpy as np

from corridor.dictionary import Column

__all__ = ["UNITS", "unit_factor"]

# name -> (dimension, size in the dimension's base unit)
UNITS: dict[str, tuple[str, float]] = {
    "m": ("length", 1.0), "dm": ("length", 0.1), "cm": ("length", 0.01), "mm": ("length", 0.001),
    "km": ("length", 1000.0), "in": ("length", 0.0254), "ft": ("length", 0.3048), "yd": ("length", 0.9144),
    "us_ft": ("length", 1200.0 / 3937.0),  # survey foot, exact by definition
    "mm2": ("area", 1e-6), "cm2": ("area", 1e-4), "in2": ("area", 0.0254**2),
    "kcmil": ("area", 0.0254**2 * np.pi / 4.0 * 1e-3),  # area of a circle of 1 mil, times 1000
    "v": ("voltage", 1.0), "kv": ("voltage", 1000.0),
    "ohm": ("resistance", 1.0), "kohm": ("resistance", 1000.0), "mohm": ("resistance", 0.001),
    "ohm m": ("resistivity", 1.0), "ohm_m": ("resistivity", 1.0), "ohm_cm": ("resistivity", 0.01),
    "ohm/km": ("series resistance", 1.0), "ohm/m": ("series resistance", 1000.0),
    "s/km": ("leakage", 1.0), "s/m": ("leakage", 1000.0),
    "nf/km": ("capacitance", 1.0), "pf/m": ("capacitance", 1.0), "uf/km": ("capacitance", 1000.0),
}  # fmt: skip

_SPELLINGS = {
    '"': "in", "″": "in", "inch": "in", "inches": "in", "'": "ft", "′": "ft", "foot": "ft", "feet": "ft",
    "metre": "m", "metres": "m", "meter": "m", "meters": "m", "mcm": "kcmil", "volt": "v", "volts": "v",
    "mm²": "mm2", "ohms": "ohm", "ω": "ohm",
}  # fmt: skip


def unit_factor(unit: str, column: Column) -> float | None:
    """Return what a value in ``unit`` is multiplied with to give the column's unit; None if it can't be.

    Parameters
    ----------
    unit : str
        One of ``UNITS`` or a usual spelling of one, any case.
    column : Column
        Target column of the dictionary.
    """
    source, target = (_known(name) for name in (unit, column.unit))
    if source is None or target is None or source[0] != target[0]:
        return None
    # rounded so that 12 in is 304.8 mm and no hair more
    return float(f"{source[1] / target[1]:.15g}")


def _known(unit: Any) -> tuple[str, float] | None:
    word = str(unit).strip().casefold()
    return UNITS.get(_SPELLINGS.get(word, word))
