"""Couplings of a city, ours beside others' ways, in one run: times, memory beyond the input, results compared.

    python benchmarks/city_peers.py                          # 100,000 and 1,000,000 segments, all ways that are there
    python benchmarks/city_peers.py --segments 10000 --skip postgis geopandas
    python benchmarks/city_peers.py --write                  # writes the table into docs/performance.md too

Each way runs in a process of its own, once on a small city and then warm; PostGIS and the geopandas join once at a
million. Others' packages, and a PostgreSQL with PostGIS of the system, are named in benchmarks/README.md; a way that
isn't there is left out, and said.
"""

import argparse
import gc
import json
import os
import pickle
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve().parent
DOCUMENT = HERE.parent / "docs" / "performance.md"
SLOW = ("postgis", "geopandas")
MANY = 500_000
WARM_SEGMENTS = 2000
RECORDED = 0.15  # share of the houses and chambers with a bond on record, in the site that has some
TITLES = {
    "ours": "corridor, arrays", "ours_public": "corridor, `find_couplings`",
    "ours_bonds": "of it `find_bonds`",
    "ours_recorded": "corridor, `find_couplings`, bonds on record",
    "box_query": "floor: STRtree, boxes, candidates only", "dwithin_join": "floor: STRtree, dwithin, candidates only",
    "numpy_tree": "numpy + STRtree", "duckdb": "DuckDB spatial", "sedonadb": "SedonaDB", "postgis": "PostGIS",
    "geopandas": "geopandas, dwithin join",
}  # fmt: skip


def city_arrays(segments: int) -> dict[str, Any]:
    """Return a city as arrays, as a site, and as one with recorded bonds too."""
    import cities  # noqa: PLC0415

    from corridor.couplings.segments import segments_and_ends, sorted_lines  # noqa: PLC0415

    made = cities.city(segments, recorded=RECORDED)
    lines = sorted_lines(made.lines)
    cut, ends = segments_and_ends(lines)
    arrays = {
        "line": cut.line, "x": cut.x_m, "y": cut.y_m, "ux": cut.ux, "uy": cut.uy, "len": cut.length_m,
        "start": cut.start_m, "x1": cut.end_x_m, "y1": cut.end_y_m, "ends": ends,
        "points": np.column_stack((made.structures.geometry.x, made.structures.geometry.y)),
    }  # fmt: skip
    site = made.site()
    return arrays | {"recorded": site, "site": replace(site, bonds=site.bonds.iloc[:0])}


def resident_mb() -> float:
    """Memory of this process now, Linux."""
    text = Path("/proc/self/statm").read_text(encoding="ascii")
    return int(text.split()[1]) * resource.getpagesize() / 2**20


def peak_mb() -> float:
    """Highest memory of this process since it was last set back, Linux."""
    text = Path("/proc/self/status").read_text(encoding="ascii")
    return float(text.split("VmHWM:")[1].split()[0]) / 1024.0


def worker(way: str, folder: Path, rounds: int) -> None:
    """Time one way in this process and keep what it found."""
    from city_ways import WAYS  # noqa: PLC0415

    with (folder / "small.pickle").open("rb") as file:
        small = pickle.load(file)
    if way not in SLOW:
        begin = time.perf_counter()
        WAYS[way](small)[0]()  # compiled code and libraries are loaded
        first_s = time.perf_counter() - begin
    else:
        first_s = float("nan")
    with (folder / "city.pickle").open("rb") as file:
        data = pickle.load(file)
    if not way.startswith("ours_"):
        del data["site"], data["recorded"]
    begin = time.perf_counter()
    once, told = WAYS[way](data)
    load_s = time.perf_counter() - begin
    gc.collect()
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    before_mb = resident_mb()
    wall, cpu, peaks = [], [], []
    for _ in range(rounds):
        found = None
        gc.collect()
        begin, used = time.perf_counter(), time.process_time()
        found = once()
        wall.append(time.perf_counter() - begin)
        cpu.append(time.process_time() - used)
        peaks.append(peak_mb() - before_mb)
    told_of = told(found) if told else {}
    for name, frame in told_of.items():
        frame.to_pickle(folder / f"{way}.{name}.pickle")
    print(json.dumps({
        "wall_s": wall, "cpu_s": cpu, "load_s": load_s, "first_s": first_s, "memory_mb": peaks[0],
        "counts": {name: len(frame) for name, frame in told_of.items()},
    }))  # fmt: skip


