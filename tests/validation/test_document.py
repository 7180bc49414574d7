"""docs/validation.md has every case: made by docs/make_validation.py, it must be made again when cases change."""

from pathlib import Path

import pytest

HERE = Path(__file__).parent
TEXT = (HERE.parents[1] / "docs" / "validation.md").read_text(encoding="utf-8")
HINT = "run python docs/make_validation.py"


def test_every_case_with_figures_has_its_rows(request: pytest.FixtureRequest) -> None:
    # of the cases that this run collects; what a simulator or a program that isn't installed judges was in the last one
    figures = {"agrees"}
    names = [
        item.name
        for item in request.session.items
        if isinstance(item, pytest.Function) and item.path.parent == HERE and figures & set(item.fixturenames)
    ]
    missing = [name for name in names if f"| `{name}` |" not in TEXT]
    assert not missing, HINT


def test_the_curve_of_section_lengths_is_there() -> None:
    assert TEXT.count("| `test_rule_stands_where_the_error_is_small[") >= 9, HINT
