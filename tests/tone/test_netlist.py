"""The netlist, read back by a small nodal analysis; tests/validation/test_ngspice.py has a simulator read it."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.tone.layout import Layout
from corridor.tone.netlist import netlist
from corridor.tone.tree import factorise
from tests.tone.networks import Network, random_network, sources, worst_difference
from tests.tone.spice import as_solution, parts, run

ONE = Network(Layout(np.zeros(1), np.array([0]), np.array([1])), np.eye(1) * (2 + 3j), np.eye(1) * 50, np.array([7.0]))


def written(network: Network = ONE, **changes: Any) -> str:
    values: dict[str, Any] = {"frequency_hz": 1e3, "injection_a": np.eye(network.layout.n_nodes)[0]} | changes
    matrices = [values.pop(name, getattr(network, name)) for name in ("z_ohm", "p_ohm", "element_ohm")]
    return netlist(network.layout, *matrices, **values)


def element_parts(value: complex, frequency_hz: float = 1e3) -> dict[str, float]:
    """Return the parts of the one element, name and value; a source has none."""
    text = written(element_ohm=[value], frequency_hz=frequency_hz)
    return {name: float(rest[0]) if rest[0] != "dc" else 0.0 for name, _, rest in parts(text) if name[1:] == "e0"}


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6), frequency_hz=st.floats(50, 2e5))
def test_read_back_it_gives_the_engines_solution(seed: int, frequency_hz: float) -> None:
    # modified nodal analysis of the text against the tree elimination: rounding only
    network = random_network(seed, chains=2, longest=4, electrodes=1)
    ohms = network.element_ohm.copy()
    ohms[:2] = np.array([0, np.inf])[: ohms.size]
    network = replace(network, element_ohm=ohms)
    injection, emf = sources(seed, network.layout, 1)
    text = written(network, frequency_hz=frequency_hz, injection_a=injection[:, 0], emf_v=emf[:, 0])
    ours = factorise(network.layout, network.z_ohm, network.p_ohm, ohms).solve(injection, emf)
    assert worst_difference(as_solution(network.layout, run(text)), ours) < 1e-9


def test_one_section_by_hand() -> None:
    # 1 A into one end of a section of Z = 2 + 3j, P = 50, nothing else: V0 + V1 = 2 P Q with Q = 1, V0 - V1 = Z/2
    found = run(written(element_ohm=[np.inf]))
    assert found["i(vq0)"] == pytest.approx(1)
    assert found["i(vi0)"] == pytest.approx(0.5)
    assert found["v(n0)"] == pytest.approx(50 + (2 + 3j) / 4)
    assert found["v(n1)"] == pytest.approx(50 - (2 + 3j) / 4)


def test_zero_ohms_are_a_source() -> None:
    assert element_parts(0) == {"ve0": 0.0}


def test_resistance_is_a_resistor() -> None:
    assert element_parts(12.5) == {"ve0": 0.0, "re0": 12.5}


def test_positive_reactance_is_an_inductor() -> None:
    assert element_parts(2 + 2j * np.pi * 50) == pytest.approx({"ve0": 0.0, "re0": 2.0, "le0": 0.05})


def test_negative_reactance_is_a_capacitor() -> None:
    # 1/(2 pi 1 kHz 100 nF) = 1591.55 ohm
    assert element_parts(-1591.5494309j) == pytest.approx({"ve0": 0.0, "ce0": 1e-7})


def test_open_elements_are_left_out_and_named() -> None:
    text = written(element_ohm=[np.inf])
    assert "* element 0 is open" in text
    assert not element_parts(np.inf)


def test_form_of_the_file() -> None:
    lines = written(title="two\nlines").splitlines()
    assert lines[0] == "two lines"
    assert lines[-2:] == [".ac lin 1 1000.0 1000.0", ".end"]
    assert written() == written()


def test_numbers_keep_all_their_digits() -> None:
    value = 1 / 3
    assert element_parts(value)["re0"] == value


def test_phase_of_a_source() -> None:
    text = written(injection_a=[-1j, 0], emf_v=[2j])
    sent = {name: rest for name, _, rest in parts(text) if name in ("if0", "vs0", "if1")}
    assert sent == {"if0": ["dc", "0", "ac", "1.0", "-90.0"], "vs0": ["dc", "0", "ac", "2.0", "90.0"]}


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"frequency_hz": 0.0}, "frequency_hz must be a positive number of hertz, got 0.0"),
        ({"frequency_hz": np.inf}, "frequency_hz"),
        ({"z_ohm": np.eye(2)}, r"need z_ohm of shape \(1, 1\), got \(2, 2\)"),
        ({"p_ohm": [[np.nan]]}, "need finite values in p_ohm"),
        ({"injection_a": [1.0]}, r"need injection_a of shape \(2,\), got \(1,\)"),
        ({"emf_v": [1.0, 2.0]}, "need emf_v of shape"),
        ({"element_ohm": [1.0, 2.0]}, "one impedance for each of 1 elements"),
        ({"element_ohm": [-1.0]}, "resistance of 0 ohms or more"),
    ],
)
def test_wrong_input_is_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(DomainError, match=message):
        written(**changes)
