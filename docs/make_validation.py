"""Write the figures of docs/validation.md: run tests/validation and set down what each case gave.

Run from the folder of the repository: ``python docs/make_validation.py``. Text outside the markers is kept.
"""

import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent
FOLDER = "tests/validation"
DOCUMENT = ROOT / "docs" / "validation.md"
# The sample block against its own maker's truth is no outside source; the other one checks this script's document.
LEFT_OUT = ("test_main_job.py", "test_document.py")
ROWS = ("quantity", "ours", "reference", "difference", "bar", "source")


class Collector:
    """A plug-in for pytest that keeps what each test noted."""

    def __init__(self) -> None:
        self.found: dict[str, tuple[str, list[tuple[str, Any]]]] = {}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep the outcome of a test's call, or of a skipped set-up."""
        if report.when == "call" or report.skipped:
            self.found[report.nodeid] = (report.outcome, list(report.user_properties))


def cell(text: object) -> str:
    """Return text that a table can hold."""
    return str(text).replace("|", "\\|").replace("\n", " ")


def table(head: tuple[str, ...], rows: list[tuple[object, ...]]) -> list[str]:
    """Return the lines of a Markdown table."""
    lines = [f"| {' | '.join(head)} |", "|" + "---|" * len(head)]
    return lines + [f"| {' | '.join(map(cell, row))} |" for row in rows]


def cases(found: dict[str, tuple[str, list[tuple[str, Any]]]]) -> list[str]:
    """Return a section per test file: a row per comparison, then the cases that only the test itself judges."""
    files = defaultdict(list)
    for node, (outcome, notes) in found.items():
        path, name = node.split("::", 1)
        rows = [note for kind, note in notes if kind == "comparison"]
        files[path].append((name, outcome, rows))
    lines = []
    for path in sorted(files):
        lines += ["", f"### `{Path(path).name}`", ""]
        compared = [(f"`{name}`", *(row[key] for key in ROWS)) for name, _, rows in files[path] for row in rows]
        if compared:
            lines += [*table(("case", *ROWS), compared), ""]
        others = [(f"`{name}`", outcome) for name, outcome, rows in files[path] if not rows]
        if others:
            lines += table(("judged in the test alone", "result"), others)
    return lines[1:]


def convergence(found: dict[str, tuple[str, list[tuple[str, Any]]]]) -> list[str]:
    """Return the table of errors against section length."""
    rows: list[tuple[object, ...]] = []
    for node, (_, notes) in found.items():
        for values in [note for kind, note in notes if kind == "convergence"]:
            for line in ("target", "neighbour"):
                if values[line]:
                    errors = [f"{100 * error:.2g} %" for error in values[line]]
                    rows.append((f"`{node.split('::')[1]}`", line, f"{values['rule_m']:.2f} m", *errors))
    return table(("case", "current of", "rule", "4 × rule", "2 × rule", "rule", "½ × rule"), rows)


def filled(text: str, name: str, lines: list[str]) -> str:
    """Return the document with the lines between the markers of that name replaced."""
    start, end = f"<!-- {name}: made by docs/make_validation.py -->", f"<!-- end of {name} -->"
    before, rest = text.split(start)
    _, after = rest.split(end)
    return "\n".join([before + start, *lines, end + after])


def main() -> int:
    """Run the tests and write the document; return pytest's exit code, 1 where cases were skipped."""
    collector = Collector()
    left_out = [f"--ignore={FOLDER}/{name}" for name in LEFT_OUT]
    how = ["-q", "--thorough", "-n", "0", "-p", "no:cacheprovider", f"--rootdir={ROOT}"]
    code = pytest.main([FOLDER, *how, *left_out], plugins=[collector])
    skipped = sorted(node for node, (outcome, _) in collector.found.items() if outcome == "skipped")
    if skipped:
        message = "not written: the rows of these would go, since they were skipped; install what they need"
        sys.stderr.write("\n  ".join([message, *skipped]) + "\n")
        return 1
    if code == pytest.ExitCode.OK:
        text = DOCUMENT.read_text(encoding="utf-8")
        text = filled(text, "convergence", convergence(collector.found))
        text = filled(text, "cases", cases(collector.found))
        DOCUMENT.write_text(text, encoding="utf-8")
    return int(code)


if __name__ == "__main__":
    sys.exit(main())
