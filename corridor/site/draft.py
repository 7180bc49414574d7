"""A field map drafted from the records: a commented proposal, for a person to read, correct and state."""

import difflib
import json
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from corridor.dictionary import INPUT_TABLES, Table
from corridor.errors import InputError
from corridor.site.crs_candidates import Candidate, crs_candidates
from corridor.site.guesses import Guess, guess_columns
from corridor.site.middle import middle_line
from corridor.site.naming import utility_in
from corridor.site.placing import Place, common_place, distance_m, place_of
from corridor.site.reference import horizontal, parsed_crs
from corridor.site.sources import TROUBLE, file_labels, read_layers
from corridor.site.tables import word_key
from corridor.site.values import as_text, known_words

__all__ = ["Draft", "draft_fieldmap"]

_FAR_M = 50_000.0
_PIPED = ("gas", "oil", "water", "reclaimed_water", "fire_water", "sewer", "storm_drain", "heat", "cooling")
_WIRED = ("electricity", "lighting", "telecommunications", "traffic_signal", "traction")
_DEPTH_NAMES = {
    "cover": ("cover", "doc", "top"),
    "invert": ("invert", "inv", "il"),
    "axis": ("axis", "centre", "center"),
}
_AREAS = {
    "soil": {"soil", "soils", "resistivity"},
    "work_area": {"work", "works", "dig", "excavation", "site", "extent"},
    "surfaces": {"surface", "surfaces", "paving"},
}
_HEAD = """\
# Draft of a field map, made from the records by `corridor check --draft-fieldmap`. Nothing in it has been applied.
# Read every line, correct it, and state what stands behind a # where it is true: columns are guessed by name and by
# what their values say, CRS by where the layer lands, and a guess can be wrong. "18 of 20" counts the rows understood.
# How a field map is written: docs/field_maps.md.
"""


@dataclass(frozen=True)
class Draft:
    """A field map as text, and a row a layer: layer, table, columns guessed, and what is left to decide."""

    text: str
    layers: pd.DataFrame


@dataclass(frozen=True)
class _Layer:
    file: str
    name: str
    frame: gpd.GeoDataFrame
    place: Place | None


def draft_fieldmap(paths: str | Path | Sequence[str | Path], *, crs: str | CRS | None = None) -> Draft:
    """Draft a field map for some files: tables, columns, units and words guessed, with counts.

    Parameters
    ----------
    paths : path, or sequence of paths
        The files.
    crs : str or CRS, optional
        Of layers that state none, for the place where the others lie; it isn't written.

    Returns
    -------
    Draft
        The same files give the same text.

    Raises
    ------
    InputError
        If no file is named, or one is missing or isn't a vector file.
    CrsError
        If ``crs`` is none.
    """
    files = [Path(p) for p in ([paths] if isinstance(paths, str | Path) else paths)]
    if not files:
        message = "expected at least one file of records, got none"
        raise InputError(message)
    labels = file_labels(files)
    layers = []
    for path in dict.fromkeys(files):
        for name, frame in read_layers(path).items():
            where = f"{labels[path]}:{name}"
            stated = parsed_crs(crs, where) if crs is not None and frame.crs is None else frame.crs
            layers.append(_Layer(labels[path], name, frame, place_of(frame, stated)))
    here = common_place([layer.place for layer in layers], far_m=_FAR_M)
    names = [layer.name for layer in layers]
    used = tuple(dict.fromkeys(horizontal(layer.frame.crs) for layer in layers if layer.frame.crs is not None))
    blocks, rows = [], []
    for layer in layers:
        key = layer.name if names.count(layer.name) == 1 else f"{layer.file}:{layer.name}"
        block, row = _block(layer, key, here, used)
        blocks.append(block)
        rows.append(row)
    text = "\n".join([_HEAD, *blocks])
    return Draft(text, pd.DataFrame(rows, columns=["layer", "features", "table", "columns", "decide"]))


