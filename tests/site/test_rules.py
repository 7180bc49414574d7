"""Rules laid against rows: the first that fits takes a row, as a plain loop over rows and rules would."""

import numpy as np
import pandas as pd
import pytest

from corridor.site.rules import first_matches

RULES = [
    {"utility": ["water"], "material": ["steel", "copper"], "value": "a"},
    {"metal": True, "value": "b"},
    {"utility": ["water", "gas"], "value": "c"},
    {"value": "rest"},
]


def test_the_first_rule_that_fits_takes_the_row() -> None:
    columns = {
        "utility": pd.Series(["water", "water", "gas", None, "gas"], dtype=object),
        "material": pd.Series(["steel", None, "steel", "copper", None], dtype=object),
        "metal": pd.Series([False, False, True, False, False]),
    }
    rows = np.array([True, True, True, True, False])
    taken = np.full(5, None, dtype=object)
    for rule, hit in first_matches(RULES, columns, rows):
        assert hit.any()
        taken[hit] = rule["value"]
    assert taken.tolist() == ["a", "c", "b", "rest", None]
    assert rows.tolist() == [True, True, True, True, False]  # not changed


@pytest.mark.parametrize("seed", range(5))
def test_as_a_plain_loop_would(seed: int) -> None:
    rng = np.random.default_rng(seed)
    words = {"utility": ["water", "gas", "oil", None], "material": ["steel", "copper", None], "metal": [True, False]}
    columns = {name: pd.Series(list(rng.choice(np.array(of, dtype=object), 40))) for name, of in words.items()}
    table = pd.DataFrame({name: values.astype(object) for name, values in columns.items()})

    def fits(row: dict[str, object], rule: dict[str, object]) -> bool:
        asked = {name: wanted for name, wanted in rule.items() if name != "value"}
        return all(row[n] in wanted if isinstance(wanted, list) else row[n] == wanted for n, wanted in asked.items())

    expected = [next(rule["value"] for rule in RULES if fits(row, rule)) for row in table.to_dict("records")]
    taken = np.full(40, None, dtype=object)
    for rule, hit in first_matches(RULES, columns, np.ones(40, dtype=bool)):
        taken[hit] = rule["value"]
    assert taken.tolist() == expected


def test_no_rows_no_rules() -> None:
    assert list(first_matches(RULES, {"utility": pd.Series([], dtype=object)}, np.zeros(0, dtype=bool))) == []
    assert list(first_matches([], {"utility": pd.Series(["gas"])}, np.ones(1, dtype=bool))) == []
