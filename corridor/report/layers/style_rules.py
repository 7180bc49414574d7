"""The default styles of the layers. No colour is green, what rests on assumed values is dashed.

Lines as they were read are drawn in the colours of a convention; all other colours are apart from those of utilities.
"""

from collections.abc import Iterable, Mapping

from corridor.dictionary import EVIDENCE, GRADES
from corridor.dictionary.scopes import CONGESTION
from corridor.report.layers.style_model import Condition, Look, Rule, Style
from corridor.report.look.conventions import Conventions
from corridor.report.look.symbols import GRADE_SYMBOLS, INK, TONE_STEPS

__all__ = ["layer_styles", "quality_style"]

_GRADE_LINES = {
    "readable": Look("#4f5d6d", 2.0),
    "pulled": Look("#a6611a", 2.6),
    "masked": Look("#7b1e5a", 3.4),
    "faint": Look("#a9a9a9", 2.0),
    "untraceable": Look("#000000", 3.4),
}
_GRADE_MARKERS = {
    "readable": Look("#4f5d6d", 0.6, shape="circle", size_pt=6.0, fill="#4f5d6d"),
    "pulled": Look("#a6611a", 0.6, shape="triangle", size_pt=7.0, fill="#a6611a"),
    "masked": Look("#7b1e5a", 1.6, shape="x", size_pt=7.0, fill="#7b1e5a"),
    "faint": Look("#8c8c8c", 0.6, shape="square", size_pt=5.0, fill="#a9a9a9", rotation_deg=45.0),
    "untraceable": Look("#000000", 0.6, shape="star", size_pt=10.0, fill="#000000"),
}
_READY = {
    "ready": ("READY", Look(INK, 1.2, shape="circle", size_pt=8.0, fill="#ffffff")),
    "not_ready": ("NOT READY: see column missing", Look(INK, 1.2, shape="triangle", size_pt=8.0, fill="#ffffff")),
    "refused": ("REFUSED by the hazard gate", Look("#8a0000", 1.6, shape="x", size_pt=8.0, fill="#8a0000")),
}
_SEEN = ("recorded", "observed", "measured")


def _by_word(column: str, looks: Mapping[str, Look], labels: Mapping[str, str]) -> tuple[Rule, ...]:
    return tuple(Rule(labels[word], look, (Condition(column, "=", word),)) for word, look in looks.items())


def _tone_rules() -> tuple[Rule, ...]:
    """Return a rule for each step of the current; a section without a current meets none and isn't drawn."""
    starts = [start for start, _ in TONE_STEPS]
    rules = []
    for (start, width), end in zip(TONE_STEPS, [*starts[1:], None], strict=True):
        above = Condition("current_ma", ">=", start)
        if end is None:
            rules.append(Rule(f"{start:g} mA and more", Look(INK, width), (above,)))
        else:
            rules.append(Rule(f"{start:g} to {end:g} mA", Look(INK, width), (above, Condition("current_ma", "<", end))))
    return tuple(rules)


_GRADE_LABELS = {grade: " ".join(GRADE_SYMBOLS[grade].text.split()) for grade in GRADES}
_DASHES = Rule(
    "dashed: rests on assumed values",
    Look("#ffffff", 3.6, dash_pt=(4.0, 9.0)),  # white gaps over the line, whatever its grade
    (Condition("assumed", "=", True),),
)


def _hidden(looks: Mapping[str, Look]) -> tuple[Rule, ...]:
    """Return rules for rows whose nominal case shows a wrong mark and whose worst case only too little tone."""
    return tuple(
        Rule(
            f"{grade} in the nominal case, faint in another",
            looks[grade],
            (Condition("grade", "=", grade), Condition("grade_worst", "=", "faint")),
        )
        for grade in ("pulled", "masked")
    )


