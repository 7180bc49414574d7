"""Double integrals of 1/R between straight sections: the part of the matrices that knows no frequency or soil.

Parallel pairs use the four-term closed form, all others the exact form for two straight wires at any angle (Campbell
1915, Mutual inductances of circuits composed of straight wires, Physical Review; quoted from memory, checked by
quadrature in the tests), and pairs far apart a second-order expansion about the midpoints.
"""

import math
from typing import Any, NamedTuple

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from corridor.errors import DomainError

__all__ = [
    "CoatedPairs",
    "DistanceIntegrals",
    "WireSections",
    "coated_pairs",
    "inverse_distance_integrals",
    "pair_integral",
    "self_integrals",
    "straight_pair_integral",
    "wire_pair_integrals",
    "wire_sections",
]

FloatArray = NDArray[np.float64]

# Beyond this many lengths the expansion about the midpoints is right to 1e-5.
FAR_LENGTHS = 8.0
# Below this sine the angle is treated as none: the closed form for an angle divides by its square.
PARALLEL_SINE = 1e-4


class CoatedPairs(NamedTuple):
    """Pairs of touching sections of one coated conductor, whose leaks start farther out than their currents run.

    Attributes
    ----------
    first, second : ndarray of int, shape (m,)
        Sections of each pair, first < second.
    change_m : ndarray of float, shape (m,)
        Integral of 1/R1 for the leakage less ``DistanceIntegrals.direct``: the outer radius as least distance, not the
        metal's.
    """

    first: NDArray[np.int64]
    second: NDArray[np.int64]
    change_m: FloatArray


class DistanceIntegrals(NamedTuple):
    """The double integrals of n sections, in metres.

    Attributes
    ----------
    direct : ndarray of float, shape (n, n)
        Of 1/R1, for induction: within one conductor the metal's radius is the least distance, and the diagonal's.
    image : ndarray of float, shape (n, n)
        Of 1/R2, R2 to the mirror image of the other section in the ground surface.
    leakage_diagonal : ndarray of float, shape (n,)
        Of 1/R1 with the outer radius (over the coating) as distance: the self term of the leakage.
    coated : CoatedPairs
        What the leakage of pairs within one conductor has otherwise than ``direct``.
    """

    direct: FloatArray
    image: FloatArray
    leakage_diagonal: FloatArray
    coated: CoatedPairs


class WireSections(NamedTuple):
    """What the integrals need to know of n sections.

    Attributes
    ----------
    ends, mirrored : ndarray of float, shape (n, 2, 3)
        Both ends, and those of the mirror image in the ground surface, m.
    metal, outer : ndarray of float, shape (n,)
        Radius of the metal and over the coating, m.
    chain : ndarray of int, shape (n,)
        Number of the conductor that each section belongs to.
    """

    ends: FloatArray
    mirrored: FloatArray
    metal: FloatArray
    outer: FloatArray
    chain: NDArray[np.int64]


def inverse_distance_integrals(
    start_m: ArrayLike, end_m: ArrayLike, *, radius_m: ArrayLike, chain: ArrayLike, outer_radius_m: ArrayLike
) -> DistanceIntegrals:
    """Integrate 1/R over every pair of straight sections and over every section and image.

    Conductors can't overlap: the distance of two axes is held at or above the sum of the outer radii. Within a chain
    (touching sections of one conductor) it's the radius, the metal's for induction and the outer one for leakage: so a
    straight conductor's integrals add up to those of the whole, however it's cut.

    Parameters
    ----------
    start_m, end_m : array_like of float, shape (n, 3)
        Ends of the sections: x, y, depth below ground, m; depth >= 0.
    radius_m : array_like of float, shape (n,)
        Radius of the metal, m, > 0.
    chain : array_like of int, shape (n,)
        Number of the conductor that each section belongs to.
    outer_radius_m : array_like of float, shape (n,)
        Radius over the coating, m, >= ``radius_m``.

    Returns
    -------
    DistanceIntegrals
        Matrices symmetric to the last bit; the same input gives the same bytes, whatever the number of threads.

    Raises
    ------
    DomainError
        If shapes don't fit, a section has no length or lies above ground, or a radius isn't positive.
    """
    wires = wire_sections(start_m, end_m, radius_m=radius_m, chain=chain, outer_radius_m=outer_radius_m)
    n = len(wires.metal)
    direct, image = np.empty((n, n)), np.empty((n, n))
    _fill(wires, direct, image)
    metal, outer = self_integrals(wires)
    np.fill_diagonal(direct, metal)
    return DistanceIntegrals(direct, image, outer, coated_pairs(wires))