def differs(folder: Path, way: str) -> str:
    """Return in what a way's results differ from ours; empty: in nothing."""
    import pandas as pd  # noqa: PLC0415

    wrong = []
    for name, keys, figures, tolerance in (
        ("runs", ["a_line", "b_line", "length"], ["length", "mean"], 2e-3),
        ("crossings", ["a_line", "b_line", "px", "py"], ["px", "py"], 2e-3),
        ("bonds", ["point", "a_line", "b_line"], [], 0.0),
    ):
        path = folder / f"{way}.{name}.pickle"
        if not path.exists():
            continue
        one, other = (pd.read_pickle(p)[[*dict.fromkeys([*keys, *figures])]].astype(float)
                      for p in (folder / f"ours.{name}.pickle", path))  # fmt: skip
        if len(one) != len(other):
            wrong.append(f"{name}: {len(other)} for {len(one)}")
            continue
        one, other = (f.sort_values(keys, ignore_index=True) for f in (one, other))
        whole = [key for key in keys if key not in figures]
        if not (one[whole].to_numpy() == other[whole].to_numpy()).all():
            wrong.append(f"{name}: other pairs")
        elif figures and np.abs(one[figures].to_numpy() - other[figures].to_numpy()).max(initial=0.0) > tolerance:
            wrong.append(f"{name}: other figures")
    return "; ".join(wrong)


def measured(segments: int, skip: list[str], rounds: int) -> dict[str, dict[str, Any]]:
    """Run all ways on one city; print a line a way."""
    found: dict[str, dict[str, Any]] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for size, file in ((WARM_SEGMENTS, "small"), (segments, "city")):
            with (folder / f"{file}.pickle").open("wb") as out:
                pickle.dump(city_arrays(size), out)
        for way in TITLES:
            if way in skip:
                continue
            times = 1 if way in SLOW and segments >= MANY else rounds
            asked = [sys.executable, __file__, "--way", way, "--folder", name, "--rounds", str(times)]
            done = subprocess.run(asked, capture_output=True, text=True, env=os.environ, check=False)
            if done.returncode:
                print(f"{way}: left out: {done.stderr.strip().splitlines()[-1] if done.stderr else done.returncode}")
                continue
            one = json.loads(done.stdout.strip().splitlines()[-1])
            one["differs"] = differs(folder, way)
            found[way] = one
            counts = ", ".join(f"{count} {kind}" for kind, count in one["counts"].items())
            wall_s, cpu_s = statistics.median(one["wall_s"]), statistics.median(one["cpu_s"])
            print(
                f"{segments} {way}: {wall_s:.3f} s (CPU {cpu_s:.3f}), load {one['load_s']:.2f} s, "
                f"first {one['first_s']:.2f} s, {one['memory_mb']:.0f} MB; {counts}"
                f"{'; DIFFERS ' + one['differs'] if one['differs'] else ''}",
                flush=True,
            )
    return found


def rows(segments: int, found: dict[str, dict[str, Any]]) -> list[str]:
    """Return the rows of the document's table for one city."""
    own, floor = (statistics.median(found[w]["wall_s"]) if w in found else float("nan") for w in ("ours", "box_query"))
    lines = []
    for way, one in found.items():
        seconds = statistics.median(one["wall_s"])
        same = "-" if not one["counts"] else "no: " + one["differs"] if one["differs"] else "yes"
        elsewhere = way == "postgis"  # a server of its own
        memory = "-" if elsewhere else f"{one['memory_mb']:.0f} MB"
        cpu = "-" if elsewhere else f"{statistics.median(one['cpu_s']):.2f} s"
        lines.append(f"| {segments:,} | {TITLES[way]} | {seconds:.2f} s | {cpu} "
                     f"| {seconds / floor:.2f} | {seconds / own:.1f} | {memory} | {same} |")  # fmt: skip
    return lines


def written(lines: list[str]) -> None:
    """Write the table into the document, between its markers."""
    text = DOCUMENT.read_text(encoding="utf-8")
    start, end = "<!-- city: made by benchmarks/city_peers.py -->", "<!-- end of city -->"
    before, rest = text.split(start)
    head = "| segments | way | time | processor time | times the box query | times ours | memory beyond input | same |"
    table = [head, "|" + " --- |" * 8, *lines]
    DOCUMENT.write_text("\n".join([before + start, *table, end + rest.split(end)[1]]), encoding="utf-8")


def main() -> int:
    """Measure, print, and write where asked; 1 where a result differs."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--segments", type=int, nargs="+", default=[100_000, 1_000_000])
    parser.add_argument("--skip", nargs="*", default=[], choices=list(TITLES))
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--way", help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.way:
        worker(asked.way, asked.folder, asked.rounds)
        return 0
    lines, wrong = [], False
    for segments in asked.segments:
        found = measured(segments, asked.skip, asked.rounds)
        lines += rows(segments, found)
        wrong |= any(one["differs"] for one in found.values())
    print("\n".join(lines))
    if asked.write:
        written(lines)
    return int(wrong)


if __name__ == "__main__":
    sys.exit(main())