def _block(layer: _Layer, key: str, here: Place | None, used: tuple[CRS, ...]) -> tuple[str, list[object]]:
    frame, where = layer.frame, f"{layer.file}:{layer.name}"
    table, why = _table(layer)
    decide: list[str] = []
    lines = [f"# --- {_remark(where)}: {len(frame)} features{_kinds(frame)}"]
    lines += [f"# {_remark(message)}" for _, message, row in frame.attrs.get(TROUBLE, []) if row is None]
    if table is None:
        lines += [f"# [layers.{_key(key)}]", f'# table = ""   # {why}; without a table the layer is set aside', ""]
        return "\n".join(lines), [where, len(frame), "", 0, "table"]
    guesses = guess_columns(frame, table)
    lines += [f"[layers.{_key(key)}]", f'table = "{table.name}"   # {why}']
    lines += _crs_lines(layer, here, used, decide)
    guessed = {guess.column: guess for guess in guesses}
    if table.name == "lines":
        lines += _depth_lines(guessed.get("depth_m"), decide)
        lines += _split_lines(frame, guessed.get("count"))
    lines += ["", f"[layers.{_key(key)}.columns]", *(_column_line(guess, table, decide) for guess in guesses)]
    rest = [str(n) for n in frame.columns if n != "geometry" and str(n) not in {g.source for g in guesses}]
    lines += [f"# not used: {_remark(', '.join(rest))}"] if rest else []
    for guess in guesses:
        if guess.strange and known_words(table.column(guess.column)):
            lines += _word_lines(guess, table, key)
            decide.append(f"{len(guess.strange)} words of {guess.column}")
    constants = _constants(layer, table, guessed, decide)
    lines += ["", f"[layers.{_key(key)}.constants]", *constants] if constants else []
    return "\n".join([*lines, ""]), [where, len(frame), table.name, len(guesses), "; ".join(decide)]


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _remark(text: str) -> str:
    """Return text of the records as a comment may hold it: of one line, without control characters."""
    return "".join(one if one.isprintable() else "?" for one in text)


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _quoted(name)


def _kinds(frame: gpd.GeoDataFrame) -> str:
    kinds = frame.geometry.geom_type.fillna("no geometry").value_counts()
    told = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items(), key=lambda item: (-item[1], item[0])))
    return f" ({told})" if told else ""


def _table(layer: _Layer) -> tuple[Table | None, str]:
    own = INPUT_TABLES.get(layer.name.strip().casefold())
    if own is not None:
        return own, "by its name"
    frame = layer.frame
    sizes = shapely.get_dimensions(frame.geometry.array)
    kind = np.bincount(sizes[sizes >= 0], minlength=3)
    words = set(word_key(f"{layer.name} {Path(layer.file).stem}").split("_"))
    if not kind.any():
        return None, "no geometry: terminations or bonds?"
    if kind.argmax() == 1:
        return INPUT_TABLES["lines"], "mostly lines"
    if kind.argmax() == 0:
        return INPUT_TABLES["structures"], "mostly points"
    for name, meant in _AREAS.items():
        if words & meant:
            return INPUT_TABLES[name], "areas, by its name"
    first = frame.geometry.array[sizes == 2][:5]
    if len(first) and frame.crs is not None and not frame.crs.is_geographic and all(middle_line(a) for a in first):
        return INPUT_TABLES["lines"], "long narrow areas: ducts drawn as areas"
    return None, "areas of no known use: soil, work_area, surfaces, or ducts (lines)?"


def _crs_lines(layer: _Layer, here: Place | None, used: tuple[CRS, ...], decide: list[str]) -> list[str]:
    frame = layer.frame
    if frame.geometry.isna().all():
        return []
    away = None if layer.place is None or here is None else distance_m(layer.place, here)
    if frame.crs is not None and layer.place is not None and (away is None or away <= _FAR_M):
        return [f"# CRS by the file: {CRS(frame.crs).name}"]
    found = crs_candidates(frame, here, used=used if frame.crs is None else (horizontal(frame.crs), *used))
    if frame.crs is None:
        lines = ["# The file states no CRS. State the true one; these would put the layer with the others:"]
        decide.append("CRS")
    else:
        lines = [f"# CRS by the file: {CRS(frame.crs).name}, but the layer then lies far from the others. Perhaps:"]
        decide.append("CRS or axes")
    return [*lines, *(_candidate_line(candidate, frame) for candidate in found)] if found else [
        "# crs = \"\"   # no CRS found that fits: ask the owner"
    ]  # fmt: skip


