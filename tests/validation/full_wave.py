"""Grounded wires by full-wave bipoles over a half space and over two layers.

Source of the reference: empymod (Werthmüller 2017, Geophysics 82(6) WB9), which integrates the layered-medium Green's
function with propagation in the air. What it gives for level pairs at random and for `UPRIGHT` stands
in tests/data/full_wave.
"""

import csv
import math
from pathlib import Path
from typing import Any, NamedTuple

import empymod
import numpy as np
from numpy.typing import NDArray

FOLDER = Path(__file__).parents[1] / "data" / "full_wave"
TABLE, UPRIGHT_TABLE = FOLDER / "pairs.csv", FOLDER / "upright.csv"
AIR_OHM_M = 2e14
PERMITTIVITY = 10.0
ENDS = [f"{wire}{end}_{axis}_m" for wire in "ab" for end in "12" for axis in ("x", "y")]
COLUMNS = [
    "kind", *ENDS, "a_depth_m", "b_depth_m", "resistivity_ohm_m", "top_thickness_m", "lower_resistivity_ohm_m",
    "frequency_hz", "real_ohm", "imag_ohm",
]  # fmt: skip
UPRIGHT_COLUMNS = ["pair", "resistivity_ohm_m", "lower_resistivity_ohm_m", "frequency_hz", "real_ohm", "imag_ohm"]
UPRIGHT_SOILS = [(10.0, None), (100.0, None), (1000.0, None), (300.0, 60.0), (60.0, 300.0)]
UPRIGHT_THICKNESS_M = 1.2
UPRIGHT = {
    "rods": ([[0.0, 0.0, 0.3], [0.0, 0.0, 1.8]], [[1.5, 0.4, 0.3], [1.5, 0.4, 1.8]]),
    "rod_and_wire": ([[0.0, 0.0, 0.3], [0.0, 0.0, 1.8]], [[1.0, 0.5, 1.0], [6.0, 0.5, 1.0]]),
    "riser_and_square_wire": ([[0.0, 0.0, 0.3], [0.0, 0.0, 1.3]], [[1.5, -4.0, 0.8], [1.5, 3.0, 0.8]]),
    "slope_and_wire": ([[0.0, 0.0, 0.5], [1.5, 0.3, 2.0]], [[0.0, 2.0, 1.0], [8.0, 2.0, 1.0]]),
    "slopes": ([[0.0, 0.0, 0.5], [1.5, 0.0, 2.0]], [[3.0, 1.0, 2.0], [4.5, 1.5, 0.5]]),
    "long_slope": ([[0.0, 0.0, 0.5], [6.0, 0.0, 2.5]], [[1.0, 1.5, 1.2], [9.0, 3.5, 0.6]]),
}

Array = NDArray[np.float64]


class Case(NamedTuple):
    """Two straight wires in one soil or two layers."""

    kind: str
    wire_a: Array
    wire_b: Array
    resistivity_ohm_m: float
    frequencies_hz: Array
    top_thickness_m: float | None = None
    lower_resistivity_ohm_m: float | None = None


def reference(case: Case, points: int) -> NDArray[np.complex128]:
    """Minus the integral of E along b per ampere in a; direct field in closed form, Gauss points on both wires."""
    a, b = ([w[0, 0], w[1, 0], w[0, 1], w[1, 1], w[0, 2], w[1, 2]] for w in (case.wire_a, case.wire_b))
    field = empymod.bipole(a, b, srcpts=points, recpts=points, strength=1.0, **_earth(case))
    return -np.asarray(field).ravel()


def level_reference(case: Case) -> NDArray[np.complex128]:
    """Return the same for level wires, all pairs of Gauss points in one call."""
    points = points_of(case)
    node, weight = np.polynomial.legendre.leggauss(points)
    ends = []
    for wire in (case.wire_a, case.wire_b):
        step = wire[1] - wire[0]
        places = wire[0] + 0.5 * (node + 1.0)[:, None] * step
        heading = math.degrees(math.atan2(step[1], step[0]))
        ends.append(([places[:, 0], places[:, 1], wire[0, 2], heading, 0.0], 0.5 * weight * np.linalg.norm(step)))
    (source, along_a), (field, along_b) = ends
    value = np.asarray(empymod.bipole(source, field, **_earth(case)))
    return -np.einsum("fba,b,a->f", value.reshape(-1, points, points), along_b, along_a)


