"""``review``: every hook-up of a work area graded at every frequency and case, and the best of them per stretch."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely import MultiPolygon, Polygon

from corridor.constants import MA_PER_A
from corridor.couplings import find_couplings
from corridor.couplings.model import Couplings
from corridor.dictionary import RESULT_TABLES
from corridor.errors import EquipmentError, InputError
from corridor.frames import empty_table, rounded, stamp
from corridor.network.build import build_network
from corridor.network.groups import bonded_groups
from corridor.network.isolations import isolations
from corridor.plan.hookups import find_hookups
from corridor.plan.prepare import Prepared, hookup_of, leaving_share, prepare
from corridor.plan.strategy import build_strategy
from corridor.plan.trace import bleed_tables, station_frames
from corridor.settings import Equipment, Settings, load_equipment
from corridor.site import Site
from corridor.tone.cases import CASES
from corridor.tone.grades import grade_names
from corridor.tone.predict import Prediction, predict, set_stations
from corridor.tone.solve import ToneSolution, solve_tone
from corridor.tone.tables import NT_PER_T, Setting, graded, sections_table, sides

__all__ = ["Review", "review_site"]

Array = np.ndarray[Any, Any]
Progress = Callable[[str, int, int], None]

_GONE = ("proposed", "removed")
LISTED = 12


@dataclass(frozen=True)
class Review:
    """Everything for the desk review of one work area: tables of the data dictionary, and a summary as plain data."""

    strategy: gpd.GeoDataFrame
    findings: gpd.GeoDataFrame
    parallel_runs: gpd.GeoDataFrame
    crossings: gpd.GeoDataFrame
    bonds_found: gpd.GeoDataFrame
    bonded_groups: gpd.GeoDataFrame
    isolations: gpd.GeoDataFrame
    hookups: gpd.GeoDataFrame
    sections: gpd.GeoDataFrame
    stations: gpd.GeoDataFrame
    bleed_paths: gpd.GeoDataFrame
    summary: dict[str, Any]
    settings: Settings
    equipment: Equipment
    site: Site


def review_site(
    site: Site,
    *,
    targets: Sequence[str] | None = None,
    target_utility: str | None = None,
    everything: bool = False,
    equipment: Equipment | None = None,
    settings: Settings | None = None,
    progress: Progress | None = None,
) -> Review:
    """Grade every ready hook-up on every target in the work area, and choose per stretch.

    Parameters
    ----------
    site : Site
        The records.
    targets : sequence of str, optional
        line_id of the lines wanted; default every line in the work area.
    target_utility : str, optional
        All lines of one utility instead, or beside them.
    everything : bool
        Take all records where there is no work area.
    equipment : Equipment, optional
        The generic standard profile where left out.
    settings : Settings, optional
        Defaults where left out.
    progress : callable, optional
        Called with (step, done, total).

    Returns
    -------
    Review

    Raises
    ------
    InputError
        If there is no work area and not everything is asked for, or no line lies in it, or a target doesn't exist.
    EquipmentError
        If transmitter and receiver share no frequency.
    """
    equipment, settings = equipment or load_equipment(None), settings or Settings()
    frequencies = equipment.common_frequencies_hz
    if not frequencies:
        message = f"expected a frequency that transmitter and receiver share, got none in equipment {equipment.name}"
        raise EquipmentError(message)
    area = _area(site, everything=everything)
    wanted = _targets(site, area, targets, target_utility)
    couplings = find_couplings(site, settings=settings)
    network = build_network(site, couplings.bonds_found, settings=settings)
    hookups = find_hookups(
        site, couplings.bonds_found, equipment=equipment, settings=settings, network=network, lines=wanted, area=area
    )
    ready = hookups[(hookups["ready"] == "ready") & hookups["line_id"].isin(set(network.spans["line_id"]))]
    solved = None
    candidates, outputs = pd.DataFrame(columns=_CANDIDATES), pd.DataFrame(columns=_OUTPUTS)
    if len(ready):
        prepared = prepare(
            site,
            [hookup_of(row) for _, row in ready.iterrows()],
            ready["hookup_id"].tolist(),
            seeds=set(ready["line_id"]),
            couplings=couplings,
            network=network,
            frequency_max_hz=frequencies[-1],
            equipment=equipment,
            settings=settings,
        )
        solution = solve_tone(
            prepared.model,
            prepared.drives,
            CASES,
            frequencies_hz=frequencies,
            soil=prepared.soil,
            equipment=equipment,
            workers=settings.solver.workers,
            progress=None if progress is None else lambda done, total, what: progress(f"solving {what}", done, total),
        )
        solved = (prepared, solution)
        candidates, outputs = _graded_candidates(
            site, ready, solution, area=area, settings=settings, equipment=equipment, progress=progress
        )
    strategy = build_strategy(site, hookups, candidates, outputs, settings=settings, targets=wanted, area=area)
    sections, stations, paths = _chosen_tables(site, strategy, ready, solved, couplings=couplings, settings=settings)
    strategy = _with_mistaken(strategy, stations)
    summary = _summary(site, hookups, strategy, paths, solved=solved, area=area, settings=settings)
    return Review(
        strategy=stamp(strategy, review_site, equipment=equipment.name, frequencies_hz=list(frequencies)),
        findings=site.findings,
        parallel_runs=couplings.parallel_runs,
        crossings=couplings.crossings,
        bonds_found=couplings.bonds_found,
        bonded_groups=bonded_groups(site, bonds_found=couplings.bonds_found, settings=settings),
        isolations=isolations(site),
        hookups=hookups,
        sections=sections,
        stations=stations,
        bleed_paths=paths,
        summary=summary,
        settings=settings,
        equipment=equipment,
        site=site,
    )


_CANDIDATES = [
    "line_id", "station_m", "hookup_id", "frequency_hz", "level_ma", "grade", "grade_worst", "settled", "current_ma",
    "current_low_ma", "current_high_ma", "peak_offset_m", "pulled_to", "depth_error_m", "mistaken_for",
]  # fmt: skip
_OUTPUTS = ["hookup_id", "frequency_hz", "level_ma", "voltage_v", "loop_ohm", "limited_by"]


def _area(site: Site, *, everything: bool) -> Polygon | MultiPolygon | None:
    if not site.work_area.empty:
        return site.work_area.geometry.union_all()
    if not everything:
        message = "no work area in the records: give --work-area FILE, or --everything to take all lines"
        raise InputError(message)
    return None


def _targets(
    site: Site, area: Polygon | MultiPolygon | None, targets: Sequence[str] | None, utility: str | None
) -> list[str]:
    lines = site.lines[~site.lines["status"].isin(_GONE)]
    unknown = sorted(set(targets or ()) - set(lines["line_id"]))
    if unknown:
        message = f"expected targets among the lines of the records, got {unknown[0]!r}; corridor check lists them"
        raise InputError(message)
    inside = lines if area is None else lines[lines.intersects(area)]
    if inside.empty:
        message = "expected lines in the work area, got none: all lie outside; check its place and its CRS"
        raise InputError(message)
    if targets is None and utility is None:
        return inside["line_id"].tolist()
    named = set(targets or ()) | set(inside.loc[inside["utility"] == utility, "line_id"])
    if not named:
        message = f"expected lines of utility {utility!r} in the work area, got none"
        raise InputError(message)
    return sorted(named)


def _graded_candidates(
    site: Site,
    ready: gpd.GeoDataFrame,
    solution: ToneSolution,
    *,
    area: Polygon | MultiPolygon | None,
    settings: Settings,
    equipment: Equipment,
    progress: Progress | None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Grade every hook-up along its own target, line by line."""
    rows = site.lines.set_index("line_id", drop=False)
    column = {hookup_id: k for k, hookup_id in enumerate(ready["hookup_id"])}
    found, outs = [], []
    groups = list(ready.groupby("line_id", sort=True))
    for done, (line_id, own) in enumerate(groups, start=1):
        row = rows.loc[line_id]
        stations = set_stations(
            str(line_id),
            row.geometry,
            depth_m=float(row["depth_m"]),
            spacing_m=settings.receiver.station_spacing_m,
            area=area,
        )
        if len(stations.measure_m):
            ids = own["hookup_id"].tolist()
            prediction = predict(solution, stations, [column[i] for i in ids], receiver=settings.receiver)
            levels, available = _levels(solution, prediction, equipment, settings)
            keep = _standing(own, stations.measure_m, settings)
            rows_here = _candidate_rows(
                prediction, ids, (levels, available), keep=keep, solution=solution, settings=settings
            )
            found.append(rows_here)
            outs.append(_output_rows(solution, prediction, ids, (levels, available)))
        if progress is not None:
            progress("grading", done, len(groups))
    if not found:
        return pd.DataFrame(columns=_CANDIDATES), pd.DataFrame(columns=_OUTPUTS)
    return pd.concat(found, ignore_index=True), pd.concat(outs, ignore_index=True)


