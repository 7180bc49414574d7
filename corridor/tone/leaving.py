"""How much tone leaves the network that is solved, where metal goes on beyond it."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from corridor.network.model import Network
from corridor.settings import Equipment
from corridor.tone.cases import EXTRACT_TAIL
from corridor.tone.conductors import Conductor, characteristic_ohm, conductors
from corridor.tone.drive import Drive, unit_output, unit_sources
from corridor.tone.earth import propagation_constant
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.solve import ToneSolution, nominal_network

__all__ = ["leaving_share", "share_of_solution", "with_tails"]

TAIL = "beyond the network solved at"  # first words of such a ground's name
TAIL_MAX_OHM = 1e5  # a conductor that hardly leaks takes next to nothing away


def with_tails(
    network: Network, cut_nodes: Sequence[str], lines: gpd.GeoDataFrame, *, frequency_hz: float, soil: SoilRange
) -> Network:
    """Return the network with a ground where it was cut, as large as the characteristic impedance of what goes on.

    Where the extract of the records cut a line, the ground is switchable: closed, the line goes on; open, it ends.

    An end left open would throw the wave back into the network, which nothing does in the street. The ground stands at
    the cut, where the real line leaks all along: near the cut the soil's potential is too high, farther in it's right.

    Parameters
    ----------
    network : Network
        The part that is solved.
    cut_nodes : sequence of str
        Its nodes where metal goes on.
    lines : GeoDataFrame
        Table ``lines``, for the conductors.
    frequency_hz : float
        Where the impedance is taken: between the lowest and the highest of the run.
    soil : SoilRange
        Its nominal resistivity.
    """
    beyond = set(network.extract_ends) - set(cut_nodes)
    cut = network.nodes[network.nodes["node_id"].isin(beyond.union(cut_nodes))].sort_values("node_id", kind="stable")
    if cut.empty:
        return network
    switchable = cut["node_id"].isin(beyond).to_numpy()
    metals = conductors(lines[lines["line_id"].isin(set(cut["line_id"]))].set_index("line_id", drop=False))
    ohms = [
        min(_wave_ohm(metals[line_id], frequency_hz, soil.nominal_ohm_m), TAIL_MAX_OHM) for line_id in cut["line_id"]
    ]
    tails = gpd.GeoDataFrame(
        {
            "ground_id": [f"{EXTRACT_TAIL if name in beyond else TAIL} {name}" for name in cut["node_id"]],
            "node_id": cut["node_id"].to_numpy(),
            "line_id": cut["line_id"].to_numpy(),
            "resistance_ohm": ohms,
            "evidence": "inferred",
            "closed": True,
            "switchable": switchable,
            "probability": np.where(switchable, 0.5, 1.0),
            "resistance_low_ohm": ohms,
            "resistance_high_ohm": ohms,
        },
        geometry=cut.geometry.to_numpy(),
        crs=cut.crs,
    )
    grounds = tails if network.grounds.empty else pd.concat([network.grounds, tails], ignore_index=True)
    return replace(network, grounds=grounds)


def _wave_ohm(metal: Conductor, frequency_hz: float, resistivity_ohm_m: float) -> float:
    return characteristic_ohm(
        metal.series(frequency_hz),
        metal.leakage(frequency_hz),
        radius_m=metal.outer_radius_m,
        frequency_hz=frequency_hz,
        resistivity_ohm_m=resistivity_ohm_m,
    )


def leaving_share(
    model: ToneModel,
    drives: Sequence[Drive],
    cut_nodes: Sequence[int],
    *,
    frequencies_hz: Sequence[float],
    soil: SoilRange,
    equipment: Equipment,
) -> float:
    """Return the largest share of a hook-up's tone that would go on where the network was cut; nominal case.

    The share is of the largest current that the hook-up drives anywhere: a clamp or a loop may drive more on a
    neighbour than on its target.

    What goes on is |V|/|Zc| at each cut, Zc the characteristic impedance of the infinite line (line theory; an estimate
    for bare metal), since ``with_tails`` closes the cuts with it. What arrives over several lines isn't added up.

    Parameters
    ----------
    model : ToneModel
        The network solved.
    drives : sequence of Drive
        The hook-ups.
    cut_nodes : sequence of int
        Solver nodes where metal goes on; without any the share is 0.
    frequencies_hz : sequence of float
        Where to look.
    soil : SoilRange
        Its nominal resistivity.
    equipment : Equipment
        Limits don't matter here; the current at the hook-up is what the share refers to.

    Returns
    -------
    float
    """
    if not len(cut_nodes) or not len(drives):
        return 0.0
    rho = soil.nominal_ohm_m
    nodes = np.asarray(cut_nodes, dtype=np.int64)
    ends = [node for drive in drives for node in (drive.node, drive.return_node) if node >= 0]
    wanted = np.concatenate([nodes, np.array(ends, dtype=np.int64)])
    worst = 0.0
    for frequency in sorted(set(frequencies_hz)):
        gamma = propagation_constant(rho, frequency, relative_permittivity=soil.relative_permittivity)
        source = unit_sources(model, drives, frequency_hz=frequency, gamma_per_m=gamma)
        network = nominal_network(model, frequency_hz=frequency, resistivity_ohm_m=rho, soil=soil)
        solution = network.solve(*source, at_nodes=wanted)
        hooked = np.abs(unit_output(solution, drives, frequency_hz=frequency, equipment=equipment).reference_a)
        reference = np.maximum(hooked, np.abs(solution.current_a).max(axis=0))
        wave_ohm = _wave_ohms(model, nodes, frequency, rho)
        worst = max(worst, _share(solution.node_v[nodes], wave_ohm, reference))
    return worst


def share_of_solution(solution: ToneSolution, cut_nodes: Sequence[int]) -> float:
    """Return what ``leaving_share`` would, from a solution that has watched the cuts.

    Parameters
    ----------
    solution : ToneSolution
        Made with ``watched=cut_nodes``, in the nominal case among others.
    cut_nodes : sequence of int
        Solver nodes where metal goes on.

    Returns
    -------
    float
        At the lowest and the highest frequency solved.
    """
    if not len(cut_nodes) or not len(solution.drives):
        return 0.0
    nodes, nominal = np.asarray(cut_nodes, dtype=np.int64), solution.cases[0].name
    worst = 0.0
    for frequency in {min(solution.frequencies_hz), max(solution.frequencies_hz)}:
        result = solution.results[frequency, nominal]
        reference = np.maximum(1.0, np.abs(result.current_a).max(axis=0))  # all is told per ampere at the hook-up
        wave_ohm = _wave_ohms(solution.model, nodes, frequency, solution.soil.nominal_ohm_m)
        worst = max(worst, _share(result.watched_v, wave_ohm, reference))
    return worst


def _share(volts: NDArray[Any], wave_ohm: NDArray[np.float64], reference_a: NDArray[np.floating[Any]]) -> float:
    """Return the largest |V|/|Zc| of a hook-up's current; volts (nodes, hook-ups), wave_ohm (nodes, 1)."""
    return float((np.abs(volts) / (wave_ohm * reference_a[None, :])).max())


def _wave_ohms(model: ToneModel, nodes: NDArray[np.int64], frequency_hz: float, rho: float) -> NDArray[np.float64]:
    """Return the characteristic impedance of the line at each node, shape (nodes, 1)."""
    section = np.searchsorted(model.layout.start_node, nodes, side="right") - 1
    section = np.minimum(section, model.n_conducting - 1)
    of_line = np.array([_wave_ohm(metal, frequency_hz, rho) for metal in model.conductors])
    return of_line[model.line_index[section], None]
