"""Long lines side by side, many cases at once: fields by Ampere's law, without any of the project's field code."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize_scalar

MU_0 = 4e-7 * math.pi
SPACING_M = 0.5
OFFSETS_M = np.linspace(-2.5, 2.5, 51)
Line = tuple[float, float, complex]  # offset m, depth m, current A
Complex = NDArray[np.complex128]

# target 1 A at offset 0, 1 m deep; neighbour k A at offset s, as deep
GRID = [((0.0, 1.0, 1.0), (s, 1.0, k)) for s in (0.5, 1.0, 2.0) for k in (0.1, 0.3, 0.5, -0.1, -0.3, -0.5)]


def horizontal(lines: Sequence[Line], x: float, height: float) -> float:
    """Magnitude of the horizontal field in units of mu_0/(2 pi) T, B = mu_0 I/(2 pi r) summed as phasors."""
    return abs(sum(i * (d + height) / ((x - p) ** 2 + (d + height) ** 2) for p, d, i in lines))


def peak_of(lines: Sequence[Line], height: float = 0.0) -> float:
    """The peak near the first line, by scipy's optimiser."""
    found = minimize_scalar(lambda x: -horizontal(lines, x, height), bounds=(-0.5, 0.5), options={"xatol": 1e-10})
    return float(found.x)


def rise_of(lines: Sequence[Line], x: float, *, height: float = 0.0, lift: float = 0.5) -> float:
    """How much more two-coil depth is shown at x after lifting."""
    at = [horizontal(lines, x, height + up) for up in (0.0, SPACING_M, lift, lift + SPACING_M)]
    before, after = (SPACING_M * high / (low - high) for low, high in (at[:2], at[2:]))
    return after - before


def lean_of(lines: Sequence[Line], x: float, *, height: float = 0.0) -> float:
    """Left minus right half height over their sum, by scipy's root finder."""
    top = horizontal(lines, x, height)
    ends = []
    for sign in (1.0, -1.0):
        far = np.arange(0.0, 4.0, 0.01)
        low = next(t for t in far if horizontal(lines, x + sign * t, height) < top / 2)
        ends.append(brentq(lambda t, s=sign: horizontal(lines, x + s * t, height) - top / 2, max(low - 0.02, 0.0), low))
    return float((ends[0] - ends[1]) / (ends[0] + ends[1]))


def fields(
    cases: Sequence[Sequence[Line]], *, height: float = 0.0, offsets: NDArray[np.float64] = OFFSETS_M
) -> Complex:
    """Horizontal, vertical and the first line's own horizontal field, shape (3, offsets, cases), T."""
    out = np.zeros((3, offsets.size, len(cases)), dtype=np.complex128)
    for k, lines in enumerate(cases):
        for number, (p, d, i) in enumerate(lines):
            x, z = offsets - p, d + height
            scale = MU_0 * i / (2.0 * math.pi * (x**2 + z**2))
            out[0, :, k] -= scale * z
            out[1, :, k] += scale * x
            if number == 0:
                out[2, :, k] = out[0, :, k]
    return out


def random_cases(count: int, *, seed: int, share_max: float = 1.0, in_phase: bool = True) -> list[tuple[Line, Line]]:
    """Target 1 A, both 0.6 to 1.5 m deep, 0.3 to 2 m apart; the neighbour carries a tenth and more, either way."""
    rng = np.random.default_rng(seed)
    own, other = rng.uniform(0.6, 1.5, (2, count))
    apart, share = rng.uniform(0.3, 2.0, count), rng.uniform(0.1, share_max, count)
    turn = rng.choice([1.0, -1.0], count) if in_phase else np.exp(2j * np.pi * rng.uniform(size=count))
    return [((0.0, d, 1.0), (s, e, k * t)) for d, e, s, k, t in zip(own, other, apart, share, turn, strict=True)]
