"""What stands on a drawn map: its texts, their boxes, and its legend."""

import itertools
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from matplotlib.legend import Legend
from matplotlib.text import Text


def texts(figure: Figure) -> list[str]:
    """Every text on the figure, legends included."""
    return [text.get_text() for text in figure.findobj(Text) if text.get_text()]


def all_text(figure: Figure) -> str:
    """All of it as one string, lines joined."""
    return " ".join(" ".join(texts(figure)).split())


def legend_words(figure: Figure) -> list[str]:
    """The rows of every legend, their lines joined."""
    return [" ".join(text.get_text().split()) for legend in figure.findobj(Legend) for text in legend.get_texts()]


def overlaps(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of labels in the map whose boxes overlap by more than a hair."""
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    placed = [(t.get_text(), t.get_window_extent(renderer)) for t in figure.axes[0].texts if t.get_zorder() == 11]
    return [
        (a, b) for (a, one), (b, two) in itertools.combinations(placed, 2)
        if min(one.x1, two.x1) - max(one.x0, two.x0) > 1.0 and min(one.y1, two.y1) - max(one.y0, two.y0) > 1.0
    ]  # fmt: skip


def cut_off(figure: Figure) -> list[str]:
    """Texts that reach beyond the sheet."""
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    width, height = figure.canvas.get_width_height()
    found = []
    for text in figure.findobj(Text):
        if text.get_text().strip() and text.get_visible():
            box = text.get_window_extent(renderer)
            if np.isfinite([box.x0, box.x1]).all() and (
                box.x0 < -1 or box.x1 > width + 1 or box.y0 < -1 or box.y1 > height + 1
            ):
                found.append(text.get_text())
    return found


def is_png(path: Path) -> bool:
    """Whether a file begins as a PNG does (ISO/IEC 15948)."""
    return path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