def _candidate_line(candidate: Candidate, frame: gpd.GeoDataFrame) -> str:
    own = frame.crs is not None and horizontal(frame.crs).to_string() == candidate.crs
    stated = [] if own else [f"crs = {_quoted(candidate.crs)}"]
    if candidate.swapped:
        stated.append('axes = "north_east"')
    return f"# {' ; '.join(stated)}   # {candidate.words}" if len(stated) < 2 else (
        f"# {stated[0]}   # {candidate.words}, with the next line\n# {stated[1]}"
    )  # fmt: skip


def _depth_lines(guess: Guess | None, decide: list[str]) -> list[str]:
    if guess is None or word_key(guess.source) == "depth_m":
        return []
    tokens = set(word_key(guess.source).split("_"))
    for kind, words in _DEPTH_NAMES.items():
        if any(token.startswith(word) if len(word) > 3 else token == word for token in tokens for word in words):
            return [f'depth = "{kind}"   # by the name of {guess.source}']
    decide.append("what the depth goes to")
    return [
        '# depth = "cover"   # or "axis", "invert": what does it go to? Not stated, it gets half a diameter of range'
    ]


def _split_lines(frame: gpd.GeoDataFrame, count: Guess | None) -> list[str]:
    if count is not None and (pd.to_numeric(frame[count.source], errors="coerce") > 1).any():
        return ['# split = "count"   # one line for each conductor, where a record stands for several']
    for name in (str(n) for n in frame.columns if n != "geometry"):
        hits = as_text(frame[name]).str.contains(r"^\s*\d+\s*[x×]\s*\S", regex=True, na=False)
        if hits.sum() >= max(1, 0.1 * len(frame)):
            pattern = r"(?P<count>\d+) *[x×]"
            return [f"# split = {{ source = {_quoted(name)}, pattern = '{pattern}' }}   # {hits.sum()} rows such as "
                    f"{frame[name][hits].iloc[0]!r}"]  # fmt: skip
    return []


def _column_line(guess: Guess, table: Table, decide: list[str]) -> str:
    told = f"{guess.understood} of {guess.stated} rows understood"
    if table.column(guess.column).kind == "text" and not known_words(table.column(guess.column)):
        told = f"{guess.stated} rows"
    if not guess.unit_told:
        unit = guess.unit or table.column(guess.column).unit
        told += f"; CHECK THE UNIT: {unit} by the size of the numbers"
        decide.append(f"unit of {guess.column}")
    if guess.unit is None:
        return f"{guess.column} = {_quoted(guess.source)}   # {told}"
    return f"{guess.column} = {{ source = {_quoted(guess.source)}, unit = {_quoted(guess.unit)} }}   # {told}"


def _word_lines(guess: Guess, table: Table, key: str) -> list[str]:
    words = known_words(table.column(guess.column))
    lines = ["", f"[layers.{_key(key)}.values.{guess.column}]   # words not understood; give each one of ours:"]
    listed = ", ".join(dict.fromkeys(words.values()))
    lines += [f"# {part}" for part in textwrap.wrap(listed, 110)]
    for word, count in guess.strange:
        near = difflib.get_close_matches(word_key(word), list(words), n=1, cutoff=0.75)
        ours = words[near[0]] if near else "unknown"
        lines.append(f"# {_quoted(word)} = {_quoted(ours)}   # {count} rows{', perhaps' if near else ''}")
    return lines


def _constants(layer: _Layer, table: Table, guessed: dict[str, Guess], decide: list[str]) -> list[str]:
    if table.name not in ("lines", "structures"):
        return []
    constants = []
    utility = utility_in(layer.name, Path(layer.file).stem)
    if "utility" not in guessed:
        if utility is not None:
            constants.append(f'utility = "{utility}"   # by the name of the layer or file')
        elif table.name == "lines":
            constants.append('# utility = "unknown"   # neither a column nor the name tells it')
            decide.append("utility")
    if table.name == "lines" and "asset" not in guessed:
        asset = "pipe" if utility in _PIPED else "cable" if utility in _WIRED else None
        if "duct" in word_key(layer.name):
            asset = "duct"
        constants.append(f'asset = "{asset}"   # CHECK: by the utility or name' if asset else
                         '# asset = "pipe"   # or cable, duct, ...: nothing tells it')  # fmt: skip
        if asset is None:
            decide.append("asset")
    return constants
