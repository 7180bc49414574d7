"""The downtown sample clipped 20 m round its work area against the whole: are the uncut currents within the range?

Run from the repository: ``python benchmarks/clipped_downtown.py [--frequency-hz F ...] [--every N]``. For every hook-up
that is ready in both, each section in the work area of each line but the target: nominal current of the whole records
against the lowest and highest current of the clipped ones, both at 100 mA or what the source can do.
"""

import argparse
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from corridor import read_site
from corridor.plan.prepare import Prepared, connect, hookup_of, prepare
from corridor.settings import Settings, load_equipment
from corridor.site import Site
from corridor.tone.cases import cases_of
from corridor.tone.solve import ToneSolution, solve_tone

SAMPLE = Path(__file__).parents[1] / "sample_gis" / "downtown_block" / "downtown_block.gpkg"
MARGIN_M = 20.0
LEVEL_A = 0.1
FLOORS_MA = (0.0, 0.05, 1.0)  # least current of the uncut run that counts; 0.05 is grades.partner_floor_ma


@dataclass(frozen=True)
class Run:
    """One set of records with its solution, and the records' own line ids."""

    site: Site
    prepared: Prepared
    solution: ToneSolution

    def places(self) -> pd.DataFrame:
        """Return section, source (own id of the line) and the middle of each section of a line."""
        model = self.prepared.model
        own = self.site.lines.set_index("line_id")["src_source_id"]
        count = model.n_conducting
        middle = (model.start_m[:count, :2] + model.end_m[:count, :2]) / 2 + model.origin_m
        source = [own[model.line_ids[k]] for k in model.line_index[:count]]
        return pd.DataFrame({"section": range(count), "source": source, "x": middle[:, 0], "y": middle[:, 1]})

    def current_ma(self, sections: Any, frequency_hz: float, case: str) -> Any:
        """Return currents at the sections, shape (sections, hook-ups), mA."""
        result = self.solution.results[frequency_hz, case]
        return np.abs(result.current_a[sections]) * np.minimum(LEVEL_A, result.available_a) * 1e3


def clip(source: Path, target: Path, area: Any) -> None:
    """Write the records inside an area, as an owner's extract cuts them: lines at its edge, points by their place."""
    for name, _ in pyogrio.list_layers(source):
        table = pyogrio.read_dataframe(source, layer=name)
        options: dict[str, Any] = {"append": target.exists(), "promote_to_multi": False}
        if name == "lines":
            table = table.assign(geometry=table.geometry.intersection(area))
            table = table[~table.geometry.is_empty]
        elif name in ("structures", "grounds"):
            table = table[table.intersects(area)]
        if isinstance(table, gpd.GeoDataFrame):
            options["geometry_type"] = "Unknown"
        pyogrio.write_dataframe(table, target, layer=name, driver="GPKG", **options)


def shared_hookups(whole: Site, cut: Site, *, settings: Settings) -> tuple[dict[str, Any], Any, Any]:
    """Return the hook-ups ready in both, as the whole has them, and both records connected."""
    equipment = load_equipment(None)
    area = whole.work_area.geometry.union_all()
    connected = [connect(site, equipment=equipment, settings=settings, area=area) for site in (whole, cut)]
    ready = [c.hookups[c.hookups["ready"] == "ready"].set_index("hookup_id", drop=False) for c in connected]
    names = [name for name in ready[0].index if name in ready[1].index]
    return {name: hookup_of(ready[0].loc[name]) for name in names}, *connected


def solve(
    connected: Any, hookups: dict[str, Any], whole: Site, *, frequencies_hz: list[float], settings: Settings
) -> Run:
    """Solve hook-ups of the whole in one of the two, each at the same place of the ground."""
    equipment = load_equipment(None)
    site = connected.site
    courses, originals = (s.lines.set_index("line_id").geometry for s in (site, whole))
    placed = [
        replace(one, at_m=float(courses[one.line_id].project(originals[one.line_id].interpolate(one.at_m))))
        for one in hookups.values()
    ]
    prepared = prepare(
        connected, placed, list(hookups), frequencies_hz=frequencies_hz, equipment=equipment, settings=settings
    )
    cases = cases_of(prepared.model, mixes=settings.solver.extract_mixes)
    solution = solve_tone(prepared.model, prepared.drives, cases, frequencies_hz=frequencies_hz, soil=prepared.soil,
                          equipment=equipment, workers=1)  # fmt: skip
    return Run(site, prepared, solution)


