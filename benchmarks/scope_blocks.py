"""Invented city blocks for ``corridor scope``, and how long it takes over them.

Run from the repository: ``python benchmarks/scope_blocks.py --blocks 25`` (grades predicted) or ``--blocks 1000
--geometry-only``; ``--records FILE`` keeps the blocks and stops. Tiles of 5 by 5 blocks of 100 by 80 m: water, gas,
power, telephone, lighting, drains and services, drawn from a seed; more than one tile repeats them beside each other.
"""

import argparse
import resource
import sys
import tempfile
import time
from itertools import pairwise, product
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely

SAMPLE_GIS = Path(__file__).parents[1] / "sample_gis"
BLOCK_M = (100.0, 80.0)
TILE = 5  # blocks a side
BEYOND_M = 6.0
IDS = ("line_id", "structure_id", "line_a", "line_b", "bond_id", "ground_id", "contained_in")
DIG_DEPTH_M = 2.0
BUILDINGS_APART_M = 33.0
SERVICES = (
    (("water", "water_service"), ("power", "power_service"), ("telephone", "copper_drop")),
    (("water", "water_service_plastic"), ("gas", "gas_service"), ("power", "power_service")),
)


def tile(seed: int) -> dict[str, pd.DataFrame]:
    """Return the layers of one tile of blocks, by name."""
    sys.path.insert(0, str(SAMPLE_GIS))
    try:
        from sitegen.draft import Draft  # noqa: PLC0415 - a folder of scripts, not a package
        from sitegen.dressing import dress  # noqa: PLC0415
        from sitegen.grid import GAS_M, POWER_M, TELEPHONE_M, WATER_M, Grid  # noqa: PLC0415
        from sitegen.write import Areas, layers  # noqa: PLC0415
    finally:
        sys.path.remove(str(SAMPLE_GIS))
    draft = Draft(np.random.default_rng([seed, 25]))
    xs, ys = (tuple(size * k for k in range(TILE + 1)) for size in BLOCK_M)
    grid = Grid(draft, xs=xs, ys=ys, beyond_m=BEYOND_M)
    rows, columns = ([(way, number) for number in range(TILE + 1)] for way in ("ew", "ns"))
    grid.lay_pipes("water", "water_main", WATER_M, (*rows, *columns), isolating_joints=12)
    grid.lay_pipes("gas", "gas_main", GAS_M, (*rows, *columns[::2]), isolating_joints=8)
    for row in rows:
        grid.lay_cable("power", "secondary", POWER_M, row, transformers=(90.0, 290.0, 410.0))
        grid.lay_cable("telephone", "copper_pair", TELEPHONE_M, row)
        grid.light(row, 150.0, 140.0)
        grid.light(row, 370.0, 120.0)
        for template, offset in (("sewer", 0.6), ("storm", 1.9)):
            for start, end in pairwise(xs):
                draft.line(template, grid.street(*row).main(offset, start, end, draft.rng))
    for column in columns:
        draft.line("sewer", grid.street(*column).main(0.6, *grid.ends("ns"), draft.rng))
    for number, (row, station) in enumerate(product(rows, np.arange(14.0, xs[-1] - 10.0, BUILDINGS_APART_M))):
        if min(abs(station - x) for x in (*xs, 90.0, 290.0, 410.0)) > 8.0:
            grid.serve(row, float(station), SERVICES[number % 2], gas="yes")
    outline = box((-8.0, xs[-1] + 8.0), (-8.0, ys[-1] + 8.0))
    areas = Areas(
        soil=[{"ring": outline, "resistivity_ohm_m": 90.0, "low_ohm_m": 40.0, "high_ohm_m": 250.0}],
        work_area=[{"ring": outline, "phase": "1", "dig_depth_m": DIG_DEPTH_M}],
        surfaces=surfaces(xs, ys),
    )
    dress(draft, shapely.Polygon(outline))
    return layers(draft, areas, messy=False)