def wire_sections(
    start_m: ArrayLike, end_m: ArrayLike, *, radius_m: ArrayLike, chain: ArrayLike, outer_radius_m: ArrayLike
) -> WireSections:
    """Check sections and return what the integrals need to know of them; parameters as in `inverse_distance_integrals`.

    Raises
    ------
    DomainError
        If shapes don't fit, a section has no length or lies above ground, or a radius isn't positive.
    """
    start, end = np.ascontiguousarray(start_m, dtype=np.float64), np.ascontiguousarray(end_m, dtype=np.float64)
    radius = np.ascontiguousarray(radius_m, dtype=np.float64)
    outer = np.ascontiguousarray(outer_radius_m, dtype=np.float64)
    chains = np.ascontiguousarray(chain, dtype=np.int64)
    _check_sections(start, end)
    n = len(start)
    if radius.shape != (n,) or outer.shape != (n,) or chains.shape != (n,):
        msg = f"radius_m, outer_radius_m and chain must have one value for each of the {n} sections"
        raise DomainError(msg)
    if not (np.all(radius > 0.0) and np.all(outer >= radius)):
        row = int(np.flatnonzero(~((radius > 0.0) & (outer >= radius)))[0])
        msg = f"section {row}: need 0 < radius_m <= outer_radius_m, got {radius[row]} and {outer[row]}"
        raise DomainError(msg)
    ends = np.stack([start, end], axis=1)
    return WireSections(ends, ends * np.array([1.0, 1.0, -1.0]), radius, outer, chains)


def self_integrals(wires: WireSections) -> tuple[FloatArray, FloatArray]:
    """Integrate 1/R over each section and itself, with the metal's and with the outer radius as distance.

    Parameters
    ----------
    wires : WireSections

    Returns
    -------
    tuple of ndarray of float, shape (n,)
        Metres.
    """
    length = np.linalg.norm(wires.ends[:, 1] - wires.ends[:, 0], axis=1)
    return _self_integral(length, wires.metal), _self_integral(length, wires.outer)


def coated_pairs(wires: WireSections) -> CoatedPairs:
    """Go through each coated conductor's pairs, and keep those that the radius matters for.

    Parameters
    ----------
    wires : WireSections

    Returns
    -------
    CoatedPairs
    """
    first, second, change = [], [], []
    coated = np.flatnonzero(np.isin(wires.chain, wires.chain[wires.outer > wires.metal]))
    order = coated[np.argsort(wires.chain[coated], kind="stable")]
    for own in np.split(order, np.flatnonzero(np.diff(wires.chain[order])) + 1):
        a, b = _near_pairs(wires.ends, own)
        values = _leakage_change(wires, a, b)
        kept = values != 0.0
        first.append(a[kept])
        second.append(b[kept])
        change.append(values[kept])
    return CoatedPairs(np.concatenate(first), np.concatenate(second), np.concatenate(change))


