"""Values as recorded, read as the dictionary wants them: text, numbers with units, words of a vocabulary."""

from collections.abc import Collection
from functools import cache
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from corridor.dictionary import YES_NO, Column, Table
from corridor.site.findings import ID_NAMES, Findings
from corridor.site.materials import coatings, material_words, materials
from corridor.site.quoting import quoted
from corridor.site.tables import vocabulary, word_key
from corridor.site.units import unit_factor

__all__ = ["as_text", "known_words", "numbers", "read_values", "without_bytes"]

_NUMBER = r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([^\d\s][^\d]*)?\s*$"
_DECIMAL_COMMA = r"^(\s*[-+]?\d+),(\d{1,2})(?!\d)"
_FEET_INCHES = r"^\s*(\d+)\s*(?:ft|feet|'|′)\s*-?\s*(\d+(?:\.\d+)?)\s*(?:in|inch|inches|\"|″)\s*$"
_FRACTION = r"^\s*(?:(\d+)[\s-]+)?(\d+)/([1-9]\d*)\s*(\D*)$"
_NOT_STATED = {"", "null", "<null>", "nan", "none given", "-"}
# what is written where nothing is known (common practice); "unknown" itself is a word of most vocabularies
_NOTHING = {"unknown", "un", "unk", "unkn", "n/a", "na", "n_a", "?", "??", "tbd", "not_known", "not_stated", "nil", "0"}
_ZERO_IS_NOTHING = {"horizontal_accuracy_m", "vertical_accuracy_m", "nominal_voltage_v"}  # else 0 is out of range
_ID_LONGEST = 200  # characters; ids stand in lists, file names of records and on sheets
_ID_COLUMNS = {"line_id", "structure_id", "bond_id", "ground_id", "line_a", "line_b", "contained_in"}


def read_values(frame: pd.DataFrame, table: Table, findings: Findings) -> pd.DataFrame:
    """Read every column of a table from its recorded values; what can't be read is a finding and NULL.

    Parameters
    ----------
    frame : DataFrame
        Columns named as in the table, others ignored; missing ones are added as NULL.
    table : Table
        Of the dictionary.
    findings : Findings
        Collector.

    Returns
    -------
    DataFrame
        A copy with text columns as str or None, numbers as float64.
    """
    nothing = pd.Series([None] * len(frame), index=frame.index, dtype=object)
    no_number = pd.Series(np.nan, index=frame.index)
    told = {name: as_text(frame[name]) for name in (*ID_NAMES, "owner") if name in frame}  # by findings
    seen, result = _with(frame, told), {}
    for column in table.columns:
        number = column.kind in ("real", "integer")
        if column.name not in frame:
            result[column.name] = no_number if number else nothing
            continue
        raw = frame[column.name]
        if number:
            result[column.name] = _measured(raw, column, seen, findings)
        elif known_words(column):
            result[column.name] = _worded(raw, column, seen, findings)
        else:
            result[column.name] = told[column.name] if column.name in told else as_text(raw)
    return _clean_ids(_with(frame, result), findings)


def _with(frame: pd.DataFrame, columns: dict[str, pd.Series]) -> pd.DataFrame:
    """Return a frame with these columns in place of its own, new ones last: all at once, one by one takes its time."""
    plain = pd.DataFrame(frame)
    whole = pd.DataFrame({name: columns.get(name, plain[name]) for name in plain} | columns, index=frame.index)
    if isinstance(frame, gpd.GeoDataFrame):
        whole = gpd.GeoDataFrame(whole, geometry=frame.geometry.name)
    whole.attrs = dict(frame.attrs)
    return whole


def _decoded(value: object) -> object:
    return value.decode("utf-8", errors="replace") if isinstance(value, bytes) else value


def without_bytes(values: pd.Series) -> pd.Series:
    """Return values, bytes among them as text (UTF-8, U+FFFD where they are none): tables have no form for them."""
    if values.dtype != object or not any(isinstance(value, bytes) for value in values):
        return values
    return values.map(_decoded)