_BONDS = {
    word: Look(INK, 1.0, shape="cross", size_pt=9.0, fill=INK if word in _SEEN else "#ffffff") for word in EVIDENCE
}
_FIXED = {
    "strategy": Style(
        "Grade, worst case", _by_word("grade_worst", _GRADE_LINES, _GRADE_LABELS), (*_hidden(_GRADE_LINES), _DASHES)
    ),
    "sections": Style("Tone current, mA", _tone_rules(), (_DASHES,)),
    "stations": Style(
        "Grade, worst case", _by_word("grade_worst", _GRADE_MARKERS, _GRADE_LABELS), _hidden(_GRADE_MARKERS)
    ),
    "hookups": Style(
        "Hook-ups by readiness",
        tuple(Rule(label, look, (Condition("ready", "=", word),)) for word, (label, look) in _READY.items()),
    ),
    "bonds_found": Style(
        "Bonds by evidence (hollow: nobody has seen it)",
        _by_word("evidence", _BONDS, {word: f"bond, {word}" for word in EVIDENCE}),
    ),
    "crossings": Style("Crossings in plan", (Rule("crossing", Look("#6b6b6b", 1.0, shape="x", size_pt=5.0)),)),
    "parallel_runs": Style("Parallel runs", (Rule("parallel run", Look("#6b5b4b", 3.0, dash_pt=(2.0, 3.0))),)),
}

_SEVERITY = {"severe": ("#8a0000", 3.0), "warning": ("#a6611a", 2.4), "note": ("#4f5d6d", 1.6)}
_EDGE_SHAPES = {"bond": "cross", "junction": "circle", "continuity": "square", "ground": "triangle"}
_KNOWN = "#5b2a86"
_THOUGHT = "#9c7fb8"


def _mixed(
    label: str, colour: str, *, width_pt: float, shape: str, conditions: tuple[Condition, ...] = ()
) -> tuple[Rule, ...]:
    """Return a rule for each kind of geometry that a layer of any geometry may hold."""
    line = Look(colour, width_pt)
    mark = Look(colour, 1.0, shape=shape, size_pt=8.0, fill=colour)
    return (
        Rule(label, mark, conditions, only="Point"),
        Rule(label, line, conditions, only="Line"),
        Rule(label, line, conditions, only="Polygon"),
    )


def _by_severity(title: str) -> Style:
    rules = (
        rule
        for word, (colour, width) in _SEVERITY.items()
        for rule in _mixed(
            word, colour, width_pt=width, shape="triangle", conditions=(Condition("severity", "=", word),)
        )
    )
    return Style(title, tuple(rules))


def _one(label: str, look: Look) -> Style:
    return Style(label, (Rule(label, look),))


def _marks(title: str, column: str, words: Mapping[str, tuple[str, Look]]) -> Style:
    return Style(
        title, tuple(Rule(label, look, (Condition(column, "=", word),)) for word, (label, look) in words.items())
    )


def _edges() -> Style:
    """Return marks by what joins, hollow where nobody has seen it."""
    rules = []
    for kind, shape in _EDGE_SHAPES.items():
        for word in EVIDENCE:
            seen = word in _SEEN
            look = Look(INK, 1.0, shape=shape, size_pt=8.0, fill=INK if seen else "#ffffff")
            rules.append(
                Rule(f"{kind}, {word}", look, (Condition("kind", "=", kind), Condition("evidence", "=", word)))
            )
    return Style("What joins lines, by evidence (hollow: nobody has seen it)", tuple(rules))


# edges of cells from light to dark; where nothing is recorded the ground isn't known, and the edge is dashed
_CONGESTED = dict(
    zip(
        CONGESTION,
        (Look("#8f8a80", 0.8, dash_pt=(3.0, 3.0)), Look("#d9bd7c", 1.2), Look("#d08f4a", 1.6), Look("#a8542f", 2.2),
         Look("#6d2220", 2.8)),
        strict=True,
    )
)  # fmt: skip


def _groups(title: str) -> Style:
    levels = {"recorded": Look(_KNOWN, 2.6), "likely": Look(_KNOWN, 2.0, dash_pt=(6.0, 3.0)),
              "possible": Look(_THOUGHT, 2.0, dash_pt=(2.0, 3.0))}  # fmt: skip
    return Style(title, _by_word("level", levels, {word: f"{word}: lines that share metal" for word in levels}))


