"""The plots of the page as models of the plotting library, empty: the page's own script fills them."""

import json
import re
from importlib import import_module
from typing import Any

from corridor.report.look.symbols import INK

__all__ = ["library_script", "plot_models"]

_PAPER = "#fbfaf7"
_FONT = "system-ui, 'DejaVu Sans', sans-serif"
_NUMBERED = re.compile(r'"p\d+"')


class _Library:
    """The plotting library's names, all without types; loaded when a page is made, since that takes half a second."""

    def __getattr__(self, name: str) -> Any:
        return getattr(import_module("bokeh.models"), name)

    def json_item(self, plot: Any) -> Any:
        return import_module("bokeh.embed").json_item(plot)


bk = _Library()


def library_script() -> str:
    """Return the plotting library's script for browsers, as it comes with the library."""
    return str(import_module("bokeh.resources").Resources(mode="inline", components=["bokeh"]).js_raw[0])


def plot_models(*, tolerance_m: float) -> dict[str, Any]:
    """Return the map and the two profiles by name, each as a document of plain data, the same every time.

    Parameters
    ----------
    tolerance_m : float, m
        Largest pull that is still graded readable: the band in the profile.
    """
    plots = {"map": _map(), "current": _current_profile(), "pull": _pull_profile(tolerance_m)}
    return {name: _steady(bk.json_item(plot)) for name, plot in plots.items()}


def _steady(item: Any) -> Any:
    """Return a document whose models are numbered by their place in it, not by what was made before."""
    text = json.dumps(item)
    order = {name: f'"m{k}"' for k, name in enumerate(dict.fromkeys(_NUMBERED.findall(text)))}
    return json.loads(_NUMBERED.sub(lambda found: order[found.group()], text))


def _source(name: str, *columns: str) -> Any:
    return bk.ColumnDataSource(data={column: [] for column in columns}, name=name)


def _lines(plot: Any, name: str, *, dash: Any = "solid", **style: Any) -> None:
    source = _source(name, "xs", "ys", "color", "width", "dash")
    plot.add_glyph(source, bk.MultiLine(xs="xs", ys="ys", line_dash=dash, **style))


def _map() -> Any:
    plot = bk.Plot(
        x_range=bk.Range1d(0, 1), y_range=bk.Range1d(0, 1), name="map", sizing_mode="stretch_both",
        toolbar_location=None, background_fill_color=_PAPER, border_fill_color=_PAPER, outline_line_color="#8a857a",
        min_border=4, lod_threshold=None,
    )  # fmt: skip
    plot.title = None
    ticks: dict[str, Any] = {
        "formatter": bk.NumeralTickFormatter(format="0"), "major_label_text_font_size": "10px",
        "major_label_text_color": "#6a655b", "axis_line_color": None, "major_tick_line_color": "#8a857a",
        "minor_tick_line_color": None, "major_label_text_font": _FONT,
    }  # fmt: skip
    plot.add_layout(bk.LinearAxis(**ticks), "below")
    plot.add_layout(bk.LinearAxis(**ticks, major_label_orientation="vertical"), "left")
    plot.add_glyph(
        _source("area", "xs", "ys"),
        bk.Patches(xs="xs", ys="ys", fill_color="#f1ede1", line_color="#555555", line_dash="dotdash", line_width=1.2),
    )
    _lines(plot, "chosen_line", line_color="#8fb8ff", line_width=13, line_alpha=0.75, line_cap="round")
    _lines(plot, "casing", line_color="#3a3a3a", line_width="width", dash="dash", line_alpha=0.55)
    _lines(plot, "tone", line_color="color", line_width="width", dash="dash")
    _lines(plot, "hovered", line_color=INK, line_width=9, line_alpha=0.35)
    _points(plot, "structures", marker="square", size=4, fill_color="#d6d2c8", line_color="#8a857a", line_width=0.7)
    _points(plot, "bonds", marker="marker", size=9, fill_color="fill", line_color=INK, line_width=1.0)
    _points(plot, "refused", marker="x", size=6, line_color="#777777", line_width=1.2, fill_color=None)
    for mode, marker in (("direct", "square"), ("clamp", "diamond"), ("induction", "circle")):
        size = {"diamond": 10}.get(marker, 7)
        _points(plot, mode, marker=marker, size=size, fill_color="white", line_color="#444444", line_width=1.1)
    _lines(plot, "lead", line_color=INK, line_width=1.4, dash="dashed")
    _points(plot, "stake", marker="inverted_triangle", size=12, fill_color="white", line_color=INK, line_width=1.6)
    _points(plot, "hookup", marker="marker", size=17, fill_color="#ffe27a", line_color=INK, line_width=2.2)
    _labels(plot)
    plot.add_layout(
        bk.ScaleBar(
            range=plot.x_range,
            unit="m",
            location="bottom_right",
            label_text_font=_FONT,
            border_line_color=None,
            background_fill_color=_PAPER,
            background_fill_alpha=0.85,
        )
    )
    wheel = bk.WheelZoomTool(zoom_on_axis=False, name="wheel")
    pan = bk.PanTool(name="pan")
    plot.add_tools(pan, wheel, bk.BoxZoomTool(match_aspect=True, name="box"))
    plot.toolbar.active_scroll, plot.toolbar.active_drag = wheel, pan
    plot.toolbar.logo = None
    return plot


