"""Write pairs.csv, level pairs of wires drawn at random, and upright.csv with empymod's mutual impedances; a minute.

Run from the folder of the repository: ``python -m tests.data.full_wave.make_pairs``.
"""

import csv
import math
import sys
from pathlib import Path
from typing import Any

import empymod
import numpy as np
from numpy.typing import NDArray

from tests.validation.full_wave import (
    COLUMNS,
    TABLE,
    UPRIGHT,
    UPRIGHT_COLUMNS,
    UPRIGHT_SOILS,
    UPRIGHT_TABLE,
    Array,
    Case,
    gap_m,
    level_reference,
    upright_case,
    upright_reference,
)

PAIRS = 210


def main() -> None:
    """Write the tables."""
    empymod.set_minimum(min_off=1e-8)  # it rounds coordinates to this, a millimetre unless told otherwise
    level = [random_case(number) for number in range(PAIRS)]
    write(TABLE, COLUMNS, [row for case in level for row in rows_of(case, level_reference(case))])
    upright: list[list[Any]] = []
    for pair in UPRIGHT:
        for top, lower in UPRIGHT_SOILS:
            case = upright_case(pair, top, lower)
            soils = [f"{top:g}", "" if lower is None else f"{lower:g}"]
            for frequency, ohm in zip(case.frequencies_hz, upright_reference(case), strict=True):
                upright.append([pair, *soils, f"{frequency:g}", *digits(ohm)])
    write(UPRIGHT_TABLE, UPRIGHT_COLUMNS, upright)
    sys.stdout.write(f"by empymod {empymod.__version__}\n")


def write(table: Path, columns: list[str], rows: list[list[Any]]) -> None:
    """Write a table."""
    with table.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(rows)


def digits(ohm: complex) -> list[str]:
    """Return real and imaginary part with ten digits."""
    return [f"{ohm.real:.9e}", f"{ohm.imag:.9e}"]


def rows_of(case: Case, ohm: NDArray[np.complex128]) -> list[list[Any]]:
    """Return the rows of the table for a level pair, one a frequency; an empty cell where there is no second layer."""
    level = [*case.wire_a[:, :2].ravel(), *case.wire_b[:, :2].ravel(), case.wire_a[0, 2], case.wire_b[0, 2]]
    soil = [case.resistivity_ohm_m, case.top_thickness_m, case.lower_resistivity_ohm_m]
    numbers = [None if value is None else float(value) for value in (*level, *soil)]
    return [
        [case.kind, *numbers, float(frequency), *digits(value)]
        for frequency, value in zip(case.frequencies_hz, ohm, strict=True)
    ]


def _wire(middle: Array, heading: float, length: float, depth: float) -> Array:
    half = 0.5 * length * np.array([math.cos(heading), math.sin(heading)])
    return np.array([[*(middle - half), depth], [*(middle + half), depth]])


def random_case(number: int) -> Case:
    """Half over two layers; a third each parallel, oblique and square; four of five within 30 m of each other.

    Drawn again where they pass within 1.2 m: the reference's Gauss points would have to be too many.
    """
    rng = np.random.default_rng([2024, number])
    kind = ("parallel", "oblique", "square")[number // 2 % 3]
    while True:
        case = _draw(rng, kind, number)
        if gap_m(case) >= 1.2:
            return case


def _draw(rng: np.random.Generator, kind: str, number: int) -> Case:
    far = number % 5 == 4
    heading = rng.uniform(0.0, math.pi)
    turn = {"parallel": 0.0, "oblique": rng.uniform(0.2, 1.35), "square": math.pi / 2}[kind]
    lengths, depths = rng.uniform(4.0, 10.0, 2) * (3.0 if far else 1.0), rng.uniform(0.4, 2.5, 2)
    bearing, distance = rng.uniform(0.0, 2 * math.pi), rng.uniform(40.0, 140.0) if far else rng.uniform(2.0, 18.0)
    middle = distance * np.array([math.cos(bearing), math.sin(bearing)])
    if kind == "parallel" and not far:
        # beside each other, as in a street: a random offset along and 1 to 12 m across
        along, across = rng.uniform(-6.0, 6.0), rng.uniform(1.0, 12.0)
        middle = along * np.array([math.cos(heading), math.sin(heading)]) + across * np.array(
            [-math.sin(heading), math.cos(heading)]
        )
    top, lower = np.exp(rng.uniform(math.log(10.0), math.log(1000.0), 2))
    # above, between and below the wires, not within 5 cm of one
    thickness = rng.uniform(0.3, 3.2)
    while np.abs(depths - thickness).min() < 0.05:
        thickness += 0.06
    return Case(
        kind,
        _wire(np.zeros(2), heading, lengths[0], depths[0]),
        _wire(middle, heading + turn, lengths[1], depths[1]),
        float(top),
        np.array([(500.0, 2e3, 5e3, 50e3)[number // 6 % 4], 200e3]),
        *((float(thickness), float(lower)) if number % 2 else ()),
    )


if __name__ == "__main__":
    main()
