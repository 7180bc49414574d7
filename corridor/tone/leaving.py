"""How much tone leaves the network that is solved, where metal goes on beyond it."""

from collections.abc import Sequence

import numpy as np

from corridor.settings import Equipment
from corridor.tone.cases import element_ohms
from corridor.tone.conductors import characteristic_ohm
from corridor.tone.drive import Drive, unit_output, unit_sources
from corridor.tone.earth import propagation_constant
from corridor.tone.model import SoilRange, ToneModel
from corridor.tone.solve import matrices
from corridor.tone.tree import factorise

__all__ = ["leaving_share"]


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

    A line cut off ends open in the model: the current there is zero by construction and says nothing. The voltage does:
    an open end doubles the wave that arrives, so that |V|/(2 |Zc|) would have gone on, Zc the characteristic impedance
    of the infinite line (line theory; an estimate for bare metal). What arrives over several lines isn't added up.

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
    section = np.searchsorted(model.layout.start_node, nodes, side="right") - 1
    section = np.minimum(section, model.n_conducting - 1)
    worst = 0.0
    for frequency in sorted(set(frequencies_hz)):
        z, p = matrices(model, frequency_hz=frequency, resistivity_ohm_m=rho, soil=soil)
        gamma = propagation_constant(rho, frequency, relative_permittivity=soil.relative_permittivity)
        source = unit_sources(model, drives, frequency_hz=frequency, gamma_per_m=gamma)
        solution = factorise(model.layout, z, p, element_ohms(model, "nominal", frequency)).solve(*source)
        hooked = np.abs(unit_output(solution, drives, frequency_hz=frequency, equipment=equipment).reference_a)
        reference = np.maximum(hooked, np.abs(solution.current_a).max(axis=0))
        wave_ohm = np.array(
            [
                characteristic_ohm(
                    metal.series(frequency),
                    metal.leakage(frequency),
                    radius_m=metal.outer_radius_m,
                    frequency_hz=frequency,
                    resistivity_ohm_m=rho,
                )
                for metal in model.conductors
            ]
        )[model.line_index[section]]
        share = np.abs(solution.node_v[nodes]) / (2 * wave_ohm[:, None] * reference[None, :])
        worst = max(worst, float(share.max()))
    return worst