def _levels(
    solution: ToneSolution, prediction: Prediction, equipment: Equipment, settings: Settings
) -> tuple[Array, Array]:
    """Return the lowest level (d, f) that is as good as the highest, and what each case can deliver (d, f, c), A."""
    available = np.array(
        [
            [
                [solution.results[f, case.name].available_a[d] for case in solution.cases]
                for f in solution.frequencies_hz
            ]
            for d in prediction.drives
        ]
    )
    steps = np.array(sorted(equipment.transmitter.levels_ma)) / MA_PER_A
    nt = prediction.field_t * NT_PER_T
    heard = np.stack(
        [(nt * np.minimum(step, available) >= settings.grades.floor_nt).sum(axis=(0, 3)) for step in steps], axis=-1
    )
    first = (heard == heard[..., -1:]).argmax(axis=-1)
    return steps[first], available


def _standing(own: gpd.GeoDataFrame, measure_m: Array, settings: Settings) -> Array:
    """Return which stations (s, d) lie far enough from the source that the receiver doesn't hear it directly."""
    at = own["at_m"].to_numpy(float)
    clear = np.where(own["mode"] == "induction", settings.hookups.induction_standing_m, 0.0)
    return np.abs(measure_m[:, None] - at[None, :]) >= clear[None, :]


