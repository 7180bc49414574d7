"""Grade shares of the excavation sample: a review solved whole against scopes, coarser and at fewer frequencies.

Run from the repository: ``python benchmarks/scope_windows.py [--review]``. The review takes minutes.
"""

import argparse
import time
from pathlib import Path

from corridor import Settings, load_equipment, read_site, review_site
from corridor.dictionary.shared import GRADES
from corridor.scope.solved import solve_windows

SAMPLE = Path(__file__).parents[1] / "sample_gis" / "excavation_zone" / "excavation_zone.gpkg"
SCOPES = {
    "six frequencies": {"near_hz": []},
    "three frequencies": {},
    "two frequencies": {"near_hz": [1e3, 1e4]},
    "two frequencies, small windows": {"near_hz": [1e3, 1e4], "section_limit": 2500},
    "three frequencies, small windows": {"section_limit": 2500},
}


def shares(strategy: object, column: str) -> str:
    """Return the share of each grade in per cent, as text."""
    length = strategy.groupby(column)["length_m"].sum()  # type: ignore[attr-defined]
    return " ".join(f"{grade} {100 * length.get(grade, 0.0) / length.sum():.1f}" for grade in GRADES)


def main() -> None:
    """Solve, and print a line for each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--review", action="store_true", help="solve the review too, whole and at all frequencies")
    asked = parser.parse_args()
    site = read_site(SAMPLE)
    area, equipment = site.work_area.geometry.union_all(), load_equipment(None)
    if asked.review:
        used = time.process_time()
        strategy = review_site(site).strategy
        print(f"review: {shares(strategy, 'grade')}; worst {shares(strategy, 'grade_worst')}; "
              f"{time.process_time() - used:.0f} s of processors", flush=True)  # fmt: skip
    for name, scope in SCOPES.items():
        used = time.process_time()
        settings = Settings.model_validate({"scope": scope})
        solved = solve_windows(site, area=area, equipment=equipment, settings=settings)
        print(f"{name}, {solved.windows} windows: {shares(solved.strategy, 'grade')}; "
              f"worst {shares(solved.strategy, 'grade_worst')}; {time.process_time() - used:.0f} s of processors",
              flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
