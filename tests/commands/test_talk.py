"""What commands say: tables that line up, progress where it is wanted, no control characters."""

import json

import click
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from corridor.commands.talk import more_line, progress, say, table_lines
from corridor.report.text import LINE_MAX


def test_tables_line_up() -> None:
    rows = [("W-001", 12.3456, pd.NA), ("G-2", np.float64("nan"), "x")]
    assert table_lines(("line", "mA", "note"), rows) == ["line     mA  note", "W-001  12.3", "G-2          x"]


def test_no_rows_no_table() -> None:
    assert table_lines(("a",), []) == []


def test_long_cells_are_clipped_and_cleaned() -> None:
    (_, line) = table_lines(("a", "b"), [("\x1b" + "x" * 100, "y")])
    assert line == "?" + "x" * 78 + "…  y"


def test_the_last_column_goes_on_below_itself() -> None:
    sentence = "depth_m is not stated; 0.957, range 0.657 to 1.557 (cover, half the diameter) " * 3
    lines = table_lines(("code", "message"), [("filled_depth", sentence), ("other", "short")])
    assert max(map(len, lines)) <= LINE_MAX
    assert all(line[:14].strip() in ("code", "filled_depth", "other", "") for line in lines)
    assert " ".join(" ".join(line[14:] for line in lines[1:-1]).split()) == sentence.strip()
    assert lines[-1] == "other         short"


@pytest.mark.parametrize(("count", "shown", "told"), [(5, 3, "and 2 more rows"), (3, 3, ""), (5, None, "")])
def test_what_a_list_leaves_out_is_counted(count: int, shown: int | None, told: str) -> None:
    assert "".join(more_line(count, shown, "rows")).startswith(told)
    assert bool(more_line(count, shown, "rows")) == bool(told)


def test_say_is_quiet_when_asked() -> None:
    @click.command()
    @click.option("--quiet", is_flag=True)
    def speak(quiet: bool) -> None:
        say(["  a  b", "\x1b[0m"], quiet=quiet)

    assert CliRunner().invoke(speak).output == "  a  b\n?[0m\n"
    assert CliRunner().invoke(speak, ["--quiet"]).output == ""


def test_progress_as_json_lines(capsys: pytest.CaptureFixture[str]) -> None:
    with progress("json", quiet=True) as show:
        assert show is not None
        show("solve", 1, 4)
    assert json.loads(capsys.readouterr().err) == {"step": "solve", "done": 1, "total": 4}


@pytest.mark.parametrize("how", ["auto", "none"])
def test_no_progress_without_a_terminal(how: str) -> None:
    with progress(how, quiet=False) as show:
        assert show is None


def test_a_bar_on_a_terminal(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    with progress("auto", quiet=False) as show:
        assert show is not None
        show("solve", 1, 2)
        show("solve", 2, 2)
    assert capsys.readouterr().out == ""
