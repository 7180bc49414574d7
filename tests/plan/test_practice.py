"""Rules of the trade come out of the solution on small sites; other physics, other advice. No rule is written down.

The rules are common practice, without a published source.
"""

import ast
from pathlib import Path

import pandas as pd
import pytest

import corridor
from corridor import Equipment, Settings, Site, review_site
from corridor.dictionary import MODES, UTILITIES
from corridor.plan.review import Review
from tests.block import at_frequencies
from tests.builders import make_site
from tests.plan.conftest import KNOWN_SOIL, LENGTH_M, SETTINGS, access, cable, ground, square

ALL = at_frequencies(500.0, 10_000.0, 100_000.0)
PIPE = {"utility": "water", "asset": "pipe", "material": "ductile_iron", "diameter_mm": 170.0, "wall_mm": 9.0,
        "coating": "bitumen", "joint_spacing_m": 30.0}  # fmt: skip


def reviewed(site: Site, equipment: Equipment = ALL, settings: Settings = SETTINGS) -> Review:
    return review_site(site, equipment=equipment, settings=settings)


def longest(review: Review, mode: str | None = None) -> pd.Series:
    rows = review.strategy if mode is None else review.strategy[review.strategy["mode"] == mode]
    return rows.sort_values("length_m").iloc[-1]


def pipe(joints: str) -> Site:
    return make_site(
        lines=[cable("A", **PIPE, joints=joints)],
        grounds=[ground("A", LENGTH_M, ohm=5.0)],
        soil=[KNOWN_SOIL],
        work_area=[square()],
        **access("A"),
    )


def test_a_line_of_low_resistance_gets_the_lowest_frequency_and_the_lowest_output(alone: Site) -> None:
    chosen = longest(reviewed(alone))
    assert chosen["frequency_hz"] == min(ALL.common_frequencies_hz)
    assert chosen["level_ma"] == min(ALL.transmitter.levels_ma)


def test_a_receiver_in_noise_gets_more_output(alone: Site) -> None:
    noisy = SETTINGS.model_copy(update={"grades": SETTINGS.grades.model_copy(update={"floor_nt": 4.0})})
    quiet, loud = longest(reviewed(alone)), longest(reviewed(alone, settings=noisy))
    assert loud["grade"] == quiet["grade"] == "readable"
    assert loud["level_ma"] > quiet["level_ma"]


def beyond_the_joint(review: Review) -> pd.Series:
    rows = review.strategy[(review.strategy["from_m"] <= 45.0) & (review.strategy["to_m"] > 45.0)]
    return rows.iloc[0]


def test_gasketed_joints_want_a_higher_frequency_than_welded_ones() -> None:
    # one joint half-way; the tone goes on through its capacitance only
    welded, gasketed = (beyond_the_joint(reviewed(pipe(joints))) for joints in ("welded", "gasketed"))
    assert welded["grade"] == gasketed["grade"] == "readable"
    assert welded["frequency_hz"] == min(ALL.common_frequencies_hz)
    assert gasketed["frequency_hz"] > welded["frequency_hz"]


def test_induction_isnt_chosen_at_the_lowest_frequency_even_where_the_loop_could_be_tuned_to_it() -> None:
    site = make_site(
        lines=[cable("A")],
        grounds=[ground("A", 0), ground("A", LENGTH_M)],
        soil=[KNOWN_SOIL],
        work_area=[square()],
    )
    tuned = ALL.model_copy(update={"induction_min_hz": min(ALL.frequencies_hz)})

    def used(floor_nt: float) -> float:
        grades = SETTINGS.grades.model_copy(update={"floor_nt": floor_nt})
        setups = reviewed(site, tuned, SETTINGS.model_copy(update={"grades": grades})).setups
        return float(setups.query("mode == 'induction'")["frequency_hz"].min())

    assert used(0.05) > min(ALL.frequencies_hz)
    assert used(0.005) == min(ALL.frequencies_hz)  # a receiver that hears anything: other physics, other advice


def test_direct_beats_induction_on_a_line_alone_and_the_clamp_direct_among_bonded_ones(
    alone: Site, four_bonded: Site
) -> None:
    assert longest(reviewed(alone))["mode"] == "direct"
    among = review_site(four_bonded, targets=["A"], equipment=ALL, settings=SETTINGS)
    assert among.strategy.groupby("mode")["length_m"].sum().idxmax() == "clamp"


GATES = {"gate.py", "candidates.py", "hookups.py", "partner_gate.py", "places.py", "stakes.py", "stake_choice.py",
         "ties.py", "passive.py", "facts.py", "variants.py"}  # fmt: skip
EQUIPMENT_LIMITS = {
    "grading.py:allowed",
    "grading.py:can_be_tuned",
    "prepare.py:refuse_low_induction",
    "trace.py:_resolved",
}  # how low a loop can be tuned, and standing


def _branches() -> list[str]:
    """Every comparison with the name of a mode or a utility in plan/, by file and function."""
    words = {*MODES, *UTILITIES}
    found = []
    for path in sorted((Path(corridor.__file__).parent / "plan").rglob("*.py")):
        for function in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(function, ast.FunctionDef):
                for node in ast.walk(function):
                    if isinstance(node, ast.Compare) and words & {
                        part.value for part in ast.walk(node) if isinstance(part, ast.Constant) and part.value in words
                    }:
                        found.append(f"{path.name}:{function.name}")
    return found


def test_outside_the_gates_nothing_in_plan_asks_for_a_mode_or_a_utility() -> None:
    strangers = {name for name in _branches() if name.split(":")[0] not in GATES} - EQUIPMENT_LIMITS
    assert not strangers


@pytest.mark.parametrize("order", [("direct", "clamp", "induction"), ("induction", "clamp", "direct")])
def test_the_order_of_modes_only_breaks_ties(alone: Site, order: tuple[str, ...]) -> None:
    liked = SETTINGS.model_copy(update={"hookups": SETTINGS.hookups.model_copy(update={"mode_order": order})})
    assert longest(reviewed(alone, settings=liked))["mode"] == "direct"