def _candidate_rows(
    prediction: Prediction,
    ids: list[str],
    outputs_a: tuple[Array, Array],
    *,
    keep: Array,
    solution: ToneSolution,
    settings: Settings,
) -> pd.DataFrame:
    levels, available = outputs_a
    hookup_a = np.minimum(levels[..., None], available)
    codes = graded(prediction, hookup_a[None], settings)
    size = np.abs(prediction.current) * hookup_a[None] * MA_PER_A
    stations = prediction.stations
    peak = prediction.peak_offset_m[..., 0]
    tolerance = settings.grades.offset_tolerance_m
    side = np.array(
        [[sides(stations, peak[:, d, f], tolerance) for f in range(peak.shape[2])] for d in range(peak.shape[1])],
        dtype=object,
    ).reshape(peak.shape[1], peak.shape[2], peak.shape[0])
    s, d, f = np.nonzero(np.broadcast_to(keep[:, :, None], peak.shape))
    return pd.DataFrame(
        {
            "line_id": stations.line_id,
            "station_m": stations.measure_m[s],
            "hookup_id": np.array(ids, dtype=object)[d],
            "frequency_hz": np.array(solution.frequencies_hz)[f],
            "level_ma": levels[d, f] * MA_PER_A,
            "grade": grade_names(codes[..., 0])[s, d, f],
            "grade_worst": grade_names(codes.max(axis=-1))[s, d, f],
            "settled": (codes == codes[..., :1]).all(axis=-1)[s, d, f],
            "current_ma": size[..., 0][s, d, f],
            "current_low_ma": size.min(axis=-1)[s, d, f],
            "current_high_ma": size.max(axis=-1)[s, d, f],
            "peak_offset_m": rounded(RESULT_TABLES["stations"], "peak_offset_m", peak)[s, d, f],
            "pulled_to": side[d, f, s],
            "depth_error_m": (prediction.depth_m[..., 0] - stations.depth_m)[s, d, f],
            "mistaken_for": None,
        },
        columns=_CANDIDATES,
    )


