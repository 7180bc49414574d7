"""What the solver sees of a network: sections, electrodes and lumped elements, once for a site."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from corridor.errors import DomainError
from corridor.settings import SolverSettings
from corridor.tone.conductors import Conductor
from corridor.tone.integrals import DistanceIntegrals, WireSections, inverse_distance_integrals, wire_sections
from corridor.tone.layout import Layout

__all__ = ["Electrode", "Element", "SoilRange", "ToneModel"]

Real = NDArray[np.float64]


@dataclass(frozen=True)
class SoilRange:
    """Soil resistivity, nominal, low and high, and its relative permittivity.

    Where the records tell of two layers these are the top layer's, ``top_thickness_m`` is its thickness and
    ``lower_ohm_m`` the resistivity below it with the nominal top; NaN for one soil.
    """

    nominal_ohm_m: float
    low_ohm_m: float
    high_ohm_m: float
    relative_permittivity: float
    source: str
    top_thickness_m: float = math.nan
    lower_ohm_m: float = math.nan

    def lower_at(self, resistivity_ohm_m: float) -> float:
        """Return the resistivity below with another top, ohm m: it varies in proportion; NaN for one soil."""
        return self.lower_ohm_m * resistivity_ohm_m / self.nominal_ohm_m


@dataclass(frozen=True)
class Electrode:
    """A located ground electrode: a vertical rod from the surface, or the part of one that lies in one layer of soil.

    ``resistance_ohm`` is its own at the nominal soil and scales with the soil; NaN leaves the calculated one. A part
    that begins at ``top_m`` below ground follows the part above it and has its name.
    """

    name: str
    line_id: str | None
    xy_m: tuple[float, float]
    length_m: float
    radius_m: float
    resistance_ohm: float = math.nan
    top_m: float = 0.0


@dataclass(frozen=True)
class Element:
    """A lumped connection between two places of the network.

    ``closed_ohm`` is its impedance when it conducts; when it doesn't it is ``open_ohm`` with ``open_f`` beside it.
    ``probability`` is that of its conducting, as far as the records tell; NaN where they don't.
    """

    kind: str
    source_id: str
    line_a: str
    line_b: str
    node_a: int
    node_b: int
    closed: bool
    switchable: bool
    closed_ohm: float
    open_ohm: float = math.inf
    open_f: float = 0.0
    evidence: str | None = None
    probability: float = math.nan


@dataclass(frozen=True)
class ToneModel:
    """Sections, electrodes and elements of one network.

    Attributes
    ----------
    layout : Layout
        Chains of sections and the nodes of the elements.
    start_m, end_m : ndarray, shape (n, 3)
        x, y, depth of the sections' ends, m, against ``origin_m``.
    origin_m : ndarray, shape (2,)
        Where x = y = 0 stands in the site's CRS.
    line_index : ndarray of int, shape (n,)
        Index into ``line_ids``; for an electrode its line's, -1 for a stake.
    line_ids : tuple of str
    conductors : tuple of Conductor
        One a line.
    electrodes : tuple of Electrode
        The last sections, in this order.
    measure_m : ndarray, shape (n, 2)
        Start and end of each section along its line; NaN for electrodes.
    elements : tuple of Element
        In the layout's order.
    node_of : dict
        Network node_id to solver node.
    solver : SolverSettings
        Up to which size its matrices are dense, and how exact they are beyond.
    states : mapping of str to ndarray of bool
        Named states of all elements, closed or not, beside those that every model has (`corridor.tone.cases`).
    """

    layout: Layout
    start_m: Real
    end_m: Real
    origin_m: Real
    line_index: NDArray[np.int64]
    line_ids: tuple[str, ...]
    conductors: tuple[Conductor, ...]
    electrodes: tuple[Electrode, ...]
    measure_m: Real
    elements: tuple[Element, ...]
    node_of: dict[str, int]
    solver: SolverSettings = field(default_factory=SolverSettings)
    states: Mapping[str, NDArray[np.bool_]] = field(default_factory=dict)

    @property
    def n_sections(self) -> int:
        """Number of sections, electrodes included."""
        return len(self.start_m)

    @property
    def n_conducting(self) -> int:
        """Number of sections of lines: the electrodes follow after them."""
        return len(self.start_m) - len(self.electrodes)

    @cached_property
    def electrode_mask(self) -> NDArray[np.bool_]:
        """Whether each section is an electrode."""
        return np.arange(self.n_sections) >= self.n_conducting

    @property
    def is_large(self) -> bool:
        """Whether it is solved in blocks, since dense matrices would take too much memory."""
        return self.n_sections > self.solver.section_limit

    @cached_property
    def wires(self) -> WireSections:
        """What the pair integrals need to know of the sections."""
        radius, outer = self._radii()
        return wire_sections(self.start_m, self.end_m, radius_m=radius, chain=self._bodies(), outer_radius_m=outer)

    @cached_property
    def integrals(self) -> DistanceIntegrals:
        """The frequency-independent pair integrals, made on first use."""
        radius, outer = self._radii()
        return inverse_distance_integrals(
            self.start_m, self.end_m, radius_m=radius, chain=self._bodies(), outer_radius_m=outer
        )

    def electrode_node(self, name: str) -> int:
        """Return the solver node of an electrode.

        Raises
        ------
        DomainError
            If there is none of that name.
        """
        for k, electrode in enumerate(self.electrodes):
            if electrode.name == name:
                return int(self.layout.start_node[self.n_conducting + k])
        message = f"the tone model has no electrode {name!r}"
        raise DomainError(message)

    def sections_of(self, line_id: str) -> NDArray[np.int64]:
        """Return the sections of a line, in the order of measure, its electrodes left out; empty if it isn't there."""
        return self._sections.get(line_id, np.empty(0, dtype=np.int64))

    @cached_property
    def _sections(self) -> dict[str, NDArray[np.int64]]:
        index = np.where(self.electrode_mask, -1, self.line_index)
        order = np.lexsort((self.measure_m[:, 0], index))
        first = np.searchsorted(index[order], np.arange(len(self.line_ids) + 1))
        return {line_id: order[first[k] : first[k + 1]] for k, line_id in enumerate(self.line_ids)}

    def section_at(self, line_id: str, at_m: float) -> int:
        """Return the section of a line nearest to a distance along it.

        Raises
        ------
        DomainError
            If the line isn't in the model.
        """
        own = self.sections_of(line_id)
        if own.size == 0:
            message = f"line {line_id} carries no tone in this model"
            raise DomainError(message)
        low, high = self.measure_m[own].T
        outside = np.maximum(np.maximum(low - at_m, at_m - high), 0.0)
        return int(own[outside.argmin()])

    def node_at(self, line_id: str, at_m: float) -> int:
        """Return the solver node of a line nearest to a distance along it.

        Raises
        ------
        DomainError
            If the line isn't in the model.
        """
        section = self.section_at(line_id, at_m)
        low, high = self.measure_m[section]
        return int(self.layout.start_node[section]) + int(abs(at_m - high) < abs(at_m - low))

    def per_section(self, values: list[complex]) -> NDArray[np.complex128]:
        """Spread one value a line over the sections; electrodes are bare metal (infinite)."""
        table = np.array([*values, complex(math.inf)])
        return table[np.where(self.electrode_mask, len(values), self.line_index)]

    def electrode_ohm(self, soil_factor: float) -> Real:
        """Return each section's own resistance as an electrode, NaN where it is calculated; scales with the soil."""
        own = np.full(self.n_sections, np.nan)
        own[self.n_conducting :] = [e.resistance_ohm * soil_factor for e in self.electrodes]
        return own

    def with_elements(self, elements: tuple[Element, ...]) -> "ToneModel":
        """Return the same sections joined by other elements."""
        ends = ([e.node_a for e in elements], [e.node_b for e in elements])
        layout = Layout(self.layout.chain, *(np.array(nodes, dtype=np.int64) for nodes in ends))
        return replace(self, layout=layout, elements=elements)

    def _radii(self) -> tuple[Real, Real]:
        index = self.line_index[: self.n_conducting]
        rods = [e.radius_m for e in self.electrodes]
        metal = np.array([c.radius_m for c in self.conductors])[index] if len(index) else np.empty(0)
        outer = np.array([c.outer_radius_m for c in self.conductors])[index] if len(index) else np.empty(0)
        return np.concatenate([metal, rods]), np.concatenate([outer, rods])

    def _bodies(self) -> NDArray[np.int64]:
        """Return which conductor each section belongs to: a line is one, however many chains, an electrode too."""
        return np.where(self.electrode_mask, len(self.line_ids) + self.layout.chain, self.line_index)