def matched(whole: Run, cut: Run, area: Any) -> pd.DataFrame:
    """Return the clipped run's sections in an area, each with the whole's nearest section of the same record."""
    here, there = cut.places(), whole.places()
    here = here[shapely.contains_xy(area, here["x"], here["y"])]
    rows = []
    for source, part in here.groupby("source", sort=True):
        other = there[there["source"] == source]
        if len(other):
            tree = shapely.STRtree(shapely.points(other["x"], other["y"]))
            near = tree.nearest(shapely.points(part["x"], part["y"]))
            rows.append(part.assign(whole=other["section"].to_numpy()[near]))
    return pd.concat(rows)


def compare(whole: Run, cut: Run, pairs: pd.DataFrame, hookups: dict[str, Any]) -> pd.DataFrame:
    """Return, by frequency and floor, how many neighbour currents were looked at and what share lies in the range."""
    own = cut.site.lines.set_index("line_id")["src_source_id"]
    target = np.array([own[one.line_id] for one in hookups.values()], dtype=object)
    neighbour = pairs["source"].to_numpy(dtype=object)[:, None] != target
    rows = []
    for frequency in whole.solution.frequencies_hz:
        uncut = whole.current_ma(pairs["whole"], frequency, "nominal")
        currents = [cut.current_ma(pairs["section"], frequency, case.name) for case in cut.solution.cases]
        low, high = np.min(currents, axis=0), np.max(currents, axis=0)
        usual = np.min(currents[:5], axis=0), np.max(currents[:5], axis=0)
        for floor in FLOORS_MA:
            seen = neighbour & (uncut > floor)
            rows.append({
                "frequency_hz": frequency, "floor_ma": floor, "currents": int(seen.sum()),
                "inside": float(((uncut >= low) & (uncut <= high))[seen].mean()),
                "within_5_percent": float(((uncut >= 0.95 * low) & (uncut <= 1.05 * high))[seen].mean()),
                "inside_usual_cases": float(((uncut >= usual[0]) & (uncut <= usual[1]))[seen].mean()),
            })  # fmt: skip
    return pd.DataFrame(rows)


def main() -> None:
    """Clip, solve both and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frequency-hz", type=float, nargs="+", default=[1e3, 1e4, 5e4])
    parser.add_argument("--every", type=int, default=1, help="take only every nth hook-up")
    parser.add_argument("--mixes", type=int, default=Settings().solver.extract_mixes)
    asked = parser.parse_args()
    settings = Settings.model_validate({"solver": {"extract_mixes": asked.mixes}})
    whole = read_site(SAMPLE)
    area = whole.work_area.geometry.union_all()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "clipped.gpkg"
        clip(SAMPLE, path, area.buffer(MARGIN_M))
        cut = read_site(path)
    hookups, *connected = shared_hookups(whole, cut, settings=settings)
    hookups = dict(list(hookups.items())[:: asked.every])
    runs = [solve(c, hookups, whole, frequencies_hz=asked.frequency_hz, settings=settings) for c in connected]
    told = cut.findings["code"].value_counts()
    print(f"{len(hookups)} hook-ups; {runs[0].prepared.model.n_sections} sections whole, "
          f"{runs[1].prepared.model.n_sections} clipped; {told.get('end_cut', 0)} cut ends found; "
          f"{len(runs[1].solution.cases)} cases")  # fmt: skip
    print(compare(*runs, matched(*runs, area), hookups).round(3).to_string(index=False))


if __name__ == "__main__":
    main()
