"""Hook-ups that wait for somebody: one for each line that nothing shows, with all that it lacks, and no figures."""

from typing import Any

import pytest

from corridor.report.sheet.pages import SetUpPages
from corridor.report.sheet.waiting import WAITING_MAX, waiting_hookups, waiting_pages
from tests.report.sheet.conftest import changed


def test_only_lines_that_no_set_up_shows_have_one(reviewed: Any) -> None:
    rows = waiting_hookups(reviewed)
    assert rows["line_id"].tolist() == ["C", "E"]
    assert rows["hookup_id"].tolist() == ["direct:C:CB-1", "clamp:E:A-S"]


def test_what_only_an_owner_may_change_waits_for_no_crew(reviewed: Any) -> None:
    hookups = reviewed.hookups.assign(owner_change="open_bond")
    assert waiting_hookups(changed(reviewed, hookups=hookups)).empty


def test_refused_hook_ups_never_have_a_page(reviewed: Any) -> None:
    hookups = reviewed.hookups.assign(ready="refused")
    assert waiting_pages(changed(reviewed, hookups=hookups), SetUpPages(reviewed)) == []


def test_the_one_that_lacks_least_is_taken(reviewed: Any) -> None:
    hookups = reviewed.hookups.copy()
    own = hookups["hookup_id"].eq("direct:C:CB-1")
    hookups.loc[own, "missing"] = "access: CB-1 is locked; permit from lane closure"
    rows = waiting_hookups(changed(reviewed, hookups=hookups))
    assert rows.loc[rows["line_id"].eq("C"), "hookup_id"].tolist() == ["clamp:C:CB-1"]


def test_its_page_is_not_ready_and_has_no_figure_to_set(reviewed: Any) -> None:
    page, _ = waiting_pages(reviewed, SetUpPages(reviewed))
    data = page.data
    assert not data["ready"]
    assert data["number"] == ""
    assert (data["frequency"], data["output"]) == ("no Hz yet", "no mA yet")
    assert data["lacks"] == ["access: CB-1 is locked"]
    assert data["connect"] == "nothing until it is READY"
    assert page.closeup is not None
    assert page.closeup.reads == {}


@pytest.mark.parametrize("count", [1, 30])
def test_a_long_list_of_what_is_missing_is_counted(reviewed: Any, count: int) -> None:
    text = "; ".join(f"bond B-{k} must be checked" for k in range(count))
    row = reviewed.hookups.iloc[0].copy()
    row["missing"] = text
    found = SetUpPages(reviewed).missing(row)
    assert found["missing"].startswith("bond B-0 must be checked")
    if count == 1:
        assert found["lacks"] == ["bond B-0 must be checked"]
    else:
        assert found["missing"].endswith("and 29 more, below")
        assert found["lacks"][-1] == "and 22 more: see layer hookups"


def test_there_are_as_many_pages_as_a_crew_would_turn(reviewed: Any) -> None:
    assert len(waiting_pages(reviewed, SetUpPages(reviewed))) <= WAITING_MAX
