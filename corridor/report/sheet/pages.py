"""What stands on the pages of one set-up, as plain data for the template."""

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from corridor.report.maps.closeup import CLOSEUP_IN, TALL_IN, Arrow, CloseUp
from corridor.report.receipt import equipment_note
from corridor.report.sheet.bleed import Leak, strongest_leaks
from corridor.report.sheet.limits import outside, source_limits, source_rows
from corridor.report.sheet.standing import Standing, stake_text
from corridor.report.sheet.traced import Traced, trace_stretches
from corridor.report.sheet.words import (
    Names,
    bearing_text,
    frequency_text,
    given,
    octant,
    quantity,
    sentences,
    setup_number,
    short,
    span_text,
)

__all__ = ["MODE_WORDS", "ROWS_MAX", "SetUpPage", "SetUpPages"]

LEAKS_MAX = 4
FRONT_ROWS = 4  # more stretches are listed overleaf, and the map gets their room
ROWS_MAX = 9  # stretches that a page lists; more would need a third page
CAUSES_MAX = 3
CAUSE_MAX, CAUSE_DENSE = 110, 60  # characters of a cause; fewer where many stretches need the room
ADVICE_MAX, ADVICE_ALL = 330, 1300  # characters for one stretch, and for all of them
LACKS_MAX = 8
CAUTIONS_MAX = 8
_NAMES = {
    "source_ma": "source, output", "source_v": "source, voltage", "source_ohm": "source, loop impedance",
    "clamp_ma": "on the line at the hook-up", "receiver_ma": "receiver", "depth_reading_m": "depth reading",
}  # fmt: skip
MODE_WORDS = {"direct": "DIRECT", "clamp": "CLAMP", "induction": "INDUCTION"}
_DEPTH = "Depth readings are to the centre of the current, not cover."


class SetUpPage:
    """Data of one set-up's pages and its close-up."""

    def __init__(self, data: dict[str, Any], closeup: CloseUp | None) -> None:
        self.data, self.closeup = data, closeup