def _near_pairs(ends: FloatArray, own: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the pairs of these sections that `pair_integral` doesn't expand about the midpoints, and a few more."""
    middle = ends[own].mean(axis=1)
    if len(own) < 2:
        return own[:0], own[:0]
    reach = FAR_LENGTHS * float(np.linalg.norm(ends[own, 1] - ends[own, 0], axis=1).max())
    pairs = cKDTree(middle).query_pairs(reach * (1.0 + 1e-9), output_type="ndarray")
    pairs = np.sort(own[pairs], axis=1)
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    return np.ascontiguousarray(pairs[:, 0]), np.ascontiguousarray(pairs[:, 1])


def _check_sections(start: FloatArray, end: FloatArray) -> None:
    if start.ndim != 2 or start.shape[1] != 3 or start.shape != end.shape:
        msg = f"start_m and end_m must both have shape (n, 3), got {start.shape} and {end.shape}"
        raise DomainError(msg)
    bad = ~(np.isfinite(start).all(axis=1) & np.isfinite(end).all(axis=1))
    bad |= (start == end).all(axis=1) | (start[:, 2] < 0.0) | (end[:, 2] < 0.0)
    if bad.any():
        row = int(np.flatnonzero(bad)[0])
        msg = (
            f"section {row} must be finite, longer than zero and below ground, got {start[row].tolist()} "
            f"to {end[row].tolist()} (x, y, depth in m)"
        )
        raise DomainError(msg)


def _self_integral(length: FloatArray, radius: FloatArray) -> FloatArray:
    return 2.0 * (length * np.arcsinh(length / radius) - np.hypot(length, radius) + radius)


@numba.njit(cache=True, error_model="numpy")
def _parallel_term(u: float, distance: float) -> float:
    return u * math.asinh(u / distance) - math.sqrt(u * u + distance * distance)


@numba.njit(cache=True, error_model="numpy")
def _angle_term(s: float, t: float, cosine: float, distance: float) -> float:
    """Antiderivative in s and t of 1/sqrt(d^2 + s^2 + t^2 - 2 s t cos)."""
    sine_2 = 1.0 - cosine * cosine
    square = distance * distance
    r = math.sqrt(square + s * s + t * t - 2.0 * s * t * cosine)
    value = 0.0
    # asinh for the logarithm of R + u: both differ by terms in one variable, which the four corners cancel
    across = math.sqrt(square + s * s * sine_2)
    if across > 0.0:
        value += s * math.asinh((t - s * cosine) / across)
    across = math.sqrt(square + t * t * sine_2)
    if across > 0.0:
        value += t * math.asinh((s - t * cosine) / across)
    if distance > 0.0:
        sine = math.sqrt(sine_2)
        value -= distance / sine * math.atan2(square * cosine + s * t * sine_2, distance * r * sine)
    return value


@numba.njit(cache=True, error_model="numpy")
def _dot(a: NDArray[Any], b: NDArray[Any]) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@numba.njit(cache=True, error_model="numpy")
def straight_pair_integral(wire_a: NDArray[Any], wire_b: NDArray[Any], floor_m: float) -> float:
    """Integrate 1/R over two straight wires at any angle, exactly.

    Parameters
    ----------
    wire_a, wire_b : ndarray of float, shape (2, 3)
        Ends of the wires, m.
    floor_m : float
        Least distance of the axes, m, >= 0; parallel wires in line need it above zero.

    Returns
    -------
    float
        Metres.
    """
    a, b, w = wire_a[1] - wire_a[0], wire_b[1] - wire_b[0], wire_b[0] - wire_a[0]
    length_a, length_b = math.sqrt(_dot(a, a)), math.sqrt(_dot(b, b))
    a, b = a / length_a, b / length_b
    normal = np.array((a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]))
    sine = math.sqrt(_dot(normal, normal))
    if sine < PARALLEL_SINE:
        # measured along a, through the middle of b so that a rest of angle has no first-order effect
        half = 0.5 * length_b
        middle = w + half * b
        centre = _dot(middle, a)
        across = middle - centre * a
        distance = max(math.sqrt(_dot(across, across)), floor_m)
        return (
            _parallel_term(centre + half, distance)
            - _parallel_term(centre - half, distance)
            - _parallel_term(centre + half - length_a, distance)
            + _parallel_term(centre - half - length_a, distance)
        )
    cosine = math.copysign(math.sqrt(max(1.0 - sine * sine, 0.0)), _dot(a, b))
    # feet of the common perpendicular, as measures from both starts
    along_a, along_b = _dot(w, a), _dot(w, b)
    foot_a = (along_a - cosine * along_b) / (sine * sine)
    foot_b = (cosine * along_a - along_b) / (sine * sine)
    distance = max(abs(_dot(w, normal)) / sine, floor_m)
    return (
        _angle_term(length_a - foot_a, length_b - foot_b, cosine, distance)
        - _angle_term(length_a - foot_a, -foot_b, cosine, distance)
        - _angle_term(-foot_a, length_b - foot_b, cosine, distance)
        + _angle_term(-foot_a, -foot_b, cosine, distance)
    )


