"""What a second soil layer changes between two sections: static images, and tables of what isn't static.

The static images are integrated over the sections exactly (`corridor.tone.pair_kernel`), the rest is read from tables
over the horizontal offset and both depths, as the half space's is.
"""

import math
from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from corridor.constants import TWO_PI
from corridor.tone.earth import ComplexArray
from corridor.tone.kernel_table import cubic_weights
from corridor.tone.layered import Layers, layer_grid, static_images
from corridor.tone.sommerfeld import FloatArray

__all__ = ["LayerGround", "LayerTable", "layer_ground", "layer_table", "no_layers", "read_table"]

RHO_NODES = 200
DEPTH_NODES = 10
# Depths of one value still need a grid of some width.
DEPTH_MARGIN_M = 0.05
FOUR_PI = 2.0 * TWO_PI


class LayerTable(NamedTuple):
    """Rests of g_A and g_K (see `corridor.tone.layered.layer_columns`), times hypot(rho, d).

    Attributes
    ----------
    rests : ndarray of complex, shape (rho, a, b, 2)
        Over asinh(rho) and both depths.
    scale : ndarray of float, shape (6,)
        Start and inverse step of the three axes.
    thickness_m : float
        The d in the factor.
    """

    rests: ComplexArray
    scale: FloatArray
    thickness_m: float


class LayerGround(NamedTuple):
    """Two layers as the kernel wants them.

    Attributes
    ----------
    gamma_lower : complex
        Propagation constant of the lower layer, 1/m.
    thickness_m : float
        Of the top layer.
    lower : ndarray of bool, shape (n,)
        Which sections lie below the interface; empty for one soil.
    mirrored : ndarray of float, shape (n, 2, 3)
        Ends of the sections' images in the interface, m.
    images : ndarray of complex, shape (3, 4)
        Both sections above, one, none: coefficients of the direct term, the image in the surface and the one in the
        interface, and 1/(4 pi sigma).
    rests : ndarray of complex, shape (3, rho, a, b, 2)
        The tables of the three.
    scale : ndarray of float, shape (3, 6)
        Theirs.
    """

    gamma_lower: complex
    thickness_m: float
    lower: NDArray[np.bool_]
    mirrored: FloatArray
    images: ComplexArray
    rests: ComplexArray
    scale: FloatArray


def layer_table(
    layers: Layers, depths_a: tuple[float, float], depths_b: tuple[float, float], *, rho_max_m: float
) -> LayerTable:
    """Tabulate the rests of g_A and g_K between two ranges of depth, each on one side of the interface.

    Parameters
    ----------
    layers : Layers
    depths_a, depths_b : tuple of float
        Least and largest depth, m; the first range not below the second.
    rho_max_m : float
        Largest horizontal offset, m.

    Returns
    -------
    LayerTable
    """
    stretched = np.linspace(0.0, math.asinh(max(rho_max_m, 1.0)), RHO_NODES)
    grids = [np.linspace(*depths, DEPTH_NODES) for depths in (depths_a, depths_b)]
    rho = np.sinh(stretched)
    rests = layer_grid(layers, rho, *grids) * np.hypot(rho, layers.thickness_m)[:, None, None, None]
    axes = [stretched, *grids]
    scale = np.array([value for axis in axes for value in (axis[0], 1.0 / (axis[1] - axis[0]))])
    return LayerTable(np.ascontiguousarray(rests), scale, layers.thickness_m)


def no_layers() -> LayerGround:
    """Return what stands for one soil."""
    flat, deep = np.zeros((0, 4), dtype=np.complex128), np.zeros((0, 0, 0, 0, 2), dtype=np.complex128)
    return LayerGround(0j, math.inf, np.zeros(0, dtype=np.bool_), np.zeros((0, 2, 3)), flat, deep, np.zeros((0, 6)))