def upright_reference(case: Case) -> NDArray[np.complex128]:
    """Return the same for a pair of `UPRIGHT`."""
    depth = case.top_thickness_m
    if depth is None:
        return reference(case, points_of(case))
    # the vertical field jumps at the interface, where the reference's Gauss points have to end
    pieces = [
        case._replace(wire_a=one, wire_b=other)
        for one in _cut(case.wire_a, depth)
        for other in _cut(case.wire_b, depth)
    ]
    return np.sum([reference(piece, 16) for piece in pieces], axis=0)


def _cut(wire: Array, depth: float) -> list[Array]:
    low, high = sorted(wire[:, 2])
    if not low < depth < high:
        return [wire]
    middle = wire[0] + (depth - wire[0, 2]) / (wire[1, 2] - wire[0, 2]) * (wire[1] - wire[0])
    return [np.array([wire[0], middle]), np.array([middle, wire[1]])]


def upright_case(pair: str, top: float, lower: float | None) -> Case:
    """Return a pair of `UPRIGHT` in a soil or two layers."""
    a, b = (np.array(wire) for wire in UPRIGHT[pair])
    if lower is None:
        return Case(pair, a, b, top, np.array([50e3, 200e3]))
    return Case(pair, a, b, top, np.array([500.0, 50e3, 200e3]), UPRIGHT_THICKNESS_M, lower)


def upright_pairs() -> dict[tuple[str, float, float | None], tuple[Case, NDArray[np.complex128]]]:
    """Return, by pair and soils, the case and what the reference gave for its frequencies, ohm."""
    ohms = {tuple(row[name] for name in UPRIGHT_COLUMNS[:4]): _ohm(row) for row in _read(UPRIGHT_TABLE)}
    found = {}
    for pair in UPRIGHT:
        for top, lower in UPRIGHT_SOILS:
            case = upright_case(pair, top, lower)
            soils = (f"{top:g}", "" if lower is None else f"{lower:g}")
            values = [ohms[pair, *soils, f"{frequency:g}"] for frequency in case.frequencies_hz]
            found[pair, top, lower] = case, np.array(values)
    return found


def _earth(case: Case) -> dict[str, Any]:
    below = [] if case.top_thickness_m is None else [case.top_thickness_m]
    permittivity = [1.0, PERMITTIVITY, *([PERMITTIVITY] if below else [])]
    return {
        "depth": [0.0, *below],
        "res": [AIR_OHM_M, case.resistivity_ohm_m, *([case.lower_resistivity_ohm_m] if below else [])],
        "freqtime": case.frequencies_hz,
        "epermH": permittivity,
        "epermV": permittivity,
        "xdirect": True,
        "verb": 0,
    }


def gap_m(case: Case) -> float:
    """Return about the least distance of the wires."""
    share = np.linspace(0.0, 1.0, 81)[:, None]
    a, b = (w[0] + share * (w[1] - w[0]) for w in (case.wire_a, case.wire_b))
    return float(np.linalg.norm(a[:, None] - b[None, :], axis=-1).min())


def points_of(case: Case) -> int:
    """Enough Gauss points that their widest spacing, pi/2 l/n, stays below half the distance of the wires."""
    length = max(np.linalg.norm(case.wire_a[1] - case.wire_a[0]), np.linalg.norm(case.wire_b[1] - case.wire_b[0]))
    return int(np.clip(math.ceil(4.5 * float(length) / gap_m(case)), 12, 50))


def random_pairs() -> list[tuple[Case, NDArray[np.complex128]]]:
    """Return the table's pairs, each with what the reference gave for its two frequencies, ohm."""
    rows = _read(TABLE)
    return [_pair(*rows[first : first + 2]) for first in range(0, len(rows), 2)]


def _pair(low: dict[str, str], high: dict[str, str]) -> tuple[Case, NDArray[np.complex128]]:
    ends = np.array([float(low[name]) for name in ENDS]).reshape(2, 2, 2)
    depths = (float(low["a_depth_m"]), float(low["b_depth_m"]))
    a, b = (np.column_stack([wire, np.full(2, depth)]) for wire, depth in zip(ends, depths, strict=True))
    layer = [float(low[name]) if low[name] else None for name in ("top_thickness_m", "lower_resistivity_ohm_m")]
    frequencies = np.array([float(row["frequency_hz"]) for row in (low, high)])
    case = Case(low["kind"], a, b, float(low["resistivity_ohm_m"]), frequencies, *layer)
    return case, np.array([_ohm(low), _ohm(high)])


def _read(table: Path) -> list[dict[str, str]]:
    with table.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def _ohm(row: dict[str, str]) -> complex:
    return complex(float(row["real_ohm"]), float(row["imag_ohm"]))
