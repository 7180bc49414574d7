"""A bounded run of the fuzz: every category ends in a result that accounts for everything or in one clear sentence."""

from pathlib import Path

import pytest

from benchmarks.fuzz.catalogue import CATEGORIES, make_case
from benchmarks.fuzz.judge import DEFECT, DefectError, Verdict, accounts, run_case
from benchmarks.fuzz.pool import Done, run_cases
from corridor import read_site

SEED = 20
CHEAP = ("truncated", "flipped", "toml", "odd_files")  # most of these end before anything is read
COSTLY = ("huge_line", "identical")


@pytest.mark.parametrize("category", sorted(set(CATEGORIES) - set(COSTLY)))
def test_a_category_has_no_defect(category: str) -> None:
    done = [run_case(SEED, number, category=category)[1] for number in range(2 if category in CHEAP else 1)]
    assert [verdict for verdict in done if verdict.outcome == DEFECT] == []


@pytest.mark.thorough
@pytest.mark.filterwarnings("default")  # judged by what reaches people, as outside of tests
@pytest.mark.parametrize("category", sorted(set(CATEGORIES) - set(COSTLY)))
def test_more_of_a_category_has_no_defect(category: str) -> None:
    done = [run_case(SEED, number, category=category)[1] for number in range(4)]
    assert [verdict for verdict in done if verdict.outcome == DEFECT] == []


def test_a_case_follows_from_seed_and_number(tmp_path: Path) -> None:
    made = []
    for name in ("a", "b"):
        folder = tmp_path / name
        folder.mkdir()
        case = make_case(SEED, 7, folder=folder, category="depths")
        made.append((case.what, case.written, case.scene))
    assert made[0] == made[1]


def test_the_accounts_miss_a_feature_that_nobody_tells(tmp_path: Path) -> None:
    case = make_case(SEED, 3, folder=tmp_path, category="diameters")
    site = read_site(case.files)
    accounts(case, site)
    key = next(key for key in case.written if key.endswith(":lines"))
    case.written[key] += 1
    with pytest.raises(DefectError, match="features written"):
        accounts(case, site)


def test_the_accounts_miss_a_length(tmp_path: Path) -> None:
    case = make_case(SEED, 3, folder=tmp_path, category="diameters")
    site = read_site(case.files)
    longer = site.lines.geometry.scale(1.1, 1.1)
    site.lines["geometry"] = longer
    with pytest.raises(DefectError, match="m written"):
        accounts(case, site)


@pytest.mark.thorough  # a process of its own compiles and imports again
def test_a_process_runs_cases_within_limits() -> None:
    [done] = run_cases([5], seed=SEED, category="truncated", workers=1)
    assert isinstance(done, Done)
    assert isinstance(done.verdict, Verdict)
    assert (done.number, done.category) == (5, "truncated")
    assert done.verdict.outcome != DEFECT, done.verdict
