"""The two matrices of the tone network: series impedance Z along the sections and leakage impedance P to the soil.

Every entry comes from `corridor.tone.pair_kernel`. The whole matrices take the integrals that know no frequency ready
from `corridor.tone.integrals`; blocks of them, for networks whose matrices nobody can keep, integrate as they go.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from corridor.constants import MU_0, TWO_PI
from corridor.errors import DomainError
from corridor.tone.earth import ComplexArray, air_reflection, complex_conductivity, propagation_constant
from corridor.tone.integrals import (
    CoatedPairs,
    DistanceIntegrals,
    FloatArray,
    WireSections,
    coated_pairs,
    pair_integral,
    self_integrals,
    wire_pair_integrals,
)
from corridor.tone.kernel_table import EarthTable
from corridor.tone.layer_matrices import LayerGround, layer_ground, no_layers
from corridor.tone.layered import Layers, direct_factor, layers_of
from corridor.tone.level_fill import fill_level_pairs, has_row
from corridor.tone.level_pairs import level_pairs
from corridor.tone.pair_kernel import PairSections, PairSoil, layer_entries, pair_sections, soil_entries
from corridor.tone.sommerfeld import air_propagation_constant

__all__ = ["SectionKernel", "section_kernel", "section_matrices"]

FOUR_PI = 2.0 * TWO_PI

Indices = NDArray[np.int64]
Ground = tuple[PairSoil, LayerGround]


class _Own(NamedTuple):
    """What stands on the diagonals besides the integrals: shape (n,) each; ``resistance`` is NaN where calculated."""

    series: ComplexArray
    coating: ComplexArray
    resistance: FloatArray


@dataclass(frozen=True)
class SectionKernel:
    """The matrices of `section_matrices` at one frequency, worked out block by block on demand.

    Attributes
    ----------
    wires : WireSections
        For the integrals.
    sections : PairSections
        For the kernel.
    ground : tuple of PairSoil and LayerGround
        Soil and frequency.
    own : tuple of ndarray
        Terms of each section alone, ohm: metal, coating, resistance of an electrode or NaN.
    integrals : ndarray of float, shape (2, n)
        Of each section and itself, with the metal's and the outer radius, m.
    coated : sparse array of complex, shape (n, n)
        What the leakage of pairs within one coated conductor has more, ohm.
    """

    wires: WireSections
    sections: PairSections
    ground: Ground
    own: _Own
    integrals: FloatArray
    coated: sparse.csr_array[Any]

    def block(self, rows: Indices, columns: Indices) -> tuple[ComplexArray, ComplexArray]:
        """Return Z and P of some rows and columns, ohm.

        Parameters
        ----------
        rows, columns : ndarray of int, shapes (r,) and (c,)
            Sections, in any order.

        Returns
        -------
        tuple of ndarray of complex, shape (r, c)
            The same values, to rounding, as in the whole matrices.
        """
        Z, P = out = np.empty((2, rows.size, columns.size), dtype=np.complex128)
        _fill_block(self.sections, *self.ground, _Block(rows, columns, *self.wires, self.integrals), out)
        P += self.coated[rows][:, columns].toarray()
        at_row, at_column = np.nonzero(rows[:, np.newaxis] == columns)
        one = rows[at_row]
        Z[at_row, at_column] += self.own.series[one]
        given = self.own.resistance[one]
        P[at_row, at_column] = np.where(np.isnan(given), P[at_row, at_column] + self.own.coating[one], given)
        return Z, P


def section_matrices(
    start_m: ArrayLike,
    end_m: ArrayLike,
    *,
    integrals: DistanceIntegrals,
    series_ohm_per_m: ArrayLike,
    coating_s_per_m: ArrayLike,
    electrode: ArrayLike,
    electrode_ohm: ArrayLike,
    frequency_hz: float,
    resistivity_ohm_m: float,
    relative_permittivity: float = 10.0,
    top_thickness_m: float | None = None,
    lower_resistivity_ohm_m: float | None = None,
) -> tuple[ComplexArray, ComplexArray]:
    """Return the matrices Z and P of n sections: drop along a section per current, potential of a section per leak.

    Parameters
    ----------
    start_m, end_m : array_like of float, shape (n, 3)
        Ends of the sections: x, y, depth below ground, m.
    integrals : DistanceIntegrals
        Of the same sections, from `corridor.tone.integrals.inverse_distance_integrals`.
    series_ohm_per_m : array_like of complex, shape (n,)
        Internal impedance of each section.
    coating_s_per_m : array_like of complex, shape (n,)
        Admittance of its coating; infinite for bare metal, never zero.
    electrode : array_like of bool, shape (n,)
        Sections that are located ground electrodes: they leak and don't carry current along.
    electrode_ohm : array_like of float, shape (n,)
        Resistance to remote earth that replaces an electrode's own leakage term; NaN keeps the calculated one.
    frequency_hz, resistivity_ohm_m, relative_permittivity : float
        Of the tone and the soil; the top layer's where there are two.
    top_thickness_m, lower_resistivity_ohm_m : float, optional
        Thickness of a top layer, m, and the resistivity below it; None or NaN for both: one soil. A section lies in the
        layer of its middle.

    Returns
    -------
    tuple of ndarray of complex, shape (n, n)
        Z and P, ohms, both symmetric. Partial elements after Otero, Cidras and del Alamo 1999 (IEEE Transactions on
        Power Delivery) with the kernels g_A and g_K of the half space or of two layers, with the wave in the air; pairs
        with a vertical part use the low-frequency limit of the spectral solution in homogeneous soil.

    Raises
    ------
    DomainError
        If shapes don't fit, a coating has no admittance, the soil or the frequency is out of range, or only one of
        thickness and lower resistivity is given.
    """
    materials = (series_ohm_per_m, coating_s_per_m, electrode, electrode_ohm)
    soil = _Soil(frequency_hz, resistivity_ohm_m, relative_permittivity, top_thickness_m, lower_resistivity_ohm_m)
    sections, own, ground, layers = _prepared((start_m, end_m), materials, soil)
    n = len(sections.length)
    if integrals.direct.shape != (n, n):
        msg = f"start_m, end_m and integrals must describe the same n sections, got {n} and {integrals.direct.shape}"
        raise DomainError(msg)
    Z, P = out = np.empty((2, n, n), dtype=np.complex128)
    known = _Known(integrals.direct, integrals.image, integrals.leakage_diagonal)
    if layers is None:
        fill_level_pairs(sections, ground[0], known, out)
    _fill(sections, *ground, known, out)
    first, second, ohm = _coated_ohm(sections, integrals.coated, ground[0].leakage_factor if layers is None else layers)
    P[first, second] += ohm
    P[second, first] += ohm
    diagonal = np.arange(n)
    Z[diagonal, diagonal] += own.series
    P[diagonal, diagonal] += own.coating
    given = ~np.isnan(own.resistance)
    P[given, given] = own.resistance[given]
    return Z, P


def section_kernel(
    start_m: ArrayLike,
    end_m: ArrayLike,
    *,
    wires: WireSections,
    series_ohm_per_m: ArrayLike,
    coating_s_per_m: ArrayLike,
    electrode: ArrayLike,
    electrode_ohm: ArrayLike,
    frequency_hz: float,
    resistivity_ohm_m: float,
    relative_permittivity: float = 10.0,
    top_thickness_m: float | None = None,
    lower_resistivity_ohm_m: float | None = None,
) -> SectionKernel:
    """Return what gives any block of the matrices of n sections, without the whole of them.

    Parameters
    ----------
    wires : WireSections
        The same sections, from `corridor.tone.integrals.wire_sections`.
    start_m, end_m, series_ohm_per_m, coating_s_per_m, electrode, electrode_ohm
        As in `section_matrices`.
    frequency_hz, resistivity_ohm_m, relative_permittivity, top_thickness_m, lower_resistivity_ohm_m
        As in `section_matrices`.

    Returns
    -------
    SectionKernel

    Raises
    ------
    DomainError
        As `section_matrices` does.
    """
    materials = (series_ohm_per_m, coating_s_per_m, electrode, electrode_ohm)
    soil = _Soil(frequency_hz, resistivity_ohm_m, relative_permittivity, top_thickness_m, lower_resistivity_ohm_m)
    sections, own, ground, layers = _prepared((start_m, end_m), materials, soil)
    n = len(sections.length)
    if len(wires.metal) != n:
        msg = f"start_m, end_m and wires must describe the same n sections, got {n} and {len(wires.metal)}"
        raise DomainError(msg)
    pairs = coated_pairs(wires)
    first, second, ohm = _coated_ohm(sections, pairs, ground[0].leakage_factor if layers is None else layers)
    places = (np.concatenate([first, second]), np.concatenate([second, first]))
    coated = sparse.csr_array((np.concatenate([ohm, ohm]), places), shape=(n, n))
    return SectionKernel(wires, sections, ground, own, np.array(self_integrals(wires)), coated)


class _Soil(NamedTuple):
    frequency_hz: float
    resistivity_ohm_m: float
    relative_permittivity: float
    top_thickness_m: float | None
    lower_resistivity_ohm_m: float | None


class _Block(NamedTuple):
    rows: Indices
    columns: Indices
    ends: FloatArray  # these five as in `WireSections`
    mirrored: FloatArray
    metal: FloatArray
    outer: FloatArray
    chain: Indices
    own: FloatArray  # (2, n), of each section and itself


class _Known(NamedTuple):
    direct: FloatArray  # as in `DistanceIntegrals`
    image: FloatArray
    leakage_diagonal: FloatArray


def _prepared(
    ends: tuple[ArrayLike, ArrayLike], materials: tuple[ArrayLike, ...], soil: _Soil
) -> tuple[PairSections, _Own, Ground, Layers | None]:
    """Check what was given, and return it as the compiled loops want it."""
    if not soil.frequency_hz > 0.0:
        msg = f"frequency_hz must be positive, got {soil.frequency_hz}"
        raise DomainError(msg)
    start, end = (np.asarray(values, dtype=np.float64) for values in ends)
    n = len(start)
    names = ("series_ohm_per_m", "coating_s_per_m", "electrode", "electrode_ohm")
    series, coating, electrode, resistance = (
        _per_section(values, n, name) for values, name in zip(materials, names, strict=True)
    )
    located = electrode.astype(bool)
    if start.shape != (n, 3) or end.shape != (n, 3):
        msg = f"start_m and end_m must describe the same n sections, shape (n, 3), got {start.shape}, {end.shape}"
        raise DomainError(msg)
    if np.any(coating == 0.0):
        msg = f"section {int(np.flatnonzero(coating == 0.0)[0])}: a coating needs an admittance, however small"
        raise DomainError(msg)
    sections = pair_sections(start, end, ~located)
    layers = layers_of(
        soil.resistivity_ohm_m,
        soil.frequency_hz,
        top_thickness_m=soil.top_thickness_m,
        lower_resistivity_ohm_m=soil.lower_resistivity_ohm_m,
        relative_permittivity=soil.relative_permittivity,
    )
    own = _Own(
        np.where(located, 0.0, series * sections.length),
        _coating_ohm(coating, sections.length),
        np.where(located, resistance.real, np.nan),
    )
    return sections, own, _ground(sections, soil, layers), layers


def _per_section(values: ArrayLike, n: int, name: str) -> ComplexArray:
    array = np.asarray(values, dtype=np.complex128)
    if array.shape != (n,):
        msg = f"{name} must have one value for each of the {n} sections, got shape {array.shape}"
        raise DomainError(msg)
    return array


def _coating_ohm(coating: ComplexArray, length: FloatArray) -> ComplexArray:
    # 1/(inf + 0j) is NaN in complex arithmetic: bare metal is set apart
    bare = np.isinf(coating)
    return np.where(bare, 0.0, 1.0 / (np.where(bare, 1.0, coating) * length))


def _coated_ohm(
    sections: PairSections, coated: CoatedPairs, ground: complex | Layers
) -> tuple[Indices, Indices, ComplexArray]:
    """Return pairs of a coated conductor, and what their leaks have more since they start from its outer radius."""
    first, second, change_m = coated
    factor: complex | ComplexArray
    if isinstance(ground, Layers):
        lower = sections.points[:, 0, 2] > ground.thickness_m
        factor = direct_factor(ground, lower_a=lower[first], lower_b=lower[second])
    else:
        factor = ground
    ohm = np.asarray(factor * change_m / (sections.length[first] * sections.length[second]), dtype=np.complex128)
    return first, second, ohm


def _ground(sections: PairSections, soil: _Soil, layers: Layers | None) -> Ground:
    values = (soil.resistivity_ohm_m, soil.frequency_hz)
    eps = soil.relative_permittivity
    gamma = propagation_constant(*values, relative_permittivity=eps)
    reflection = air_reflection(*values, relative_permittivity=eps)
    places = sections.points.reshape(-1, 3)
    table = EarthTable(
        gamma,
        reflection,
        rho_max_m=float(np.hypot(*np.ptp(places[:, :2], axis=0))),
        depth_sum_min_m=2.0 * float(places[:, 2].min()),
        depth_sum_max_m=2.0 * float(places[:, 2].max()),
        gamma_air=air_propagation_constant(soil.frequency_hz, relative_permittivity=eps),
    )
    half_space = PairSoil(
        gamma,
        reflection,
        1j * TWO_PI * soil.frequency_hz * MU_0 / FOUR_PI,
        1.0 / (FOUR_PI * complex_conductivity(*values, relative_permittivity=eps)),
        table.rests,
        table.scale,
        *level_pairs(
            sections.points[:, 1, 2],
            sections.points[:, 2, 2],
            gamma=complex(gamma),
            rests=table.rests,
            scale=table.scale,
            rho_max_m=table.rho_max_m,
        ),
    )
    return half_space, no_layers() if layers is None else layer_ground(sections.points, sections.ends, layers)


# The loops stand in the parallel functions themselves, and what they fill is an argument of its own: a row at a time,
# the compiler counts references to every array of the tuples at every pair; inside a tuple, it takes filling for idle.
# Several threads take no tuples of tuples, so that the ground comes in its two parts.


@numba.njit(parallel=True, cache=True, error_model="numpy")
def _fill(  # noqa: PLR0917 - compiled functions have no keywords
    sections: PairSections, soil: PairSoil, layers: LayerGround, known: _Known, out: ComplexArray
) -> None:
    n, one_soil = len(sections.length), len(layers.lower) == 0
    # a long and a short row of the triangle together: equal work for each thread
    for k in numba.prange((n + 1) // 2):
        for part in range(2):
            i = np.int64(k) if part == 0 else n - 1 - np.int64(k)
            for j in range(i, n):
                if one_soil and has_row(soil.depth_of, soil.row_of, i, j):
                    continue  # done by `fill_level_pairs`
                direct = known.direct[i, j]
                integrals = (direct, known.image[i, j], known.leakage_diagonal[i] if i == j else direct)
                if one_soil:
                    along, leak = soil_entries((i, j), integrals, sections, soil)
                else:
                    along, leak = layer_entries((i, j), integrals, sections, (soil, layers))
                out[0, i, j], out[1, i, j] = along, leak
                out[0, j, i], out[1, j, i] = along, leak


@numba.njit(parallel=True, cache=True, error_model="numpy")
def _fill_block(  # noqa: PLR0917 - compiled functions have no keywords
    sections: PairSections, soil: PairSoil, layers: LayerGround, block: _Block, out: ComplexArray
) -> None:
    one_soil = len(layers.lower) == 0
    for k in numba.prange(len(block.rows)):
        for m in range(len(block.columns)):
            i, j = min(block.rows[k], block.columns[m]), max(block.rows[k], block.columns[m])
            if i == j:
                image = pair_integral(block.ends[i], block.mirrored[i], block.metal[i])
                integrals = (block.own[0, i], image, block.own[1, i])
            else:
                wires = WireSections(block.ends, block.mirrored, block.metal, block.outer, block.chain)
                direct, image = wire_pair_integrals(i, j, wires)
                integrals = (direct, image, direct)
            if one_soil:
                along, leak = soil_entries((i, j), integrals, sections, soil)
            else:
                along, leak = layer_entries((i, j), integrals, sections, (soil, layers))
            out[0, k, m], out[1, k, m] = along, leak