def as_text(values: pd.Series) -> pd.Series:
    """Return values as text without outer blanks, None where nothing is stated; 12.0 becomes "12"."""
    kind = values.dtype
    if pd.api.types.is_bool_dtype(kind):
        text = values.map({True: "yes", False: "no"})
    elif pd.api.types.is_float_dtype(kind):
        plain = values.to_numpy(dtype="float64", na_value=np.nan)
        told = [None if np.isnan(v) else f"{v:.0f}" if v.is_integer() else repr(float(v)) for v in plain]
        text = pd.Series(told, index=values.index, dtype=object)
    elif pd.api.types.is_datetime64_any_dtype(kind):
        text = values.map(lambda v: v.isoformat().removesuffix("T00:00:00") if not pd.isna(v) else None)
    else:
        text = values.map(_decoded) if pd.api.types.is_object_dtype(kind) else values
    told = [
        None if missing or (word := str(value).strip()).casefold() in _NOT_STATED else word
        for value, missing in zip(text.tolist(), text.isna().tolist(), strict=True)
    ]
    return pd.Series(told, index=values.index, name=values.name, dtype=object)


def numbers(values: pd.Series, column: Column) -> tuple[pd.Series, pd.Series]:
    """Read numbers, with their unit where one is written beside them.

    Parameters
    ----------
    values : Series
        As recorded: numbers, or text such as ``6 in``.
    column : Column
        Whose unit the result is in.

    Returns
    -------
    (Series of float64, Series of bool)
        The numbers (NaN: none), and whether something stood there that is no number.
    """
    if pd.api.types.is_numeric_dtype(values.dtype) and not pd.api.types.is_bool_dtype(values.dtype):
        plain = pd.Series(values.to_numpy(dtype="float64", na_value=np.nan), index=values.index)
        return plain.where(np.isfinite(plain)), pd.Series(np.isinf(plain), index=values.index)
    text = as_text(values)
    stated = text.notna()
    result = pd.to_numeric(text.where(stated, np.nan), errors="coerce").astype("float64")
    rest = stated & result.isna()
    if rest.any():
        result = _composed(text, rest, result, column)
        rest &= result.isna()
    if rest.any():
        parts = text[rest].str.replace(_DECIMAL_COMMA, r"\1.\2", regex=True).str.extract(_NUMBER)
        unit = parts[1].fillna("").str.strip()
        factors = {word: 1.0 if not word else unit_factor(word, column) for word in unit.unique()}
        scale = unit.map(factors).astype("float64")
        result.loc[rest] = pd.to_numeric(parts[0], errors="coerce").astype("float64") * scale
    result = result.where(np.isfinite(result))
    return result, stated & result.isna()


def _composed(text: pd.Series, rows: pd.Series, result: pd.Series, column: Column) -> pd.Series:
    """Read feet with inches (3' 6") and fractions (1 1/2 in)."""
    feet, inch = (unit_factor(unit, column) for unit in ("ft", "in"))
    result = result.copy()
    if feet is not None and inch is not None:
        pair = text[rows].str.extract(_FEET_INCHES).astype("float64").dropna()
        result.loc[pair.index] = pair[0] * feet + pair[1] * inch
    parts = text[rows].str.extract(_FRACTION)
    parts = parts[parts[1].notna()]
    if len(parts):
        whole = pd.to_numeric(parts[0], errors="coerce").astype("float64").fillna(0.0)
        value = whole + parts[1].astype("float64") / parts[2].astype("float64")
        unit = parts[3].str.strip()
        scale = unit.map({word: 1.0 if not word else unit_factor(word, column) for word in unit.unique()})
        result.loc[parts.index] = value * scale.astype("float64")
    return result


def _measured(raw: pd.Series, column: Column, frame: pd.DataFrame, findings: Findings) -> pd.Series:
    values, strange = numbers(raw, column)
    nothing = _among(_NOTHING, as_text(raw), strange) if strange.any() else strange.copy()
    if column.name in _ZERO_IS_NOTHING:
        nothing |= values == 0.0
    if nothing.any():
        values, strange = values.mask(nothing), strange & ~nothing
        _left_out(raw.astype(object), nothing, frame, name=column.name, findings=findings)
    unit = f" in {column.unit}" if column.unit else ""
    if strange.any():
        told = [f"{column.name}: expected a number{unit}, got {quoted(value)}" for value in raw[strange].astype(str)]
        findings.add_rows("not_a_number", frame, told, action="value left out; correct the record", at=strange)
    low = -np.inf if column.minimum is None else column.minimum
    high = np.inf if column.maximum is None else column.maximum
    outside = values.notna() & ~values.between(low, high)
    if outside.any():
        told = [f"{column.name}: expected {low:g} to {high:g}{unit}, got {value:g}" for value in values[outside]]
        findings.add_rows("out_of_range", frame, told, action="value left out; correct the record", at=outside)
    values = values.mask(outside)
    return values.round() if column.kind == "integer" else values


