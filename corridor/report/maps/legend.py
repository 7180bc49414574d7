"""The legend beside a map."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from matplotlib.figure import Figure
from matplotlib.legend import Legend
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from corridor.report.look.colours import ColourTable
from corridor.report.look.symbols import (
    BOND_SYMBOLS,
    CUT_SYMBOL,
    DASH,
    GRADE_SYMBOLS,
    GRADES_FIRST,
    HOOKUP_SYMBOLS,
    INK,
    TONE_STEPS,
)
from corridor.report.text import clipped

__all__ = ["add_legend"]

_LEFT = 0.778
_TOP = 0.962
_GAP = 0.006
_BOTTOM = 0.03
_LIST_GAP = 0.016


@dataclass(frozen=True)
class _List:
    """How the list of hook-ups is set; ``row_height`` as a share of the figure's."""

    columns: int
    size_pt: float
    row_height: float
    characters: int
    spacing: float
    rows_max: int = 40


_LISTS = (
    _List(1, 6.8, 0.0128, 48, 1.25),
    _List(2, 6.2, 0.0128, 31, 1.37),
    _List(2, 5.6, 0.0100, 34, 1.17, rows_max=60),
    _List(3, 5.0, 0.0088, 25, 1.15, rows_max=80),
)


def add_legend(
    figure: Figure,
    *,
    colours: ColourTable,
    utilities: set[str | None],
    setups: Sequence[tuple[str, str]],
    cut_ends: bool = False,
) -> None:
    """Draw the legend: colours in use, tone, grades, points and the numbered hook-ups, from top to bottom.

    The mark of ends that the extract cut is explained only where there are any.
    """
    blocks: list[tuple[str, Sequence[Line2D | Patch]]] = [
        (f"Utility ({colours.title})", _utility_rows(colours, utilities)),
        ("Tone predicted, mA, and ground it rests on", _tone_rows()),
        ("Grade (hollow: cases differ)", _grade_rows()),
        ("Points", _point_rows(cut_ends=cut_ends)),
    ]
    top = _TOP
    for title, handles in blocks:
        top = _block(figure, handles, title=title, top=top) - _GAP
    if setups:
        _setup_list(figure, setups, top=top)


def _block(figure: Figure, handles: Sequence[Line2D | Patch], *, title: str, top: float) -> float:
    legend = Legend(
        figure, list(handles), [str(handle.get_label()) for handle in handles], title=title, loc="upper left",
        bbox_to_anchor=(_LEFT, top), bbox_transform=figure.transFigure, fontsize=7.4, title_fontsize=8, frameon=False,
        borderpad=0.1, borderaxespad=0.0, labelspacing=0.38, handlelength=2.4, alignment="left",
    )  # fmt: skip
    legend.get_title().set_fontweight("bold")
    figure.add_artist(legend)
    extent = legend.get_window_extent(figure.canvas.get_renderer())  # type: ignore[attr-defined]
    return float(extent.transformed(figure.transFigure.inverted()).y0)


def _utility_rows(colours: ColourTable, utilities: set[str | None]) -> list[Patch]:
    used = {colours.of(utility) for utility in utilities}
    return [
        Patch(facecolor=colour, edgecolor="#333333", linewidth=0.6, label=text)
        for colour, text in colours.groups.items()
        if colour in used
    ]


def _tone_rows() -> list[Line2D]:
    starts = [start for start, _ in TONE_STEPS]
    texts = [
        f"under {starts[1]:g}, or none predicted",
        *(f"{a:g} to {b:g}" for a, b in pairwise(starts[1:])),
    ]
    texts.append(f"over {starts[-1]:g}")
    rows = [
        Line2D([], [], color=INK, linewidth=width, label=text)
        for (_, width), text in zip(TONE_STEPS, texts, strict=True)
    ]
    rows.append(Line2D([], [], color=INK, linewidth=1.8, linestyle=DASH, label="dashed: rests on assumed values"))
    return rows


def _mark(marker: str, text: str, *, size: float = 5.0, hollow: bool = False, edge: float = 0.9) -> Line2D:
    return Line2D(
        [], [], linestyle="none", marker=marker, markersize=size, markerfacecolor="white" if hollow else INK,
        markeredgecolor=INK, markeredgewidth=edge, label=text,
    )  # fmt: skip


def _grade_rows() -> list[Line2D]:
    """In the order of what is drawn: of the nominal and the worst grade, the one that stands higher here."""
    rows = [
        _mark(GRADE_SYMBOLS[grade].marker, GRADE_SYMBOLS[grade].text, size=math.sqrt(GRADE_SYMBOLS[grade].area))
        for grade in GRADES_FIRST
    ]
    rows.append(
        Line2D(
            [], [], linestyle="none", label="where nominal and worst case differ,\nthe one higher in this list is drawn"
        )
    )
    return rows


def _point_rows(*, cut_ends: bool) -> list[Line2D | Patch]:
    rows: list[Line2D | Patch] = [
        _mark(s.marker, f"hook-up chosen (numbered), {s.text}", size=8, hollow=True, edge=1.5)
        for s in HOOKUP_SYMBOLS.values()
    ]
    several = "box of numbers: close together, or several at one"
    rows.append(Patch(facecolor="white", edgecolor=INK, linewidth=0.8, label=several))
    rows.append(_mark("s", "small: another access point that is ready", size=3.5, hollow=True, edge=0.7))
    rows.append(_mark(BOND_SYMBOLS["known"].marker, BOND_SYMBOLS["known"].text, size=6.5))
    rows.append(_mark(BOND_SYMBOLS["thought"].marker, BOND_SYMBOLS["thought"].text, size=6.5, hollow=True))
    if cut_ends:
        rows.append(_mark(CUT_SYMBOL.marker, CUT_SYMBOL.text, size=6.5, edge=0.4))
    rows.append(
        Line2D(
            [],
            [],
            linestyle="none",
            marker="s",
            markersize=3.5,
            color="#cfcfcf",
            markeredgecolor="#8a8a8a",
            label="structure",
        )
    )
    rows.append(Patch(facecolor="#f4f2ec", edgecolor="#555555", linestyle="-.", label="work area"))
    return rows


def _setup_list(figure: Figure, setups: Sequence[tuple[str, str]], *, top: float) -> None:
    """List the hook-ups in the largest type that holds them all, or in the smallest, and count the rest."""
    figure.text(_LEFT, top, "Hook-ups", fontsize=8, fontweight="bold", va="top", color=INK)
    for layout in _LISTS:
        room = min(layout.rows_max, int((top - _LIST_GAP - _BOTTOM) / layout.row_height))
        if len(setups) <= layout.columns * room:
            break
    places = layout.columns * room
    shown = setups if len(setups) <= places else setups[: places - 1]
    rows = [clipped(f"{number:>2}  {text}", limit=layout.characters) for number, text in shown]
    if len(shown) < len(setups):
        rows.append(f"and {len(setups) - len(shown)} more: see layer hookups")
    for column in range(layout.columns):
        text = "\n".join(rows[column * room : (column + 1) * room])
        left = _LEFT + column * (1.0 - _LEFT) / layout.columns
        # matplotlib sets lines 1.2 times the linespacing apart, near enough
        figure.text(
            left, top - _LIST_GAP, text, fontsize=layout.size_pt, va="top", color=INK, linespacing=layout.spacing,
            parse_math=False,
        )  # fmt: skip
