"""The network's solution against ngspice, an independent circuit simulator, fed with a netlist of the same matrices."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from corridor.tone.netlist import netlist
from corridor.tone.tree import factorise
from tests.tone.networks import Network, random_network, sources
from tests.tone.spice import as_solution
from tests.validation.lines import Line, Site
from tests.validation.ngspice import needs_ngspice, run

SOURCE = "ngspice, AC analysis"
# frequency in Hz, resistivity in ohm m
STREETS = [(500.0, 1000.0), (8e3, 100.0), (200e3, 30.0)]


def street(frequency_hz: float, resistivity_ohm_m: float) -> Network:
    """A jacketed cable with a joint, a bare pipe beside it and one across, a rod and a stake; 26 sections.

    Elements: a closed bond of zero ohms, the joint (1 Mohm beside 1 nF), an open bond, a corroded one, two leads.
    """
    iron = {"radius_m": 0.08, "outer_radius_m": 0.08, "metal_ohm_m": 1.7e-7, "relative_permeability": 300.0}
    lines = (
        Line((0, 0, 0.9), (24, 0, 0.9), 8),
        Line((24, 0, 0.9), (40, 0, 0.9), 5),
        Line((0, 1, 1.1), (30, 1, 1.1), 6, **iron),
        Line((20, -8, 1.4), (20, 12, 1.4), 5, **iron),
        Line((40, 0.5, 0), (40, 0.5, 1.5), 1, radius_m=0.008, rod=True),
        Line((-1, 5, 0), (-1, 5, 0.4), 1, radius_m=0.007, rod=True),
    )
    joint = 1 / (1e-6 + 2j * np.pi * frequency_hz * 1e-9)
    pairs = ((8, 9), (12, 19), (4, 23), (14, 28), (15, 22), (3, 24))
    return Site(lines, resistivity_ohm_m, pairs, (joint, 0, np.inf, 0, 0.3, 2 + 1j)).network(frequency_hz)


def compare(
    agrees: Callable[..., None], network: Network, fed: tuple[np.ndarray, np.ndarray], frequency_hz: float, folder: Path
) -> None:
    layout, matrices = network.layout, (network.z_ohm, network.p_ohm, network.element_ohm)
    injection, emf = fed
    text = netlist(layout, *matrices, frequency_hz=frequency_hz, injection_a=injection[:, 0], emf_v=emf[:, 0])
    theirs, ours = as_solution(layout, run(text, folder)), factorise(layout, *matrices).solve(injection, emf)
    for quantity, name, unit in (
        ("potentials of nodes", "node_v", "V"),
        ("currents along sections", "current_a", "A"),
        ("leaks of sections", "leak_a", "A"),
        ("currents of elements", "element_a", "A"),
    ):
        one, other = getattr(ours, name), getattr(theirs, name)
        agrees(quantity, one, other, of=abs(other).max(), within=1e-9, source=SOURCE, unit=unit)


@needs_ngspice
@pytest.mark.parametrize(("frequency_hz", "resistivity_ohm_m"), STREETS)
def test_street_fed_against_a_stake(
    agrees: Callable[..., None], tmp_path: Path, frequency_hz: float, resistivity_ohm_m: float
) -> None:
    # the engine's own matrices; 1 A from the stake into the cable, and a clamp's voltage in one section of the pipe.
    # Bar 1e-9 of the largest value of each kind: rounding of two different eliminations
    network = street(frequency_hz, resistivity_ohm_m)
    injection, emf = np.zeros((network.layout.n_nodes, 1)), np.zeros((network.layout.n_sections, 1))
    injection[0], injection[-2], emf[15] = 1, -1, 0.3
    compare(agrees, network, (injection, emf), frequency_hz, tmp_path)


@needs_ngspice
@pytest.mark.parametrize("seed", [11, 12])
def test_random_network_with_sources_everywhere(agrees: Callable[..., None], tmp_path: Path, seed: int) -> None:
    network = random_network(seed)
    ohms = network.element_ohm.copy()
    ohms[:2] = 0, np.inf
    network = replace(network, element_ohm=ohms)
    compare(agrees, network, sources(seed, network.layout, 1), 1e3, tmp_path)