@numba.njit(cache=True, error_model="numpy")
def pair_integral(wire_a: NDArray[Any], wire_b: NDArray[Any], floor_m: float) -> float:
    """Integrate 1/R over two straight wires: exactly when near, by expansion about the midpoints when far.

    Parameters
    ----------
    wire_a, wire_b, floor_m
        As in `straight_pair_integral`.

    Returns
    -------
    float
        Metres.
    """
    # component by component: a small array made at every pair would cost more than the pair
    square_a, square_b, square, part_a, part_b = 0.0, 0.0, 0.0, 0.0, 0.0
    for axis in range(3):
        a, b = wire_a[1, axis] - wire_a[0, axis], wire_b[1, axis] - wire_b[0, axis]
        offset = 0.5 * (wire_b[0, axis] + wire_b[1, axis] - wire_a[0, axis] - wire_a[1, axis])
        square_a, square_b, square = square_a + a * a, square_b + b * b, square + offset * offset
        part_a, part_b = part_a + offset * a, part_b + offset * b
    if square <= FAR_LENGTHS * FAR_LENGTHS * max(square_a, square_b):
        return straight_pair_integral(wire_a, wire_b, floor_m)
    second = 3.0 * (part_a * part_a + part_b * part_b) / square - square_a - square_b
    return math.sqrt(square_a * square_b / square) * (1.0 + second / (24.0 * square))


@numba.njit(cache=True, error_model="numpy")
def wire_pair_integrals(i: int | np.int64, j: int | np.int64, wires: WireSections) -> tuple[float, float]:
    """Return one pair's ``direct`` and ``image`` as `DistanceIntegrals` holds them, for use inside compiled loops.

    Parameters
    ----------
    i, j : int
        Two different sections; the order matters to rounding only, most where they are nearly parallel.
    wires : WireSections

    Returns
    -------
    tuple of float
        Metres.
    """
    metal, outer = wires.metal, wires.outer
    floor_m = max(metal[i], metal[j]) if wires.chain[i] == wires.chain[j] else outer[i] + outer[j]
    return (
        pair_integral(wires.ends[i], wires.ends[j], floor_m),
        pair_integral(wires.ends[i], wires.mirrored[j], floor_m),
    )


# the loops stand in the parallel function itself: see `corridor.tone.matrices`
@numba.njit(parallel=True, cache=True, error_model="numpy")
def _fill(wires: WireSections, direct: NDArray[Any], image: NDArray[Any]) -> None:
    n = len(wires.outer)
    # a long and a short row of the triangle together: equal work for each thread
    for k in numba.prange((n + 1) // 2):
        for part in range(2):
            i = np.int64(k) if part == 0 else n - 1 - np.int64(k)
            image[i, i] = pair_integral(wires.ends[i], wires.mirrored[i], wires.metal[i])
            for j in range(i + 1, n):
                one, other = wire_pair_integrals(i, j, wires)
                direct[i, j], image[i, j] = one, other
                direct[j, i], image[j, i] = one, other


@numba.njit(cache=True, error_model="numpy")
def _leakage_change(wires: WireSections, first: NDArray[np.int64], second: NDArray[np.int64]) -> NDArray[Any]:
    out = np.empty(len(first))
    for k in range(len(first)):
        i, j = first[k], second[k]
        a, b = wires.ends[i], wires.ends[j]
        metal = max(wires.metal[i], wires.metal[j])
        out[k] = pair_integral(a, b, max(wires.outer[i], wires.outer[j])) - pair_integral(a, b, metal)
    return out
