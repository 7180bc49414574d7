"""Many places for one ground stake tried on a network that is factored already: its field in the soil is the source.

A stake that takes an ampere out of the soil, and is connected to nothing else of the network, is no unknown: its
potential stands at every section beforehand. So a place costs one more column of a solution, and the whole is exact,
as if the stake were a section of the network.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from corridor.errors import DomainError
from corridor.tone.large import LargeNetwork
from corridor.tone.matrices import SectionKernel
from corridor.tone.model import Electrode, SoilRange, ToneModel
from corridor.tone.solve import kernel_of
from corridor.tone.touch import with_rods
from corridor.tone.tree import Factored

__all__ = ["StakeFields", "StakeResponse", "stake_fields", "stake_responses"]

Complex = NDArray[np.complex128]
Indices = NDArray[np.int64]


@dataclass(frozen=True)
class StakeFields:
    """What m stakes raise in the soil, per ampere that leaks from each, at one frequency and soil.

    Attributes
    ----------
    kernel : SectionKernel
        Of the network's sections, and of the stakes after them.
    n_sections, n_nodes : int
        Of the network; n sections.
    soil_ohm : ndarray of complex, shape (n, m), ohm
        Potential at each section.
    """

    kernel: SectionKernel
    n_sections: int
    n_nodes: int
    soil_ohm: Complex

    def between(self, stakes: ArrayLike) -> Complex:
        """Return the potential of each of some stakes per ampere from each of them, shape (q, q), ohm."""
        index = self.n_sections + np.atleast_1d(np.asarray(stakes, dtype=np.int64))
        return self.kernel.block(index, index)[1]


@dataclass(frozen=True)
class StakeResponse:
    """One ampere fed into each hook-up's line and taken out at each of its m places for the stake.

    Attributes
    ----------
    fields : StakeFields
        Of these places.
    current_a : ndarray of complex, shape (n, m), A
        Along each section.
    loop_ohm : ndarray of complex, shape (m,), ohm
        Between the hook-up and the stake.
    feed_v : ndarray of complex, shape (m,), V
        Of the hook-up's node, with the ampere fed in and taken out at infinity.
    lift_v : ndarray of complex, shape (m,), V
        Of the hook-up's node, per ampere that leaks from the stake.
    felt_v : ndarray of complex, shape (m,), V
        Of the soil at the stake, per ampere fed in.
    leak_a : ndarray of complex, shape (n, m), A
        Out of each section, per ampere that leaks from the stake.
    """

    fields: StakeFields
    current_a: Complex
    loop_ohm: Complex
    feed_v: Complex
    lift_v: Complex
    felt_v: Complex
    leak_a: Complex

    def loop_of_both(self, first: int, second: int) -> complex:
        """Return the loop impedance with both of two stakes of one hook-up, clipped together, ohm.

        Parameters
        ----------
        first, second : int
            Their places among the m; of one node.
        """
        pair = np.array([first, second])
        raised = self.fields.between(pair) + self.fields.soil_ohm[:, pair].T @ self.leak_a[:, pair]
        # one potential on both: felt - raised share = v, and the shares add up to one
        system = np.array([[*raised[0], 1.0], [*raised[1], 1.0], [1.0, 1.0, 0.0]])
        *share, volts = np.linalg.solve(system, np.array([*self.felt_v[pair], 1.0]))
        return complex(self.feed_v[first] - np.dot(self.lift_v[pair], share) - volts)


def stake_fields(
    model: ToneModel,
    xy_m: ArrayLike,
    *,
    length_m: float,
    radius_m: float,
    frequency_hz: float,
    resistivity_ohm_m: float,
    soil: SoilRange,
) -> StakeFields:
    """Return the fields of a stake at m places.

    Parameters
    ----------
    model : ToneModel
        The network.
    xy_m : array_like of float, shape (m, 2)
        Places, x and y in the site's CRS, m.
    length_m, radius_m : float
        Of the stake, driven from the surface. It is one section, in the layer of its middle where there are two.
    frequency_hz, resistivity_ohm_m : float
        Of the tone and the soil.
    soil : SoilRange
        Permittivity and layers.

    Returns
    -------
    StakeFields

    Raises
    ------
    DomainError
        If the places have another shape, or the frequency is out of range.
    """
    places: NDArray[Any] = np.asarray(xy_m, dtype=np.float64)
    if places.ndim != 2 or places.shape[1] != 2:
        message = f"need places of shape (m, 2), x and y in m, got {places.shape}"
        raise DomainError(message)
    rods = tuple(Electrode("stake tried", None, (float(x), float(y)), length_m, radius_m) for x, y in places)
    kernel = kernel_of(
        with_rods(model, rods), frequency_hz=frequency_hz, resistivity_ohm_m=resistivity_ohm_m, soil=soil
    )
    n = model.n_sections
    return StakeFields(kernel, n, model.layout.n_nodes, kernel.block(n + np.arange(len(rods)), np.arange(n))[1].T)


def stake_responses(network: Factored | LargeNetwork, fields: StakeFields, nodes: ArrayLike) -> StakeResponse:
    """Solve one ampere from a node of the network through the soil to each of the stakes.

    Parameters
    ----------
    network : Factored or LargeNetwork
        Factored at the fields' frequency and soil.
    fields : StakeFields
        Of the m stakes.
    nodes : array_like of int, shape (m,)
        Where each one's ampere is fed in.

    Returns
    -------
    StakeResponse

    Raises
    ------
    DomainError
        If there isn't a node for each stake.
    """
    fed = np.atleast_1d(np.asarray(nodes, dtype=np.int64))
    raised = fields.soil_ohm
    m = raised.shape[1]
    if fed.shape != (m,):
        message = f"need one node for each of {m} stakes, got {fed.size}"
        raise DomainError(message)
    own, feed = np.unique(fed, return_inverse=True)
    k = own.size
    injection = np.zeros((fields.n_nodes, k + m), dtype=np.complex128)
    injection[own, np.arange(k)] = 1.0
    soil = np.concatenate([np.zeros((fields.n_sections, k)), raised], axis=1)
    found = network.solve(injection, None, soil, at_nodes=own)
    stake = k + np.arange(m)
    feed_v, lift_v = found.node_v[fed, feed], found.node_v[fed, stake]
    leak = found.leak_a[:, stake]
    felt_v = np.einsum("ij,ij->j", raised, found.leak_a[:, feed])
    resistance = np.array([fields.between(one)[0, 0] for one in range(m)])
    return StakeResponse(
        fields=fields,
        current_a=found.current_a[:, feed] - found.current_a[:, stake],
        loop_ohm=feed_v - lift_v - felt_v + np.einsum("ij,ij->j", raised, leak) + resistance,
        feed_v=feed_v,
        lift_v=lift_v,
        felt_v=felt_v,
        leak_a=leak,
    )
