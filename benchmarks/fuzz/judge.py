"""Running one case and judging what came: a result that accounts for everything, or one clear sentence."""

import os
import random
import tempfile
import tomllib
import traceback
import unicodedata
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
import pandas as pd
import pyogrio
import shapely
from click.testing import CliRunner
from pyproj import Transformer

from benchmarks.fuzz.catalogue import make_case
from benchmarks.fuzz.scene import Case
from corridor import find_couplings, read_site
from corridor.commands.main import cli
from corridor.errors import CorridorError
from corridor.network.bonded import bonded_networks
from corridor.settings import Settings, load_settings
from corridor.site import Site
from corridor.site.findings import CODES, FEATURE
from corridor.site.work_area import with_work_area

__all__ = ["Verdict", "accounts", "judge", "run_case"]

RESULT, SENTENCE, DEFECT = "result", "sentence", "defect"
LONGEST = 2000  # characters of a sentence that one can still read
MOST_SAID = 300_000  # characters of a result on the terminal, without --verbose
EXIT_FAILED = 1
ROUNDING = 1e-5  # of a length reprojected
LOST_CODES = ("unreadable_layer", "features_lost", "unlisted_table")


@dataclass(frozen=True)
class Verdict:
    """What came of a case: result, sentence or defect, how it was run, and in a defect what is wrong."""

    outcome: str
    how: str
    detail: str = ""
    what: str = ""


class DefectError(Exception):
    """What a case may not end in."""


def fail(told: str) -> NoReturn:
    """End a case as a defect."""
    raise DefectError(told)


def run_case(seed: int, number: int, *, category: str | None = None) -> tuple[str, Verdict]:
    """Make a case, run it, and return its category and the verdict; its files are removed."""
    with tempfile.TemporaryDirectory(prefix="fuzz-") as folder:
        try:
            with np.errstate(all="ignore"), warnings.catch_warnings():
                warnings.simplefilter("ignore")
                case = make_case(seed, number, folder=Path(folder), category=category)
        except Exception as error:
            return category or "?", Verdict(DEFECT, "not made", f"{type(error).__name__}: {error} | {_frames(error)}")
        return case.category, judge(case)


def judge(case: Case) -> Verdict:
    """Run a case in this process and judge it; nothing that the program does escapes as an exception."""
    how = "library"
    try:
        with _quiet_stderr() as said:
            run, how = _choose(case)
            outcome, detail = run(case)
            told = said()
        if told:
            return Verdict(DEFECT, how, f"stderr: {told[:400]}", case.what)
    except DefectError as defect:
        return Verdict(DEFECT, how, str(defect), case.what)
    except Exception as error:
        return Verdict(DEFECT, how, f"{type(error).__name__}: {str(error)[:300]} | {_frames(error)}", case.what)
    return Verdict(outcome, how, detail, case.what)


def _frames(error: BaseException) -> str:
    frames = [f for f in traceback.extract_tb(error.__traceback__) if "corridor" in f.filename or "fuzz" in f.filename]
    return " < ".join(f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in reversed(frames[-4:]))


@contextmanager
def _quiet_stderr() -> Iterator[Any]:
    """Catch what is written to the descriptor itself, as C libraries do, and Python's warnings."""
    kept = os.dup(2)
    with tempfile.TemporaryFile() as stream, warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        os.dup2(stream.fileno(), 2)

        def said() -> str:
            stream.seek(0)
            told = stream.read().decode("utf-8", errors="replace").strip()
            return " | ".join(
                [
                    *([told] if told else []),
                    *(f"{w.category.__name__}: {w.message} ({w.filename}:{w.lineno})" for w in caught),
                ]
            )

        try:
            yield said
        finally:
            os.dup2(kept, 2)
            os.close(kept)


FEW_SECTIONS = """
[solver]
section_limit = 600
compressed_limit = 0
growth_max_m = 40
memory_limit_mb = 100
"""


def _choose(case: Case) -> tuple[Any, str]:
    """Return how a case is run: by the library, mostly, or by a command; options that only commands have decide."""
    rng = random.Random(f"{case.rng.random()}")
    needs_command = {"accepted", "equipment"} & set(case.options)
    if not needs_command and rng.random() < 0.6:
        return _by_library, "library"
    command = rng.choices(["check", "find", "bonds", "trace", "draft", "review"], [40, 22, 20, 10, 7, 1])[0]
    if "accepted" in case.options:
        command = "check"
    elif {"equipment", "work_area"} & set(case.options):
        command = rng.choices(["trace", "review"], [40, 1])[0]
    if command in ("draft", "review", "trace") and case.large:
        command = "check"
    if command == "draft" and {"fieldmap", "corrections", "settings"} & set(case.options):
        command = "check"
    suffix = rng.choice(["gpkg", "geojson", "csv", "parquet"]) if rng.random() < 0.15 else None
    return (lambda c: _by_command(c, command, suffix)), command


