"""What the records leave open, and the distributions it is drawn from."""

import math

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from corridor.draws import KINDS, Unknown, unknowns_of
from corridor.settings import DrawSettings
from tests.draws.conftest import Open

SPREADS = DrawSettings()


def by_name(opened: Open) -> dict[str, Unknown]:
    found = unknowns_of(opened.prepared.model, opened.prepared.soil, opened.site.lines, settings=SPREADS)
    return {unknown.name: unknown for unknown in found}


def test_every_kind_is_there_once_for_each_thing(opened: Open) -> None:
    found = by_name(opened)
    kinds = [unknown.kind for unknown in found.values()]
    assert set(kinds) <= set(KINDS)
    assert {kind: kinds.count(kind) for kind in ("soil", "coating", "depth", "position", "stake")} == {
        "soil": 1, "coating": 3, "depth": 3, "position": 3, "stake": 1,
    }  # fmt: skip
    assert kinds.count("ground resistance") == 2
    assert sum(unknown.kind == "joint" for unknown in found.values()) == sum(
        element.kind == "joint" for element in opened.prepared.model.elements
    )


def test_ninety_percent_of_soils_lie_in_the_recorded_range(opened: Open) -> None:
    soil = by_name(opened)["soil resistivity"]
    low, middle, high = 100.0 * soil.values(np.array([0.05, 0.5, 0.95]))
    assert (low, middle, high) == pytest.approx((50.0, 100.0, 400.0))


def test_a_stated_accuracy_holds_ninety_five_percent(opened: Open) -> None:
    # the usual reading of a stated accuracy: 95 % of errors are smaller (common practice in surveying)
    found = by_name(opened)
    edge = np.array([0.025, 0.975])
    assert found["position of A"].values(edge) == pytest.approx([-0.4, 0.4])
    assert found["depth of A"].values(edge) == pytest.approx([math.exp(-0.2), math.exp(0.2)])
    assert "records" in found["position of A"].basis and "records" in found["depth of A"].basis


def test_without_accuracy_the_quality_level_counts(opened: Open) -> None:
    found = by_name(opened)
    assert found["position of B"].above == SPREADS.position_m["a"]
    assert found["position of P"].above == SPREADS.position_m["none"]


def test_switches_conduct_with_their_probability(opened: Open) -> None:
    found = by_name(opened)
    bond = next(unknown for unknown in found.values() if unknown.kind == "bond")
    assert (bond.below, bond.line_ids, bond.basis) == (0.3, ("A", "B"), "suspected")
    assert bond.values(np.array([0.29, 0.31])).tolist() == [1.0, 0.0]
    joint = next(unknown for unknown in found.values() if unknown.kind == "joint")
    assert joint.below == SPREADS.joint_conducts["gasketed"]
    assert bond.switches and not bond.redraws


def test_factors_are_log_normal(opened: Open) -> None:
    coating = by_name(opened)["coating of A"]
    quantile = np.linspace(0.01, 0.99, 50)
    assert np.log(coating.values(quantile)) == pytest.approx(coating.above * ndtri(quantile))
    assert ndtr(1.0) == pytest.approx(0.8413, abs=1e-4)  # Abramowitz and Stegun 1964, table 26.1


def test_what_needs_new_matrices_is_told(opened: Open) -> None:
    redrawn = {unknown.kind for unknown in by_name(opened).values() if unknown.redraws}
    assert redrawn == {"soil", "coating", "depth", "position", "ground resistance"}