def _left_out(values: pd.Series, nothing: Any, frame: pd.DataFrame, *, name: str, findings: Findings) -> pd.Series:
    """Tell values that stand for nothing, and return the column without them."""
    told = [f"{name}: {quoted(value)} stands for nothing" for value in values[nothing]]
    findings.add_rows("no_value", frame, told, action="used: read as not stated", at=nothing)
    return values.where(~nothing, None)


@cache
def known_words(column: Column) -> dict[str, str]:
    """Return the words a column knows, by key; empty where any word goes; not to be changed."""
    if column.name in ("material", "sheath"):
        own: tuple[str, ...] = tuple(materials())
        if column.name == "sheath":
            own = ("none", *(name for name, m in materials().items() if m.metal or name == "unknown"))
    elif column.name == "coating":
        own = tuple(coatings())
    else:
        own = column.vocabulary
    if not own:
        return {}
    named = vocabulary("yes_no" if own == YES_NO else column.name)
    if column.name in ("material", "sheath"):
        named = material_words() | named
    return {key: word for key, word in named.items() if word in own} | {word_key(word): word for word in own}


def _among(words: Collection[str], text: pd.Series, rows: pd.Series) -> pd.Series:
    """Tell which of some rows hold one of these words; the others' text isn't looked at."""
    found = rows.copy()
    if rows.any():
        found[rows] = text[rows].map(word_key, na_action="ignore").isin(words)
    return found


def _worded(raw: pd.Series, column: Column, frame: pd.DataFrame, findings: Findings) -> pd.Series:
    words = known_words(column)
    text = as_text(raw)
    stated = text.notna()
    known = {word: words.get(word_key(word)) for word in text[stated].unique()}
    result = text.map(known).astype(object)
    strange = stated & result.isna()
    instead = "unknown" if "unknown" in words.values() else None
    nothing = _among(_NOTHING, text, strange)
    if nothing.any():
        _left_out(text, nothing, frame, name=column.name, findings=findings)
        result, strange = result.mask(nothing, instead), strange & ~nothing
    if strange.any():
        expected = ", ".join(dict.fromkeys(words.values()))
        told = [f"{column.name}: expected one of {expected}; got {quoted(value)}" for value in text[strange]]
        action = f"read as {instead or 'not stated'}; map the word or correct the record"
        findings.add_rows("unknown_word", frame, told, action=action, at=strange)
    return result.mask(strange, instead).where(stated, None)


def _clean_ids(frame: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    # lists of ids are separated by blanks, so an id holds none
    for name in sorted(_ID_COLUMNS & set(frame.columns)):
        text: Any = frame[name]
        if not text.notna().any():
            continue
        nothing = text.map(word_key, na_action="ignore").isin(_NOTHING - {"0"})
        nothing |= (text == "0") & (name == "contained_in")
        if nothing.any():
            frame[name] = text = _left_out(text, nothing, frame, name=name, findings=findings)
        blank = text.notna() & text.astype(str).str.contains(r"\s", regex=True)
        if blank.any():
            told = [f"{name}: {quoted(value)} holds blanks, which separate ids in lists" for value in text[blank]]
            findings.add_rows("changed_id", frame, told, action="repaired: blanks written as _", at=blank)
            frame[name] = text = text.where(~blank, text.astype(str).str.split().str.join("_"))
        long = text.notna() & (text.astype(str).str.len() > _ID_LONGEST)
        if long.any():
            told = [f"{name}: {quoted(value)} has {len(value)} characters" for value in text[long]]
            findings.add_rows("changed_id", frame, told, action=f"repaired: cut at {_ID_LONGEST} characters", at=long)
            frame[name] = text.where(~long, text.astype(str).str[:_ID_LONGEST])
    return frame
