"""Run the fuzz: ``python -m benchmarks.fuzz --count N --seed S [--category C] [--workers 2]``, ``--case K`` for one.

Prints figures by category and outcome, and every defect; exit code 1 if there is one.
"""

import argparse
import sys
import time
from collections import Counter, defaultdict

from benchmarks.fuzz.catalogue import CATEGORIES
from benchmarks.fuzz.judge import DEFECT, RESULT, SENTENCE
from benchmarks.fuzz.pool import Done, run_cases

OUTCOMES = (RESULT, SENTENCE, DEFECT)


def main() -> int:
    """Run cases and print what came of them."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.fuzz", description=__doc__)
    parser.add_argument("--count", type=int, default=200, help="cases to run")
    parser.add_argument("--first", type=int, default=0, help="number of the first case")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--category", choices=sorted(CATEGORIES))
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--case", type=int, help="run this one case, and say how it ended")
    parser.add_argument("--verbose", action="store_true", help="print every case")
    asked = parser.parse_args()
    numbers = list(range(asked.first, asked.first + asked.count)) if asked.case is None else [asked.case]
    begun = time.monotonic()
    cases = run_cases(numbers, seed=asked.seed, category=asked.category, workers=asked.workers)
    done = [_shown(one, verbose=asked.verbose or asked.case is not None) for one in cases]
    print(*_figures(done), sep="\n")
    print(f"{len(done)} cases, seed {asked.seed}, {sum(d.cpu_s for d in done):.0f} s of processor time, "
          f"{time.monotonic() - begun:.0f} s")  # fmt: skip
    return int(any(one.verdict.outcome == DEFECT for one in done))


def _shown(one: Done, *, verbose: bool) -> Done:
    verdict = one.verdict
    if verbose or verdict.outcome == DEFECT:
        head = f"{one.number} {one.category} [{verdict.how}] {verdict.outcome}: {verdict.detail}"
        print(ascii(head)[1:-1], f"({one.cpu_s:.2f} s)\n    input: {ascii(verdict.what)[1:-1]}", flush=True)
    return one


def _figures(done: list[Done]) -> list[str]:
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    spent: Counter[str] = Counter()
    for one in done:
        counts[one.category][one.verdict.outcome] += 1
        spent[one.category] += one.cpu_s
    order = [name for name in (*CATEGORIES, "?") if name in counts]
    lines = [f"{'category':14}{'cases':>8}" + "".join(f"{name:>10}" for name in OUTCOMES) + f"{'CPU s':>9}"]
    for name in order:
        lines.append(
            f"{name:14}{counts[name].total():8}"
            + "".join(f"{counts[name][o]:10}" for o in OUTCOMES)
            + f"{spent[name]:9.1f}"
        )
    total = sum(counts.values(), Counter())
    return [*lines, f"{'all':14}{total.total():8}" + "".join(f"{total[o]:10}" for o in OUTCOMES)]


if __name__ == "__main__":
    sys.exit(main())