def layer_ground(points_m: FloatArray, ends_m: FloatArray, layers: Layers) -> LayerGround:
    """Make the tables for a set of sections.

    Parameters
    ----------
    points_m : ndarray of float, shape (n, k, 3)
        Where the tables will be read; the first, a section's middle, says in which layer it lies.
    ends_m : ndarray of float, shape (n, 2, 3)
        Ends.
    layers : Layers

    Returns
    -------
    LayerGround
    """
    thickness = layers.thickness_m
    lower = points_m[:, 0, 2] > thickness
    mirrored = ends_m.copy()
    mirrored[..., 2] = 2.0 * thickness - mirrored[..., 2]
    reach = float(np.hypot(*np.ptp(points_m.reshape(-1, 3)[:, :2], axis=0)))
    sides = [_depths(points_m[lower == side, :, 2], thickness, below=side) for side in (False, True)]
    kinds = ((False, False), (False, True), (True, True))
    images = [static_images(layers, lower_a=a, lower_b=b) for a, b in kinds]
    present = [not lower.all(), lower.any() and not lower.all(), lower.any()]
    # a table that no pair of sections reads is left empty: each takes longer than a small site's matrices
    unread = LayerTable(np.zeros((RHO_NODES, DEPTH_NODES, DEPTH_NODES, 2), dtype=complex), np.zeros(6), thickness)
    tables = [
        layer_table(layers, sides[a], sides[b], rho_max_m=reach) if needed else unread
        for (a, b), needed in zip(kinds, present, strict=True)
    ]
    return LayerGround(
        layers.gamma_lower,
        thickness,
        lower,
        mirrored,
        np.array([[i.direct, i.surface, i.interface, 1.0 / (FOUR_PI * i.sigma)] for i in images]),
        np.stack([table.rests for table in tables]),
        np.stack([table.scale for table in tables]),
    )


def _depths(depths: FloatArray, thickness: float, *, below: bool) -> tuple[float, float]:
    """Return the range of a layer's table: what its sections need, held within the layer."""
    if depths.size == 0:
        return (thickness, thickness + DEPTH_MARGIN_M) if below else (0.5 * thickness, thickness)
    low, high = float(depths.min()), float(depths.max())
    if below:
        low = max(low, thickness)
        return low, max(high, low + DEPTH_MARGIN_M)
    high = min(high, thickness)
    return max(0.0, min(low, high - DEPTH_MARGIN_M)), high


@numba.njit(cache=True)
def _place(value: float, start: float, inverse_step: float, nodes: int) -> tuple[int, float]:
    """Node left of a value and the rest in steps; held inside, one-sided next to the rim."""
    x = min(max((value - start) * inverse_step, 0.0), nodes - 1.0)
    i = min(max(int(x), 1), nodes - 3)
    return i, x - i


@numba.njit(cache=True)
def read_table(table: LayerTable, rho_m: float, depths_m: tuple[float, float]) -> tuple[complex, complex]:
    """Read the rests of g_A and g_K at one point, for use inside compiled loops.

    Parameters
    ----------
    table : LayerTable
    rho_m : float
        Horizontal offset, m; beyond the table its rim is read.
    depths_m : tuple of float
        Both depths, in the table's order, m.

    Returns
    -------
    tuple of complex
        1/m.
    """
    rests, scale = table.rests, table.scale
    i, x = _place(np.arcsinh(rho_m), scale[0], scale[1], rests.shape[0])
    j, y = _place(depths_m[0], scale[2], scale[3], rests.shape[1])
    k, z = _place(depths_m[1], scale[4], scale[5], rests.shape[2])
    along, down_a, down_b = cubic_weights(x), cubic_weights(y), cubic_weights(z)
    vector, potential = 0.0j, 0.0j
    for p in range(4):
        for q in range(4):
            for r in range(4):
                weight = along[p] * down_a[q] * down_b[r]
                vector += weight * rests[i - 1 + p, j - 1 + q, k - 1 + r, 0]
                potential += weight * rests[i - 1 + p, j - 1 + q, k - 1 + r, 1]
    far = math.sqrt(rho_m * rho_m + table.thickness_m * table.thickness_m)
    return vector / far, potential / far