def box(x: tuple[float, float], y: tuple[float, float]) -> list[tuple[float, float]]:
    """Return the ring of a rectangle, m."""
    return [(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])]


def surfaces(xs: tuple[float, ...], ys: tuple[float, ...]) -> list[dict[str, Any]]:
    """Return carriageways, and the private ground between them: 7 m either side of each centre line is street."""
    street_m = 7.0
    rows = [{"ring": box((a + street_m, b - street_m), (c + street_m, d - street_m)), "kind": "private",
             "closure": "consent of the owner"} for (a, b), (c, d) in product(pairwise(xs), pairwise(ys))]  # fmt: skip
    edge = 8.0
    bands = [("carriageway", "lane closure", y - street_m, y + street_m) for y in ys]
    rows += [{"ring": box((xs[0] - edge, xs[-1] + edge), (low, high)), "kind": kind, "closure": closure}
             for kind, closure, low, high in bands]  # fmt: skip
    rows += [{"ring": box((x - street_m, x + street_m), (low + street_m, high - street_m)), "kind": "carriageway",
              "closure": "lane closure"} for x, (low, high) in product(xs, pairwise(ys))]  # fmt: skip
    return rows


def moved(layer: pd.DataFrame, tag: str, dx_m: float, dy_m: float) -> pd.DataFrame:
    """Return a layer of one tile somewhere else, its ids tagged."""
    own = layer.copy()
    for column in (name for name in IDS if name in own):
        named = own[column].notna() & own[column].ne("earth")
        own.loc[named, column] = own.loc[named, column] + tag
    if "geometry" in own:
        shapes = own.geometry.to_numpy()
        own["geometry"] = shapely.transform(shapes, lambda xy: xy + np.array([dx_m, dy_m]))
    if "phase" in own:
        own["phase"] = own["phase"] + tag
    return own


def write_blocks(path: Path, *, blocks: int, seed: int) -> None:
    """Write at least so many blocks, a multiple of a tile's, to a GeoPackage."""
    sys.path.insert(0, str(SAMPLE_GIS))
    try:
        from sitegen.write import write_geopackage  # noqa: PLC0415
    finally:
        sys.path.remove(str(SAMPLE_GIS))
    one = tile(seed)
    tiles = -(-blocks // TILE**2)
    side = int(np.ceil(np.sqrt(tiles)))
    places = [(number % side, number // side) for number in range(tiles)]
    step_m = [TILE * size + 2 * BEYOND_M + 10.0 for size in BLOCK_M]
    tables = {
        name: pd.concat(
            [moved(layer, f"t{n}" if tiles > 1 else "", x * step_m[0], y * step_m[1]) for n, (x, y) in
             enumerate(places)],
            ignore_index=True,
        )
        for name, layer in one.items()
    }  # fmt: skip
    write_geopackage(tables, path)


def main() -> None:
    """Write the blocks, run the command in this process, and print the times and the peak of memory."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--blocks", type=int, default=25)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--records", type=Path, help="keep the blocks in this file, and stop")
    parser.add_argument("rest", nargs="*", help="options of corridor scope, after --")
    asked = parser.parse_args()
    if asked.records:
        write_blocks(asked.records, blocks=asked.blocks, seed=asked.seed)
        return
    with tempfile.TemporaryDirectory() as folder:
        records = Path(folder) / "blocks.gpkg"
        write_blocks(records, blocks=asked.blocks, seed=asked.seed)
        run(records, Path(folder) / "out", asked.rest)


def run(records: Path, output: Path, options: list[str]) -> None:
    """Run ``corridor scope`` over the records and say what it took."""
    from corridor.commands.main import cli  # noqa: PLC0415 - after the records are there, as for a user

    start, used = time.perf_counter(), time.process_time()
    cli.main(["scope", str(records), "-o", str(output), *options], standalone_mode=False)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{time.perf_counter() - start:.1f} s on the clock, {time.process_time() - used:.1f} s of processors, "
          f"{peak_mb:.0f} MB at most")  # fmt: skip


if __name__ == "__main__":
    main()