def _by_library(case: Case) -> tuple[str, str]:
    options = dict(case.options)
    area = options.pop("work_area", None)
    chosen = options.pop("settings", None)
    try:
        settings = load_settings(chosen)
        site = read_site(case.files, settings=settings, **options)
        if area is not None:
            site = with_work_area(site, area)
        accounts(case, site, settings)
        if case.rng.random() < 0.15 and not case.large:
            find_couplings(site, settings=settings)
            bonded_networks(site, settings=settings)
    except CorridorError as error:
        _sentence(case, str(error))
        return SENTENCE, str(error)
    return RESULT, f"{len(site.findings)} findings"


def _by_command(case: Case, command: str, suffix: str | None) -> tuple[str, str]:
    output = case.folder / f"out.{suffix}" if suffix and command in ("check", "find", "bonds") else None
    options = [part for name, value in case.options.items() for part in (f"--{name.replace('_', '-')}", value)]
    extra = {
        "trace": ["--list"],
        "draft": ["--draft-fieldmap", str(case.folder / "draft.toml")],
        "review": ["-o", str(case.folder / "out"), *([] if "work_area" in case.options else ["--everything"])],
    }.get(command, ["-o", str(output)] if output else [])
    name = "check" if command == "draft" else command
    if command == "review" and "settings" not in case.options:
        few = case.folder / "few_sections.toml"  # a line of 50 km is honest work, and takes its time
        few.write_text(FEW_SECTIONS, encoding="utf-8")
        options += ["--settings", str(few)]
    result = CliRunner().invoke(cli, [name, *map(str, case.files), *options, *extra])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    _no_controls(result.stdout, "stdout")
    _no_controls(result.stderr, "stderr")
    if result.exit_code == EXIT_FAILED:
        lines = result.stderr.splitlines()
        if len(lines) != 1 or not lines[0].startswith("corridor: ") or result.stdout:
            fail(f"expected one line on stderr: {result.stderr[:300]!r}, stdout {result.stdout[:100]!r}")
        if "unexpected" in lines[0]:
            fail(lines[0][:500])
        _sentence(case, lines[0].removeprefix("corridor: "))
        if output is not None and output.exists():
            fail("an output was left by a run that failed")
        return SENTENCE, lines[0]
    if result.exit_code != 0 or result.stderr:
        fail(f"exit {result.exit_code}, stderr {result.stderr[:300]!r}")
    if len(result.stdout) > MOST_SAID:
        fail(f"{len(result.stdout)} characters on the terminal")
    _written(output)
    if command == "draft":
        tomllib.loads((case.folder / "draft.toml").read_text(encoding="utf-8"))
    _left_behind(case)
    return RESULT, ""