def _output_rows(
    solution: ToneSolution, prediction: Prediction, ids: list[str], outputs_a: tuple[Array, Array]
) -> pd.DataFrame:
    levels, available = outputs_a
    rows = []
    for d, (drive, name) in enumerate(zip(prediction.drives, ids, strict=True)):
        for f, frequency in enumerate(solution.frequencies_hz):
            loop = abs(complex(solution.results[frequency, solution.cases[0].name].loop_ohm[drive]))
            level, limit = float(levels[d, f]), float(available[d, f, 0])
            rows.append(
                {
                    "hookup_id": name,
                    "frequency_hz": frequency,
                    "level_ma": level * MA_PER_A,
                    "voltage_v": min(level, limit) * loop,
                    "loop_ohm": loop,
                    "limited_by": "level" if level <= limit else "voltage",
                }
            )
    return pd.DataFrame(rows, columns=_OUTPUTS)


def _chosen_tables(
    site: Site,
    strategy: gpd.GeoDataFrame,
    ready: gpd.GeoDataFrame,
    solved: tuple[Prepared, ToneSolution] | None,
    *,
    couplings: Couplings,
    settings: Settings,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Return sections, stations and bleed paths of the hook-ups that the strategy chose."""
    names = ("sections", "stations", "bleed_paths")
    frames: dict[str, list[gpd.GeoDataFrame]] = {name: [] for name in names}
    chosen = strategy.dropna(subset=["hookup_id", "frequency_hz", "level_ma"])
    column = {hookup_id: k for k, hookup_id in enumerate(ready["hookup_id"])}
    asked: dict[float, list[Setting]] = {}
    uses = chosen.groupby(["hookup_id", "frequency_hz", "level_ma"], sort=True)["line_id"].first()
    for (hookup_id, frequency, level), line_id in uses.items():
        if solved is None:
            break
        solution = solved[1].at_frequency(float(frequency))
        setting = Setting(str(hookup_id), column[str(hookup_id)], float(frequency), float(level) / MA_PER_A)
        stations = station_frames(site, solution, setting, settings=settings, lines={str(line_id)})
        frames["stations"].append(stations)
        frames["sections"].append(
            sections_table(
                solution, setting, lines=site.lines, stations=stations, target=str(line_id), only={str(line_id)}
            )
        )
        asked.setdefault(setting.frequency_hz, []).append(setting)
    for settled in asked.values():
        if solved is not None:
            frames["bleed_paths"] += bleed_tables(site, solved[1], settled, couplings=couplings, settings=settings)
    joined = [
        gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), crs=site.crs)
        if (filled := [frame for frame in frames[name] if len(frame)])
        else empty_table(name, site.crs)
        for name in names
    ]
    return joined[0], joined[1], joined[2]


def _with_mistaken(strategy: gpd.GeoDataFrame, stations: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Name on each stretch the line a crew would mark instead, from the stations on it."""
    named = stations[stations["mistaken_for"].notna()]
    result = strategy.copy()
    for index, row in strategy.iterrows():
        here = named[(named["line_id"] == row["line_id"]) & named["station_m"].between(row["from_m"], row["to_m"])]
        if len(here):
            result.at[index, "mistaken_for"] = here["mistaken_for"].value_counts().sort_index().idxmax()
    return result


def _summary(
    site: Site,
    hookups: gpd.GeoDataFrame,
    strategy: gpd.GeoDataFrame,
    paths: gpd.GeoDataFrame,
    *,
    solved: tuple[Prepared, ToneSolution] | None,
    area: Polygon | MultiPolygon | None,
    settings: Settings,
) -> dict[str, Any]:
    states = hookups["ready"].value_counts()
    waiting = hookups.loc[hookups["ready"] == "not_ready", "missing"].value_counts()
    accounts = site.accounting[["features_in", "used", "set_aside", "repaired"]].sum()
    share, worst = _assumed(site, area)
    lines = site.lines.set_index("line_id")
    blind = strategy.loc[strategy["grade"] == "untraceable", "line_id"].drop_duplicates()
    wrong = strategy.dropna(subset=["mistaken_for"])
    wrong = wrong[wrong["grade_worst"] == "masked"].drop_duplicates(["line_id", "mistaken_for"])
    prepared, solution = solved or (None, None)
    return {
        "ready": int(states.get("ready", 0)),
        "not_ready": int(states.get("not_ready", 0)),
        "refused": int(states.get("refused", 0)),
        "missing": [[str(text), int(count)] for text, count in waiting.items()],
        **{key: int(accounts[key]) for key in ("features_in", "used", "set_aside", "repaired")},
        "assumed_share": share,
        "assumed_worst": worst,
        "untraceable": [f"{i} {lines.at[i, 'utility']}, {lines.at[i, 'material'] or 'no material'}" for i in blind],
        "wrong_line": [f"{row.line_id}: mistaken for {row.mistaken_for}" for row in wrong.itertuples()],
        "partners": _partners(paths),
        "sections": 0 if prepared is None else prepared.model.n_sections,
        "cases": [case.name for case in CASES],
        "frequencies_hz": [] if solution is None else list(solution.frequencies_hz),
        "reach_m": 0.0 if prepared is None else prepared.reach_m,
        "leaving_share": 0.0 if prepared is None or solution is None else leaving_share(solution, prepared.cut_nodes),
        "soil": "not solved"
        if prepared is None
        else f"{prepared.soil.nominal_ohm_m:.0f} ohm m ({prepared.soil.low_ohm_m:.0f} to "
        f"{prepared.soil.high_ohm_m:.0f}), {prepared.soil.source}",
        "notes": [
            f"grades: peak within {settings.grades.offset_tolerance_m:g} m, depth within "
            f"{settings.grades.depth_tolerance_share:.0%}, field of {settings.grades.floor_nt:g} nT or more"
        ],
    }


def _assumed(site: Site, area: Polygon | MultiPolygon | None) -> tuple[float, list[list[Any]]]:
    """Return the share of the area's line length with a filled value, and the shares by column, largest first."""
    inside = site.lines if area is None else site.lines[site.lines.intersects(area)]
    length = inside.geometry.length if area is None else inside.geometry.intersection(area).length
    total = float(length.sum()) or 1.0
    filled = {
        column: float(length[inside["assumed_columns"].fillna("").str.split().map(set(column.split()).issubset)].sum())
        for column in sorted({c for text in inside["assumed_columns"].dropna() for c in text.split()})
    }
    worst = sorted(([column, round(size / total, 4)] for column, size in filled.items()), key=lambda x: (-x[1], x[0]))
    return round(float(length[inside["assumed"].astype(bool)].sum()) / total, 4), worst


def _partners(paths: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """Return the strongest bleed partners, with the last hop of their largest path as cause."""
    last = paths.dropna(subset=["kind"]).sort_values(["path_id", "hop"], kind="stable").groupby("path_id").tail(1)
    best = last.sort_values(["line_current_ma", "share_of_line"], ascending=False, kind="stable")
    best = best.drop_duplicates("line_id").head(LISTED)
    return [
        {
            "line_id": row.line_id,
            "current_ma": float(row.line_current_ma),
            "low": float(row.line_current_low_ma),
            "high": float(row.line_current_high_ma),
            "cause": f"{row.kind} from {row.from_line or 'the hook-up'}"
            + (f" through {row.through}" if row.through else ""),
        }
        for row in best.itertuples()
    ]
