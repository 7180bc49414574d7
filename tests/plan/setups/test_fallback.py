"""The next best hook-ups where one doesn't come off."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.errors import DomainError
from corridor.plan.setups.fallback import Fallback, fallbacks

NONE = math.nan


def test_the_next_best_of_other_hookups() -> None:
    value = np.array([[0.9, 0.88, 0.7, 0.2], [0.8, 0.8, 0.3, 0.6], [0.1, NONE, 0.9, NONE]])
    found = fallbacks(value, [0, 0, 2], [0, 2], ["H1", "H1", "H2", "H3"], length_m=[1.0, 3.0, 2.0])
    # H1 again at another frequency is no fallback for H1; 0.7 + 0.9 against 0.2 + 1.8
    assert [(one.candidate, one.readable_m) for one in found[0]] == [(3, pytest.approx(2.0)), (2, pytest.approx(1.6))]
    assert found[0][0].part == pytest.approx(2.0 / 3.3)
    # nothing else but H1 reaches the third segment
    assert found[2] == (Fallback(0, pytest.approx(0.2), pytest.approx(0.1 / 0.9)),)


def test_equals_go_to_the_liked_one_then_the_first() -> None:
    value = np.array([[1.0, 0.5, 0.5, 0.5]])
    hookups = ["A", "B", "C", "D"]
    assert [one.candidate for one in fallbacks(value, [0], [0], hookups)[0]] == [1, 2]
    liked = fallbacks(value, [0], [0], hookups, preference=[0, 3, 2, 1], most=3)
    assert [one.candidate for one in liked[0]] == [3, 2, 1]


def test_a_set_up_without_segments_and_one_without_others_has_none() -> None:
    assert fallbacks(np.array([[1.0, 0.5]]), [0], [0, 1], ["A", "B"])[1] == ()
    assert fallbacks(np.array([[1.0, NONE]]), [0], [0], ["A", "B"])[0] == ()
    assert fallbacks(np.array([[1.0]]), [-1], [], ["A"]) == {}


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 6), st.integers(2, 8))
def test_fallbacks_equal_a_plain_search(seed: int, segments: int, candidates: int) -> None:
    rng = np.random.default_rng(seed)
    value, length = rng.integers(0, 5, (segments, candidates)) / 4, rng.uniform(1, 5, segments)
    hookups = rng.integers(0, 4, candidates).tolist()
    assigned = rng.integers(-1, candidates, segments)
    chosen = sorted(set(assigned.tolist()) - {-1})
    found = fallbacks(value, assigned, chosen, hookups, length_m=length)
    for pick in chosen:
        reads = {
            c: sum(length[s] * value[s, c] for s in range(segments) if assigned[s] == pick) for c in range(candidates)
        }
        of_hookup: dict[int, float] = {}
        for candidate, metres in reads.items():
            if hookups[candidate] != hookups[pick] and metres > 1e-9:
                of_hookup[hookups[candidate]] = max(metres, of_hookup.get(hookups[candidate], 0.0))
        assert [one.readable_m for one in found[pick]] == pytest.approx(sorted(of_hookup.values(), reverse=True)[:2])
        assert len({hookups[one.candidate] for one in found[pick]} | {hookups[pick]}) == len(found[pick]) + 1


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"assigned": [0, 1]}, "expected value"),
        ({"hookup_of": ["A"]}, "a hook-up a candidate"),
        ({"length_m": [1.0, 1.0]}, "expected value"),
        ({"chosen": [5]}, r"expected candidates and preferences of 0 to 1, got \[5\]"),
        ({"preference": [1.0]}, "expected candidates and preferences"),
    ],
)
def test_wrong_input_is_told(changed: dict[str, object], words: str) -> None:
    now: dict[str, object] = {"value": [[1.0, 0.5]], "assigned": [0], "chosen": [0], "hookup_of": ["A", "B"]}
    with pytest.raises(DomainError, match=words):
        fallbacks(**(now | changed))  # type: ignore[arg-type]