_REST = {
    "setups": _marks("Steps in walking order", "kind", {
        "setup": ("set-up: tone on a hook-up", Look(INK, 1.6, shape="circle", size_pt=11.0, fill="#ffffff")),
        "sweep": ("sweep of the whole work area", Look(INK, 1.6, shape="star", size_pt=12.0, fill="#ffffff")),
    }),
    "expected_readings": _one("reading expected", Look("#4f5d6d", 0.8, shape="square", size_pt=5.0, fill="#ffffff")),
    "reading_causes": Style("Likely causes", _mixed("likely cause", "#7b1e5a", width_pt=2.0, shape="triangle")),
    "field_checks": _one("check of a mark", Look("#7b1e5a", 0.8, shape="triangle", size_pt=5.0, fill="#ffffff")),
    "verify_first": Style("Verify first", _mixed("what to verify first", "#8a0000", width_pt=3.0, shape="star")),
    "trade_off": Style("Trade-off", _mixed("trade-off", "#4f5d6d", width_pt=1.0, shape="circle")),
    "findings": _by_severity("Findings by severity"),
    "defects": _by_severity("Defects by severity"),
    "bonded_groups": _groups("Groups of lines that share metal, by level"),
    "group_edges": _edges(),
    "group_splits": _marks("What a large group hangs on", "what", {
        "bond": ("bond whose removal splits it", Look("#8a0000", 1.2, shape="cross", size_pt=10.0, fill="#8a0000")),
        "visit": ("visit that settles most", Look("#8a0000", 1.2, shape="star", size_pt=11.0, fill="#ffffff")),
    }),
    "group_changes": Style("Changes of groups", _mixed("changed", "#a6611a", width_pt=3.0, shape="square")),
    "isolations": _marks("Isolations", "joint", {
        "isolating_joint": ("isolating joint", Look(INK, 2.0, shape="x", size_pt=9.0, fill=INK)),
        "insulated_joints": ("all joints of the line are insulated", Look(INK, 1.2, shape="x", size_pt=7.0, fill=INK)),
    }),
    "bleed_paths": Style("Hops of the tone", _mixed("hop of the tone", "#7b1e5a", width_pt=2.2, shape="circle")),
    "readings": _one("reading of the crew", Look(INK, 0.8, shape="square", size_pt=6.0, fill="#4f5d6d")),
    "causes": _one("cause that may be", Look("#8a0000", 1.2, shape="triangle", size_pt=10.0, fill="#ffffff")),
    "reading_intervals": _one("reading", Look("#4f5d6d", 0.8, shape="circle", size_pt=5.0, fill="#ffffff")),
    "bonds": Style("Bonds", tuple(rule for word in EVIDENCE for rule in _mixed(
        f"bond, {word}", INK if word in _SEEN else "#8c8c8c", width_pt=1.6, shape="cross",
        conditions=(Condition("evidence", "=", word),)))),
    "cells": Style("Congestion, recorded lines only", tuple(
        Rule(word, look, (Condition("congestion", "=", word),), only="Polygon") for word, look in _CONGESTED.items())),
    "scope_phases": Style("Phases", _mixed("phase of the work area", INK, width_pt=2.6, shape="circle")),
    "test_holes": _one("test hole", Look("#8a0000", 1.4, shape="cross", size_pt=11.0, fill="#8a0000")),
    "grounds": _one("ground electrode", Look(INK, 1.0, shape="triangle", size_pt=8.0, fill=INK)),
}  # fmt: skip


def layer_styles(chosen: Conventions) -> dict[str, Style]:
    """Return the default style of every layer that has one, by name; lines as read in the colours of a convention.

    Parameters
    ----------
    chosen : Conventions
        Colours of utilities.
    """
    return {
        **_FIXED,
        **_REST,
        "line_groups": _utilities(chosen, dashed=False),
        "lines": _utilities(chosen, dashed=True),
    }


def _utilities(chosen: Conventions, *, dashed: bool) -> Style:
    """Return a rule for each utility over a dark edge, which keeps light colours visible on white."""
    table = chosen.colours
    rules: Iterable[Rule] = (
        Rule(table.groups[colour], Look(colour, 2.0), (Condition("utility", "=", utility),))
        for utility, colour in table.by_utility.items()
    )
    return Style(f"Utility ({table.title})", (Rule("edge", Look("#333333", 2.8)), *rules), (_DASHES,) if dashed else ())


def quality_style(chosen: Conventions) -> Style:
    """Return lines by the quality level on record, in the words of a vocabulary; one that states none is drawn too."""
    looks = {"a": ("#1c1c1c", 3.2), "b": ("#4f5d6d", 2.6), "c": ("#8a6d1f", 2.2), "d": ("#c07a3a", 2.2)}
    quality = chosen.quality
    stated = (
        Rule(quality.of(level), Look(colour, width), (Condition("quality_level", "=", level),))
        for level, (colour, width) in looks.items()
    )
    return Style(
        f"Quality level on record ({quality.edition})", (Rule(quality.of(None), Look("#8a0000", 0.9)), *stated)
    )
