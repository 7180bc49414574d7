"""What a hand and a foot would have between them: metal of the network against the soil surface beside it."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError
from corridor.tone.earth import complex_conductivity
from corridor.tone.layout import Layout
from corridor.tone.model import Electrode, SoilRange, ToneModel
from corridor.tone.solve import kernel_of

__all__ = ["TouchRows", "touch_rows", "with_rods"]

Complex = NDArray[np.complex128]

PROBE_M = 0.05  # a short thin rod feels the potential of the surface and changes nothing
PROBE_RADIUS_M = 0.001


def with_rods(model: ToneModel, rods: tuple[Electrode, ...]) -> ToneModel:
    """Return a model with more electrodes after its own, connected to nothing.

    Parameters
    ----------
    model : ToneModel
        Its sections keep their numbers.
    rods : tuple of Electrode
        Upright, each one section; positions in the site's CRS.
    """
    if not rods:
        return model
    start = np.array([(*(np.asarray(rod.xy_m) - model.origin_m), rod.top_m) for rod in rods])
    end = start + np.array([(0.0, 0.0, rod.length_m) for rod in rods])
    own = model.layout
    chain = np.concatenate([own.chain, own.n_chains + np.arange(len(rods))])
    return replace(
        model,
        layout=Layout(chain, own.node_a, own.node_b),
        start_m=np.concatenate([model.start_m, start]),
        end_m=np.concatenate([model.end_m, end]),
        line_index=np.concatenate([model.line_index, np.full(len(rods), -1)]),
        electrodes=(*model.electrodes, *rods),
        measure_m=np.concatenate([model.measure_m, np.full((len(rods), 2), np.nan)]),
    )


@dataclass(frozen=True)
class TouchRows:
    """Rows of the leakage matrix for places where metal can be touched; made by `touch_rows`.

    Attributes
    ----------
    model : ToneModel
        The network.
    sections : ndarray of int, shape (m,)
        Whose metal is touched.
    soil_ohm : ndarray of complex, shape (m, n), ohm
        Potential of the soil at the metal against that of the surface, per ampere of leak, without displacement.
    resistivity_ohm_m, relative_permittivity : float
        Of the soil.
    """

    model: ToneModel
    sections: NDArray[np.int64]
    soil_ohm: Complex
    resistivity_ohm_m: float
    relative_permittivity: float

    def volts(self, leak_a: NDArray[Any], frequency_hz: float) -> Complex:
        """Return the voltages between metal and surface.

        Parameters
        ----------
        leak_a : ndarray of complex, shape (n, k), A
            Out of each section, solved at ``frequency_hz`` in the same soil.
        frequency_hz : float
            The coating and the soil's conductivity are taken there; the spread of the field in the soil stays that of
            the rows' own frequency, without displacement, which counts over metres for little.

        Returns
        -------
        ndarray of complex, shape (m, k), V
        """
        conductivity = complex_conductivity(
            self.resistivity_ohm_m, frequency_hz, relative_permittivity=self.relative_permittivity
        )
        ratio = 1.0 / (self.resistivity_ohm_m * conductivity)
        own = _coating_ohm(self.model, self.sections, frequency_hz)
        through_soil = self.soil_ohm.astype(leak_a.dtype) @ leak_a  # half the time where leaks are kept short
        return np.asarray(ratio * through_soil + own[:, None] * leak_a[self.sections])


def touch_rows(
    model: ToneModel,
    sections: ArrayLike,
    surface_xy_m: ArrayLike,
    *,
    frequency_hz: float,
    resistivity_ohm_m: float,
    soil: SoilRange,
) -> TouchRows:
    """Prepare the voltages between metal and the soil surface beside it.

    The metal's potential is that of its section at the middle, which it has against remote earth through its coating
    and the soil; the surface's is the mean along a rod of 5 cm. Both follow from the leaks of all sections alone.

    Parameters
    ----------
    model : ToneModel
        The network.
    sections : array_like of int, shape (m,)
        Where the metal is touched.
    surface_xy_m : array_like of float, shape (m, 2)
        Where one stands, x and y in the site's CRS, m.
    frequency_hz, resistivity_ohm_m : float
        Of the tone, somewhere in the run, and the soil.
    soil : SoilRange
        Permittivity and layers.

    Returns
    -------
    TouchRows

    Raises
    ------
    DomainError
        If the shapes don't fit, a section doesn't exist, or the frequency is out of range.
    """
    index = np.atleast_1d(np.asarray(sections, dtype=np.int64))
    surface: NDArray[Any] = np.asarray(surface_xy_m, dtype=np.float64).reshape(-1, 2)
    if len(index) != len(surface):
        message = f"need one place on the surface for each of {len(index)} sections, got {len(surface)}"
        raise DomainError(message)
    if index.size and not 0 <= index.min() <= index.max() < model.n_sections:
        message = f"need sections of 0 ... {model.n_sections - 1}, got {index.min()} ... {index.max()}"
        raise DomainError(message)
    probes = tuple(Electrode("probe", None, (float(x), float(y)), PROBE_M, PROBE_RADIUS_M) for x, y in surface)
    conducting = replace(soil, relative_permittivity=0.0)  # the wave in the air costs more than all else
    kernel = kernel_of(
        with_rods(model, probes), frequency_hz=frequency_hz, resistivity_ohm_m=resistivity_ohm_m, soil=conducting
    )
    columns = np.arange(model.n_sections)
    own, which = np.unique(index, return_inverse=True)
    metal = kernel.block(own, columns)[1]
    metal[np.arange(own.size), own] -= _coating_ohm(model, own, frequency_hz)
    beside = kernel.block(model.n_sections + np.arange(index.size), columns)[1]
    return TouchRows(model, index, metal[which] - beside, resistivity_ohm_m, soil.relative_permittivity)


def _coating_ohm(model: ToneModel, sections: NDArray[np.int64], frequency_hz: float) -> Complex:
    """Return the impedance of each section's coating; zero for electrodes and bare metal."""
    leakage = model.per_section([metal.leakage(frequency_hz) for metal in model.conductors])[sections]
    length = np.linalg.norm(model.end_m[sections] - model.start_m[sections], axis=1)
    bare = np.isinf(leakage)
    return np.where(bare, 0.0, 1.0 / (np.where(bare, 1.0, leakage) * length))