def _points(plot: Any, name: str, **style: Any) -> None:
    columns = [value for value in style.values() if value in ("marker", "fill")]
    plot.add_glyph(_source(name, "x", "y", *columns), bk.Scatter(x="x", y="y", **style))


def _labels(plot: Any) -> None:
    source = _source("labels", "x", "y", "text", "color", "dx", "dy")
    plot.add_glyph(
        source,
        bk.Text(
            x="x", y="y", text="text", text_color="color", text_font={"value": _FONT}, text_font_size="11px",
            text_font_style="bold", text_align="center", text_baseline="middle", x_offset="dx", y_offset="dy",
            background_fill_color=_PAPER, background_fill_alpha=0.85, padding=1,
        ),
    )  # fmt: skip


def _profile(name: str, label: str, *, log: bool = False) -> Any:
    plot = bk.Plot(
        x_range=bk.Range1d(0, 1), y_range=bk.Range1d(0.01, 1) if log else bk.Range1d(-1, 1),
        x_scale=bk.LinearScale(), y_scale=bk.LogScale() if log else bk.LinearScale(), name=name,
        sizing_mode="stretch_both", toolbar_location=None, background_fill_color=_PAPER, border_fill_color=_PAPER,
        outline_line_color="#8a857a",
        min_border=2,
    )  # fmt: skip
    plot.title = None
    text: dict[str, Any] = {
        "axis_label_text_font": _FONT, "axis_label_text_font_style": "normal", "axis_label_text_font_size": "11px",
        "major_label_text_font": "'DejaVu Sans Mono', monospace", "major_label_text_font_size": "10px",
        "minor_tick_line_color": None,
    }  # fmt: skip
    few = bk.BasicTicker(desired_num_ticks=4)
    plot.add_layout(bk.LinearAxis(axis_label="distance along the line, m", ticker=few, **text), "below")
    # labels of one width: the layout of the page then needn't be worked out anew for every line
    ticks = bk.PrintfTickFormatter(format="%7s" if log else "%5.1f")
    plot.add_layout((bk.LogAxis if log else bk.LinearAxis)(axis_label=label, formatter=ticks, **text), "left")
    return plot


def _current_profile() -> Any:
    plot = _profile("current", "current, mA", log=True)
    plot.add_glyph(
        _source("current_range", "x", "low", "high"),
        bk.VArea(x="x", y1="low", y2="high", fill_color="#8a5a8a", fill_alpha=0.25),
    )
    _lines(plot, "current_line", line_color="#4a1a5a", line_width=2)
    _lines(plot, "current_floor", line_color="#555555", line_width=1.2, dash="dotted")
    return plot


def _pull_profile(tolerance_m: float) -> Any:
    plot = _profile("pull", "metres")
    plot.add_layout(
        bk.BoxAnnotation(bottom=-tolerance_m, top=tolerance_m, fill_color="#1f5fa8", fill_alpha=0.10, line_color=None)
    )
    plot.add_layout(bk.Span(location=0.0, dimension="width", line_color="#555555", line_width=1.0))
    plot.add_glyph(
        _source("pull_range", "x", "low", "high"),
        bk.VArea(x="x", y1="low", y2="high", fill_color="#d98200", fill_alpha=0.22),
    )
    _lines(plot, "pull_line", line_color="#a35f00", line_width=2)
    _lines(plot, "depth_line", line_color="#1f5fa8", line_width=2, dash=[6, 3])
    glyph = bk.Scatter(x="x", y="y", marker="x", size=9, line_color="#a3195b", line_width=2)
    plot.add_glyph(_source("masked", "x", "y"), glyph)
    return plot
