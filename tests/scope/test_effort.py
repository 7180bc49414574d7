"""Set-ups, hours and days: low, likely and high, by rates that anybody can replace."""

from pathlib import Path

import pytest
from pydantic import ValidationError

from corridor import Settings, load_settings
from corridor.scope.effort import Work, effort_rows, rate_rows
from corridor.settings import Estimate, ScopeRates, ScopeSettings

FLAT = Estimate(low=60, likely=60, high=60)
RATES = ScopeRates(
    setup_minutes=FLAT, repeat_share=Estimate(low=0, likely=0.5, high=1), trace_minutes_per_100m=FLAT,
    other_minutes_per_100m=Estimate(low=120, likely=120, high=120), sweep_minutes_per_1000m2=FLAT,
    setups_per_100m=Estimate(low=1, likely=2, high=3), not_shown_share=Estimate(low=0, likely=0.5, high=1),
    test_hole_hours=Estimate(low=1, likely=2, high=3), day_hours=5.0,
)  # fmt: skip
SCOPE = ScopeSettings(rates=RATES, crews_most=3)
COMPUTED = Work(setups=4, shown_m=300.0, not_shown_m=100.0, not_shown_worst_m=200.0, open_metal_m=0.0,
                open_silent_m=0.0, area_m2=2000.0, holes=(1.0, 2.0, 5.0))  # fmt: skip
COUNTED = Work(setups=0, shown_m=0.0, not_shown_m=0.0, not_shown_worst_m=0.0, open_metal_m=250.0, open_silent_m=100.0,
               area_m2=1000.0, holes=(0.0, 0.0, 0.0))  # fmt: skip


def _values(work: Work) -> dict[str, tuple[float, float, float]]:
    rows = effort_rows(work, [], settings=SCOPE)
    return {f"{row['what']}{row['crews'] or ''}": (row["low"], row["likely"], row["high"]) for row in rows}


def test_what_was_computed_by_hand() -> None:
    # set-ups 4, repeated by 0, 0.5, 1: 4, 6, 8. Hours, all rates one an hour: set-ups + tracing 3, 3, 2 + other methods
    # at two hours 2, 2, 4 (high: the worst case hides 200 m) + sweeps 2
    found = _values(COMPUTED)
    assert found["setups"] == (4.0, 6.0, 8.0)
    assert found["crew_hours"] == pytest.approx((4 + 3 + 2 + 2, 6 + 3 + 2 + 2, 8 + 2 + 4 + 2))
    assert found["test_holes"] == (1.0, 2.0, 5.0)
    assert found["test_hole_hours"] == (1.0, 4.0, 15.0)


def test_days_by_number_of_crews_in_half_days() -> None:
    # 11, 13 and 16 hours at five hours a day: 2.2, 2.6, 3.2 days, up to the half
    found = _values(COMPUTED)
    assert found["working_days1"] == (2.5, 3.0, 3.5)
    assert found["working_days2"] == (1.5, 1.5, 2.0)
    assert found["working_days3"] == (1.0, 1.0, 1.5)
    assert "working_days4" not in found


def test_what_was_only_counted_takes_the_rates() -> None:
    # 250 m at 1, 2, 3 set-ups a 100 m: 2.5, 5, 7.5, up to 3, 5, 8, repeated: 3, 7.5, 16, up to 3, 8, 16
    # hidden 0, 125, 250 m; hours: set-ups + traced 2.5, 1.25, 0 + other (100 m silent) at two: 2, 4.5, 7 + sweeps 1
    found = _values(COUNTED)
    assert found["setups"] == (3.0, 8.0, 16.0)
    assert found["crew_hours"] == pytest.approx((3 + 2.5 + 2 + 1, 8 + 1.25 + 4.5 + 1, 16 + 7 + 1))


@pytest.mark.parametrize(
    ("work", "basis"),
    [
        (COMPUTED, "computed"),
        (COUNTED, "rates"),
        (Work(1, 50.0, 0.0, 0.0, 50.0, 0.0, 1.0, (0.0, 0.0, 0.0)), "computed in part, the rest by rates"),
    ],
)
def test_the_basis_is_told(work: Work, basis: str) -> None:
    assert work.basis == basis
    assert effort_rows(work, [], settings=SCOPE)[0]["basis"] == basis


def test_every_default_is_an_estimate_without_source_and_what_is_changed_is_told() -> None:
    assert {row["source"] for row in rate_rows(ScopeRates())} == {"estimate, no source"}
    changed = ScopeRates(day_hours=7.5, closures_per_100m={"carriageway": FLAT})
    told = {(row["rate"], row["surface"]): row["source"] for row in rate_rows(changed)}
    assert told["day_hours", None] == told["closures_per_100m", "carriageway"] == "settings"
    assert told["setup_minutes", None] == "estimate, no source"
    names = {row["rate"] for row in rate_rows(ScopeRates())}
    assert names == set(ScopeRates.model_fields)


def test_rates_are_read_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "rates.toml"
    text = "[scope.rates]\nsetup_minutes = { low = 10, likely = 12, high = 14 }\nday_hours = 7\n"
    path.write_text(text, encoding="utf-8")
    rates = load_settings(path).scope.rates
    assert (rates.setup_minutes.likely, rates.day_hours) == (12.0, 7.0)
    assert rates.repeat_share == ScopeRates().repeat_share


def test_estimates_rise_and_words_rise() -> None:
    with pytest.raises(ValidationError, match="need low <= likely <= high, got 3, 2, 4"):
        Estimate(low=3, likely=2, high=4)
    with pytest.raises(ValidationError, match="several_from < many_from < very_many_from"):
        Settings.model_validate({"scope": {"several_from": 8, "many_from": 6}})