def _no_controls(text: str, where: str) -> None:
    bad = {c for c in text if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")}
    if bad:
        fail(f"control characters on {where}: {sorted(map(ord, bad))}")


def _written(output: Path | None) -> None:
    if output is None:
        return
    if not output.exists():
        fail(f"no {output.name} was written")
    if output.suffix == ".gpkg":
        for name, _ in pyogrio.list_layers(output):
            pyogrio.read_dataframe(output, layer=name)


def _left_behind(case: Case) -> None:
    if left := [path.name for path in case.folder.iterdir() if path.name.startswith(".corridor-")]:
        fail(f"left behind: {left}")


def _sentence(case: Case, told: str) -> None:
    """Look at an error: short enough to read, of one line, and naming what it is about."""
    if len(told) > LONGEST:
        fail(f"a sentence of {len(told)} characters: {told[:200]!r}")
    names = [Path(str(value)).name for value in (*case.files, *case.options.values())]
    shown = ["".join(one if one.isprintable() else "?" for one in name[:30]) for name in names]  # as a terminal gets it
    named = (*(name[:30] for name in names), *shown, "solver.memory_limit_mb")
    if not any(name and name in told for name in named):
        fail(f"the sentence names no input: {told[:300]!r}")
    if not any(
        word in told
        for word in ("expected", "can't", "has no", "isn't", "is in none", "not enough", "holds", "must", "outside")
    ):
        fail(f"the sentence doesn't say what was expected: {told[:300]!r}")


def accounts(case: Case, site: Site, settings: Settings | None = None) -> None:
    """Check that features in = used + set aside by the generator's own count, that each set-aside is told, and lengths.

    Raises
    ------
    DefectError
        If anything is missing.
    """
    table = site.accounting
    if not (table["features_in"] == table["used"] + table["set_aside"]).all() or (table["set_aside"] < 0).any():
        fail(f"accounts don't balance: {table.to_dict('records')}")
    _counted(case, site)
    _told(site)
    _shaped(site)
    if case.intact and case.measured:
        _lengths(case, site, settings or Settings())


def _counted(case: Case, site: Site) -> None:
    told = site.findings[site.findings["code"].isin(LOST_CODES)]
    if not case.written:
        return
    found = dict(zip(site.accounting["layer"], site.accounting["features_in"], strict=True))
    if case.intact:
        for layer, count in case.written.items():
            if found.get(layer) != count:
                fail(f"{layer}: {count} features written, {found.get(layer)} in the accounts")
    elif len(told) == 0 and sum(found.values()) < sum(case.written.values()):
        fail(
            f"{sum(case.written.values())} features written, {sum(found.values())} in the accounts and no word: {found}"
        )


def _told(site: Site) -> None:
    source, row, _ = FEATURE
    frames = [
        getattr(site, name)
        for name in ("lines", "structures", "terminations", "bonds", "grounds", "soil", "work_area", "surfaces")
    ]
    used = {
        (s, int(r)) for frame in frames if source in frame
        for s, r in zip(frame[source], frame[row], strict=True) if s is not None and not pd.isna(r)
    }  # fmt: skip
    findings = site.findings
    if not set(findings["code"]) <= set(CODES) or not findings["message"].astype(str).str.len().gt(0).all():
        fail("a finding without a code or a message")
    if (longest := findings["message"].astype(str).str.len().max()) > LONGEST:
        fail(f"a finding of {longest} characters")
    aside = findings[findings["action"].astype(str).str.startswith("set aside")]
    whole = set(aside.loc[aside["feature_row"].isna(), "feature_source"])
    rows = {(s, int(r)) for s, r in zip(aside["feature_source"], aside["feature_row"], strict=True) if not pd.isna(r)}
    seen = {layer for layer, _ in used}
    for one in site.accounting.itertuples():
        if one.layer in whole:
            continue
        lost = {(one.layer, k) for k in range(one.features_in)} - used - rows
        if one.layer not in seen:  # grounds and terminations don't say which record they came from
            lost = lost if sum(layer == one.layer for layer, _ in rows) < one.set_aside else set()
        if lost and one.set_aside:
            fail(f"set aside without a finding: {sorted(lost)[:3]}")


def _shaped(site: Site) -> None:
    lines = site.lines
    if (
        not (lines.geom_type == "LineString").all()
        or not np.isfinite(shapely.get_coordinates(lines.geometry.array)).all()
    ):
        fail("a line that is none")
    if not lines["line_id"].is_unique or lines["line_id"].isna().any():
        fail("ids that aren't unique")
    for name in ("depth_m", "diameter_mm"):
        low, mid, high = (lines[f"{name}{end}"].to_numpy(dtype=float) for end in ("_low", "", "_high"))
        if not ((low <= mid) & (mid <= high) & np.isfinite(mid)).all():
            fail(f"{name} outside its range")


def _lengths(case: Case, site: Site, settings: Settings) -> None:
    """Compare each line's length with the one written: no more than its ends may move on to junctions."""
    source, row, _ = FEATURE
    sums = site.lines.assign(length=site.lines.length).groupby([source, row])["length"].sum()
    if case.crs is None:
        return
    move = Transformer.from_crs(case.crs, site.crs, always_xy=True)
    for layer, shapes in case.shapes.items():
        for k, shape in enumerate(shapes):
            if (
                (layer, k) not in sums.index
                or shape is None
                or shape.geom_type not in ("LineString", "MultiLineString")
            ):
                continue
            length = shapely.transform(shape, lambda c: np.column_stack(move.transform(c[:, 0], c[:, 1]))).length
            parts = len(shapely.get_parts(shape))
            allowed = parts * (2.0 * settings.site.snap_m + 0.002) + ROUNDING * length
            if abs(sums[layer, k] - length) > allowed:
                fail(f"{layer} row {k}: {length:.3f} m written, {sums[layer, k]:.3f} m used")
