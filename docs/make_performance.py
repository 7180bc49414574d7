"""Write the figures of docs/performance.md: run the solver's benchmarks and set down medians and ratios.

Run from the folder of the repository: ``python docs/make_performance.py`` (ten minutes, 4 GB).
Text outside the markers is kept.
"""

import json
import sys
import tempfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
DOCUMENT = ROOT / "docs" / "performance.md"
FILES = ("benchmarks/bench_tone.py", "benchmarks/bench_pairs.py")
STEPS = ("bench_matrices", "bench_factorise", "bench_solve")
JUDGE = "bench_lapack_alone"
TIMER = "time.process_time"  # of all threads: other work on the machine hardly counts

Medians = dict[str, dict[int, float]]


def medians(found: list[dict[str, object]]) -> Medians:
    """Return seconds by benchmark and number of sections; 0 sections for those that have none."""
    out: Medians = {}
    for one in found:
        parameters, stats = one["params"], one["stats"]
        assert isinstance(stats, dict)
        size = int(parameters["sections"]) if isinstance(parameters, dict) else 0
        out.setdefault(str(one["name"]).split("[")[0], {})[size] = float(stats["median"])
    return out


def table(head: list[str], rows: list[list[str]]) -> list[str]:
    """Return the lines of a Markdown table."""
    return [f"| {' | '.join(row)} |" for row in (head, ["---"] * len(head), *rows)]


def rounded(value: float) -> str:
    """Write two digits, without an exponent."""
    return f"{float(f'{value:.2g}'):,g}"


def solver_table(seconds: Medians) -> list[str]:
    """Return times by number of sections, and what they are beside the bare factorisation."""
    head = ["sections", "pair integrals, once a site", "assembly", "factorisation", "200 hook-ups", "`zsytrf` alone",
            "assembly : `zsytrf`", "factor and solve : `zsytrf`", "all three : `zsytrf`"]  # fmt: skip
    rows = []
    for size in sorted(seconds[JUDGE]):
        judge = seconds[JUDGE][size]
        steps = [seconds[name][size] for name in STEPS]
        times = [seconds["bench_integrals"][size], *steps, judge]
        ratios = [steps[0] / judge, (steps[1] + steps[2]) / judge, sum(steps) / judge]
        rows.append([str(size), *(f"{rounded(t)} s" for t in times), *(f"{r:.1f}" for r in ratios)])
    return table(head, rows)


def pairs_table(seconds: Medians, found: list[dict[str, object]]) -> list[str]:
    """Return what all pairs would cost by full wave, from the sample, beside one assembly."""
    largest = max(seconds["bench_matrices"])
    ours = seconds["bench_matrices"][largest] + seconds["bench_integrals"][largest]
    pairs = largest * (largest - 1) / 2
    rows = []
    for one in found:
        name, info = str(one["name"]), one["extra_info"]
        if name not in seconds or not isinstance(info, dict) or "pairs" not in info:
            continue
        each = seconds[name][0] / int(info["pairs"])
        rows.append([name.removeprefix("bench_").replace("_", " "), str(info["pairs"]), f"{rounded(1000 * each)} ms",
                     f"{rounded(each * pairs / 3600)} h", rounded(each * pairs / ours)])  # fmt: skip
    head = ["empymod", "sample", "a pair", f"all pairs of {largest} sections", "times our integrals and assembly"]
    return table(head, rows)


def filled(text: str, name: str, lines: list[str]) -> str:
    """Return the document with the lines between the markers of that name replaced."""
    start, end = f"<!-- {name}: made by docs/make_performance.py -->", f"<!-- end of {name} -->"
    before, rest = text.split(start)
    _, after = rest.split(end)
    return "\n".join([before + start, *lines, end + after])


def main() -> int:
    """Run the benchmarks and write the document; return pytest's exit code."""
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "found.json"
        options = ["-q", "--large", "-p", "no:cacheprovider", f"--benchmark-timer={TIMER}", f"--benchmark-json={kept}"]
        code = pytest.main([*FILES, *options])
        if code != pytest.ExitCode.OK:
            return int(code)
        found = json.loads(kept.read_text(encoding="utf-8"))["benchmarks"]
    seconds = medians(found)
    text = filled(DOCUMENT.read_text(encoding="utf-8"), "solver", solver_table(seconds))
    DOCUMENT.write_text(filled(text, "pairs", pairs_table(seconds, found)), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