class SetUpPages:
    """Makes the pages of the set-ups of one review.

    Parameters
    ----------
    review : Review
        Its tables, records and settings.
    """

    def __init__(self, review: Any) -> None:
        self._review = review
        self._places = Standing(review.site)
        self._names = Names(review.hookups, review.setups, review.bonds_found)
        self._lines = review.site.lines.drop_duplicates("line_id").set_index("line_id", drop=False)
        self._stretches = _grouped(review.strategy, ["setup_id"])
        self._readings = _grouped(_plain(review.expected_readings), ["setup_id"])
        self._causes = _grouped(_plain(review.reading_causes), ["setup_id"])
        self._checks = _grouped(_plain(review.field_checks), ["setup_id"])
        self._stations = _grouped(review.stations, ["hookup_id", "frequency_hz"])
        self._paths = _grouped(_plain(review.bleed_paths), ["hookup_id", "frequency_hz"])

    @property
    def names(self) -> Names:
        """Words for made-up names."""
        return self._names

    @property
    def places(self) -> Standing:
        """Words for places of the site."""
        return self._places

    def page(self, setup: Any) -> SetUpPage:
        """Return the pages of one row of ``setups``."""
        name, key = setup["setup_id"], (setup["hookup_id"], setup["frequency_hz"])
        review = self._review
        stretches = self._stretches.get(name, review.strategy.iloc[:0])
        readings = self._readings.get(name, review.expected_readings.iloc[:0])
        stations = self._stations.get(key, review.stations.iloc[:0])
        traced = trace_stretches(stretches, stations, self._lines, grades=review.settings.grades)
        wanted = {str(setup["line_id"]), *(str(row.row["line_id"]) for row in traced)}
        leaks = strongest_leaks(self._paths.get(key, review.bleed_paths.iloc[:0]), wanted, most=LEAKS_MAX)
        far = _far_end(setup, traced)
        data = {
            **self._head(setup, readings, stretches),
            "source": [_reading_row(row) for row in source_rows(readings).to_dict("records")],
            "along": [self._along(row, readings) for row in traced[:ROWS_MAX]],
            "more": max(len(traced) - ROWS_MAX, 0),
            "outside": self._outside(name, limit=CAUSE_MAX if len(traced) <= FRONT_ROWS else CAUSE_DENSE),
            "checks": self._advice(name, traced),
            "leaks": [leak.text() for leak in leaks],
            "identity": self._identity(setup, readings, stations, far=far),
            "fallback": self._fallback(setup),
            "cautions": _cautions(setup, stretches),
            "crew": _crew(setup),
        }
        return SetUpPage(data, self._closeup(setup, traced, leaks, far))

    def missing(self, row: Any) -> dict[str, Any]:
        """Return what is missing of a hook-up, short and in full."""
        conditions = [part for part in dict.fromkeys(given(row["missing"]).split("; ")) if part]
        lacks = [short(self._names.worded(part), 160) for part in conditions[:LACKS_MAX]]
        if len(conditions) > LACKS_MAX:
            lacks.append(f"and {len(conditions) - LACKS_MAX} more: see layer hookups")
        more = f" and {len(conditions) - 1} more, below" if len(conditions) > 1 else ""
        return {"missing": (short(lacks[0], 130) if lacks else "not stated") + more, "lacks": lacks}

    def _head(self, setup: Any, readings: pd.DataFrame, stretches: gpd.GeoDataFrame) -> dict[str, Any]:
        limits = source_limits(readings, setup["level_ma"])
        ready = given(setup["ready"]) == "ready"
        mode = given(setup["mode"])
        stake = stake_text(setup)
        side = octant(float(setup["stake_bearing_deg"])) if stake else ""
        far = {"grounded": "far end grounded", "returned": "far end led back"}.get(self._far(setup), "")
        equipment = self._review.equipment
        number = setup_number(setup["setup_id"])
        return {
            "id": given(setup["setup_id"]),
            "number": str(number) if number is not None else given(setup["setup_id"]),
            "ready": ready,
            **({"missing": "", "lacks": []} if ready else self.missing(setup)),
            "generic": "rerun with your equipment" if equipment is not None and equipment.generic else "",
            "equipment": equipment_note(equipment),
            "stand": short(self._places.stand(setup), 96),
            "side": short(self._places.side(setup, stretches.geometry), 60),
            "connect": short(self._places.connect(setup), 60),
            "never": short(self._places.never(setup), 110),
            "caution": " ".join(sentences(setup["caution"])),
            "mode": MODE_WORDS.get(mode, mode.upper()),
            "frequency": frequency_text(setup["frequency_hz"]),
            "output": quantity(setup["level_ma"], "mA"),
            "stake": stake,
            "stake_side": side + (f"; {far}" if far else ""),
            "go": short(limits.go, 100),
            "stop": short(limits.stop, 110),
            "trace": short(", ".join(given(setup["covers"]).split()) or given(setup["line_id"]), 90),
        }

    def _far(self, setup: Any) -> str:
        hookups = self._review.hookups
        if "far_end" not in hookups:
            return ""
        rows = hookups.loc[hookups["hookup_id"].eq(setup["hookup_id"]), "far_end"]
        return given(rows.iloc[0]) if len(rows) else ""

    def _along(self, traced: Traced, readings: pd.DataFrame) -> dict[str, str]:
        row = traced.row
        own = readings[
            readings["line_id"].eq(row["line_id"]) & readings["station_m"].between(row["from_m"], row["to_m"])
        ]
        shown = {str(reading["kind"]): reading for reading in own.to_dict("records")}
        current, depth = shown.get("receiver_ma"), shown.get("depth_reading_m")
        grade, worst = given(row["grade"]), given(row["grade_worst"])
        mistaken = given(row["mistaken_for"])
        at = current or depth
        return {
            "letter": traced.letter,
            "line": given(row["line_id"]),
            "range": f"{row['from_m']:.0f} to {row['to_m']:.0f} m"
            + (f", read at {at['station_m']:.0f} m" if at else ""),
            "grade": grade if grade == worst or not worst else f"{grade}, at worst {worst}",
            "misleads": "don't mark from this peak alone" if traced.misleads else "",
            "current": _expected(current),
            "current_stop": outside(current) if current is not None else "",
            "depth": _expected(depth),
            "depth_stop": "take no depth" if traced.no_depth else (outside(depth) if depth is not None else ""),
            "no_depth": "yes" if traced.no_depth else "",
            "record": traced.depth_text(),
            "pull": traced.pull_text(),
            "mistaken": mistaken,
        }

    def _outside(self, name: str, *, limit: int) -> list[dict[str, str]]:
        """Return what a source reading below or above its range means, likeliest first."""
        causes = self._causes.get(name)
        if causes is None or causes.empty:
            return []
        rows = []
        for side in ("lower", "higher"):
            own = causes[causes["side"].eq(side)]
            texts = [short(self._names.worded(cause), limit) for cause in own["cause"]]
            apart = next((given(text) for text in own["told_apart_by"] if given(text)), "")
            rows.append(
                {
                    "side": side,
                    "causes": "; ".join(texts[: CAUSES_MAX + 1]) or "no cause on record stands out",
                    "apart": short(self._names.worded(apart), 3 * limit // 2),
                }
            )
        return rows

    def _advice(self, name: str, traced: Sequence[Traced]) -> list[str]:
        """Return which check of the mark tells, once for stretches that share it."""
        checks = self._checks.get(name)
        if checks is None:
            return []
        advice = checks.drop_duplicates("stretch_id").set_index("stretch_id")["advice"]
        limit = min(ADVICE_MAX, ADVICE_ALL // max(len(traced[:ROWS_MAX]), 1))
        said: dict[str, list[str]] = {}
        for row in traced[:ROWS_MAX]:
            text = short(self._names.worded(advice.get(row.row["stretch_id"])), limit)
            if text:
                said.setdefault(text, []).append(row.letter)
        return [f"{', '.join(letters)}: {text}" for text, letters in said.items()]

    def _identity(self, setup: Any, readings: pd.DataFrame, stations: pd.DataFrame, *, far: Any) -> list[str]:
        """Return how to tell at the far end that the line followed is the one hooked up."""
        if far is None:
            return []
        stretch, _ = far
        line_id = stretch.row["line_id"]
        rows = readings[readings["line_id"].eq(line_id) & readings["kind"].eq("receiver_ma")]
        end_m = float(stretch.row["to_m"] if _to_end(setup, stretch) else stretch.row["from_m"])
        said = [f"Follow {given(line_id)} to the five-sided mark, {end_m:.0f} m along it."]
        if len(rows):
            row = rows.iloc[int((rows["station_m"] - end_m).abs().to_numpy().argmin())].to_dict()
            stop = outside(row)
            said.append(
                f"On stretch {stretch.letter}, {row['station_m']:.0f} m along it, the receiver should show "
                f"{_expected(row)}" + (f"; {stop}: stop, it may be another line." if stop else ".")
            )
        sense = set(stations.loc[stations["line_id"].eq(line_id), "sense"].dropna())
        if len(sense) == 1 and sense <= {"same", "opposite"}:
            way = "the same way as" if sense == {"same"} else "the opposite way to that"
            said.append(f"Signed current runs {way} at the hook-up.")
        place = self._places.far_end(line_id, end_m)
        said.append(
            f"The record ends it at {place}: see that it comes up there; look, don't touch." if place
            else "No access point on record at that end: confirm by another set-up or another method."
        )  # fmt: skip
        confirm = self._names.worded(stretch.row["confirm_by"])
        if confirm:
            said.append(f"Second opinion: {confirm}.")
        return said

    def _fallback(self, setup: Any) -> dict[str, str]:
        trigger = given(setup["go_to_fallback"])
        return {
            "trigger": trigger[:1].upper() + trigger[1:] + "." if trigger else "",
            "b": short(self._names.worded(setup["fallback_b"]), 120)
            or "none: another method (sonde, ground-penetrating radar, test hole)",
            "c": short(self._names.worded(setup["fallback_c"]), 120),
            "also": ", ".join(frequency_text(float(part)) for part in given(setup["also_frequencies"]).split()),
        }

    def _closeup(self, setup: Any, traced: Sequence[Traced], leaks: Sequence[Leak], far: Any) -> CloseUp | None:
        here = setup["geometry"]
        if here is None or here.is_empty:
            return None
        site = self._review.site
        stake = None
        if pd.notna(setup["stake_x_m"]):
            stake = shapely.Point(setup["stake_x_m"], setup["stake_y_m"])
        number = setup_number(setup["setup_id"])
        return CloseUp(
            number=str(number) if number is not None else given(setup["setup_id"]),
            mode=given(setup["mode"]),
            hookup=here,
            lines=site.lines,
            structures=site.structures,
            work_area=site.work_area,
            line_id=str(setup["line_id"]),
            traced=[
                (row.letter, str(row.row["line_id"]), row.row["geometry"], bool(_flag(row.row["assumed"])))
                for row in traced
            ],
            partners={leak.line_id: f"{leak.line_id} takes {quantity(leak.current_ma, 'mA')}" for leak in leaks},
            stake=stake,
            stake_text=stake_text(setup),
            pulls=[Arrow(p.x_m, p.y_m, p.east, p.north) for row in traced for p in row.pulls],
            masked=[point for row in traced for point in row.masked],
            no_depth=[piece for row in traced for piece in row.no_depth],
            check=None if far is None else far[1],
            size_in=TALL_IN if len(traced) > FRONT_ROWS else CLOSEUP_IN,
            reads={row.letter: row.read_at for row in traced if row.read_at is not None},
        )


def _grouped(frame: Any, keys: list[str]) -> Mapping[Any, Any]:
    by: Any = keys[0] if len(keys) == 1 else keys
    return dict(iter(frame.groupby(by, sort=False)))


def _plain(frame: Any) -> pd.DataFrame:
    """Return a table without places: rows are looked up faster."""
    return pd.DataFrame(frame.drop(columns="geometry", errors="ignore"))


def _flag(value: Any) -> bool:
    return not pd.isna(value) and bool(value)


def _expected(reading: Any) -> str:
    if reading is None:
        return ""
    span = span_text(reading["expected_low"], reading["expected_high"], str(reading["unit"]))
    if not span:
        return "none in any draw"
    return span if _flag(reading["tells"]) else f"{span}: tells nothing"


def _reading_row(row: Any) -> dict[str, str]:
    return {
        "what": _NAMES.get(str(row["kind"]), str(row["kind"])),
        "expected": _expected(row),
        "stop": outside(row),
        "unit": {"ohm": "Ω"}.get(given(row["unit"]), given(row["unit"])),
    }


def _to_end(setup: Any, traced: Traced) -> bool:
    """Whether a stretch's end, not its start, lies farther from the hook-up."""
    coords = shapely.get_coordinates(traced.row["geometry"])
    here = (setup["geometry"].x, setup["geometry"].y)
    return bearing_text(here, coords[-1])[0] >= bearing_text(here, coords[0])[0]


def _far_end(setup: Any, traced: Sequence[Traced]) -> tuple[Traced, shapely.Point] | None:
    """Return the stretch that reaches farthest from the hook-up, and its far end; the hooked-up line's first."""
    here = setup["geometry"]
    if here is None or here.is_empty or not traced:
        return None
    own = [row for row in traced if row.row["line_id"] == setup["line_id"]] or list(traced)
    ends = [
        (here.distance(point), row, point)
        for row in own
        for point in (shapely.Point(xy) for xy in shapely.get_coordinates(row.row["geometry"])[[0, -1]])
    ]
    _, row, point = max(ends, key=lambda end: round(end[0], 3))
    return row, point


def _cautions(setup: Any, stretches: gpd.GeoDataFrame) -> list[str]:
    said = []
    if given(setup["mode"]) == "direct":
        said.append("The stake and its lead carry the transmitter's voltage: somebody stays with them.")
        said.append("Look for unrecorded lines before driving the stake.")
    said.append(_DEPTH)
    for text in stretches["caution"]:
        said += sentences(text)
    above = set(sentences(setup["caution"]))
    return [short(text, 140) for text in dict.fromkeys(said) if text not in above][:CAUTIONS_MAX]


def _crew(setup: Any) -> str:
    parts = []
    if pd.notna(setup["step"]):
        parts.append(f"step {int(setup['step'])}")
    if pd.notna(setup["crew"]):
        parts.append(f"crew {int(setup['crew'])}")
    if pd.notna(setup["walk_m"]):
        parts.append(f"{setup['walk_m']:.0f} m from the step before")
    if pd.notna(setup["crew_frequency_hz"]):
        parts.append(f"with other crews at work use {frequency_text(setup['crew_frequency_hz'])}")
    if given(setup["not_with"]):
        parts.append(f"not while {short(setup['not_with'], 40)} run")
    if pd.notna(setup["battery_h"]):
        parts.append(f"battery about {setup['battery_h']:.0f} h")
    return ", ".join(parts)
