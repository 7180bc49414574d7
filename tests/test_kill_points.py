"""Writing is killed at many moments: the place holds the old result or the new one, and the next run cleans up."""

import json
import random
from pathlib import Path

import pytest

from benchmarks import kill_points
from benchmarks.kill_points import Target, Work, events, in_child, kill_at_many, tree
from corridor.frames import table_frame
from corridor.report import place as placing
from corridor.report.place import RECEIPT_FILE, whole_folder
from corridor.report.results import write_results
from tests.builders import METRIC

pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")


def layers(message: str) -> Work:
    table = table_frame("findings", [{"code": "near_miss", "message": message}] * 20, crs=METRIC)
    return lambda folder: write_results(folder / "r.gpkg", {"findings": table}, metadata={})


def files(text: str) -> Work:
    def work(folder: Path) -> None:
        with whole_folder(folder / "out") as made:
            for name in ("a", "b", "c"):
                (made / name).write_text(text * 1000, encoding="utf-8")
            receipt = json.dumps({"files": ["a", "b", "c", RECEIPT_FILE], "text": text})
            (made / RECEIPT_FILE).write_text(receipt, encoding="utf-8")

    return work


@pytest.mark.parametrize(
    ("target", "count"),
    [
        (Target("a file", "r.gpkg", layers("old"), layers("new"), by_event=True), 10),
        (Target("a folder", "out", files("old"), files("new"), by_event=True), 24),
    ],
)
def test_a_killed_run_leaves_no_mixture(tmp_path: Path, target: Target, count: int) -> None:
    counts = kill_at_many(target, tmp_path / "place", count, random.Random(0))
    assert counts["old"] + counts["new"] == count
    assert counts["mixed"] == counts["in the way"] == 0
    assert min(counts["old"], counts["new"], counts["left beside"]) > 0, "the moments must lie on both sides"


def test_without_an_exchange_the_next_run_puts_the_old_result_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(placing, "exchanged", lambda *_: False)
    files("old")(tmp_path)
    old = tree(tmp_path / "out")
    last, between = events(files("new"), tmp_path), 0
    files("old")(tmp_path)
    for number in range(1, last + 1):
        in_child(files("new"), tmp_path, kill_at=number)
        between += not (tmp_path / "out").exists()
        with placing.hold_place(tmp_path / "other"):
            pass
        assert [item.name for item in tmp_path.iterdir()] == ["out"]
        if tree(tmp_path / "out") != old:
            assert (tmp_path / "out" / "c").read_text(encoding="utf-8").startswith("new")
            files("old")(tmp_path)
    assert between == 1, "one moment lies between the two renamings"


def test_the_script_sees_a_mixture(tmp_path: Path) -> None:
    def careless(text: str) -> Work:
        def work(folder: Path) -> None:
            (folder / "out").mkdir(exist_ok=True)
            for name in ("a", "b", RECEIPT_FILE):
                (folder / "out" / name).write_text('{"files": ["a", "b", "receipt.json"]}' + text, encoding="utf-8")

        return work

    counts = kill_at_many(
        Target("careless", "out", careless(" "), careless("  "), by_event=True), tmp_path / "place", 8, random.Random(0)
    )
    assert counts["mixed"] > 0


def test_the_script_ends_where_its_work_fails_by_itself(tmp_path: Path) -> None:
    def fails(_: Path) -> None:
        raise SystemExit(3)

    with pytest.raises(SystemExit, match="failed by itself: exit code 1"):
        kill_points.whole(fails, tmp_path)
