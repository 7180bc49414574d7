"""Placing labels on a map so that no two overlap: greedy, deterministic, in points on paper."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path as MplPath
from matplotlib.textpath import TextPath
from shapely.geometry.base import BaseGeometry

__all__ = ["Label", "Placed", "path_size", "place_labels"]

_PADDING_PT = 1.0
_BOX_PADDING_PT = 2.2  # of a text in a box of its own, with the box's edge
_DISTANCES_PT = (0.0, 8.0, 14.0, 22.0, 32.0, 44.0, 58.0, 76.0, 100.0, 130.0)
_DIRECTIONS = 12
_ANCHOR_STEP_PT = 40.0
_ANCHORS_MAX = 12
_CROSSED_WEIGHT = 1.0  # a point of map line under the text
_LEADER_WEIGHT = 0.25  # a point of leader
_LEADER_CROSSED = 4.0  # a map line crossed by the leader
_SYMBOL_CROSSED = 12.0  # a symbol crossed by the leader
_OWN_ANCHOR_PT = 1e-3
_CHUNK = 192  # places looked at together, the nearest first


@dataclass(frozen=True)
class Label:
    """A text wanted beside a shape: a line, a point, or several points that share it; in points on paper.

    A boxed text is bold, in a white box with an edge.
    """

    text: str
    shape: BaseGeometry
    size_pt: float = 6.5
    boxed: bool = False

    @property
    def padding_pt(self) -> float:
        """Room around the text."""
        return _BOX_PADDING_PT if self.boxed else _PADDING_PT


@dataclass(frozen=True)
class Placed:
    """Where a label went: its centre, its anchor on the shape, and its box, in points on paper."""

    label: Label
    x_pt: float
    y_pt: float
    anchor_x_pt: float
    anchor_y_pt: float
    box: shapely.Polygon

    @property
    def has_leader(self) -> bool:
        """Whether the text stands off its shape, so that a leader is wanted."""
        return bool(self.box.distance(shapely.Point(self.anchor_x_pt, self.anchor_y_pt)) > 2 * _PADDING_PT)


class _Ground:
    """The map's lines, and their straight pieces, searchable."""

    def __init__(self, lines: Sequence[BaseGeometry]) -> None:
        self.lines = shapely.STRtree(list(lines))
        parts = shapely.get_parts(np.array(list(lines), dtype=object)) if len(lines) else np.array([], dtype=object)
        xy, owner = shapely.get_coordinates(parts, return_index=True)
        joined = np.flatnonzero(owner[1:] == owner[:-1])
        self._start, self._way = xy[joined], xy[joined + 1] - xy[joined]
        self._length = np.hypot(*self._way.T)
        ends = np.stack([self._start, self._start + self._way], axis=1)
        self._pieces = shapely.STRtree([shapely.LineString(pair) for pair in ends])

    def hidden_pt(self, boxes: np.ndarray) -> np.ndarray:
        """Return the length of lines inside each upright box, shape (n, 4), piece by piece.

        Twenty times as fast as general intersections.
        """
        box, piece = self._pieces.query(shapely.box(*boxes.T))
        first, last = _within(self._start[piece], self._way[piece], boxes[box])
        inside = np.maximum(last - first, 0.0) * self._length[piece]
        return np.bincount(box, weights=inside, minlength=len(boxes))

    def crossings(self, stalks: np.ndarray) -> np.ndarray:
        """Return how many lines each straight stalk, shape (n, 2, 2), touches."""
        stalk, _ = self.lines.query(shapely.linestrings(stalks), predicate="intersects")
        return np.bincount(stalk, minlength=len(stalks))


def place_labels(
    labels: Sequence[Label],
    *,
    lines: Sequence[BaseGeometry],
    frame: shapely.Polygon,
    taken: Sequence[BaseGeometry] = (),
) -> list[Placed]:
    """Place labels one after the other, each where it hides least; one without room is left out.

    Parameters
    ----------
    labels : sequence of Label
        In order of importance.
    lines : sequence of geometry
        Map lines, which text should rather not cover, in points on paper.
    frame : Polygon
        The area of the map, an upright rectangle; no label leaves it.
    taken : sequence of geometry
        Areas that no label may cover: the upright rectangles around them.

    Returns
    -------
    list of Placed
        In the order of ``labels``; boxes are disjoint.
    """
    ground, sheet = _Ground(lines), _Taken(np.asarray(frame.bounds), np.array([shape.bounds for shape in taken]))
    placed = []
    for label in labels:
        found = _best_place(label, ground=ground, sheet=sheet)
        if found is not None:
            placed.append(found)
            sheet.texts = np.vstack([sheet.texts, found.box.bounds])
            if found.has_leader:
                leader = [[found.x_pt, found.y_pt], [found.anchor_x_pt, found.anchor_y_pt]]
                sheet.leaders = np.concatenate([sheet.leaders, [leader]])
    return placed


class _Taken:
    """What no label may cover: symbols and texts as boxes (west, south, east, north), leaders as pairs of ends."""

    def __init__(self, frame: np.ndarray, symbols: np.ndarray) -> None:
        self.frame, self.symbols = frame, symbols.reshape(-1, 4)
        self.texts, self.leaders = np.zeros((0, 4)), np.zeros((0, 2, 2))

    def free(self, boxes: np.ndarray, stalks: np.ndarray) -> np.ndarray:
        """Return which candidates lie on the map, cover nothing taken, and have a leader that crosses no text."""
        west, south, east, north = self.frame
        free = (boxes[:, 0] >= west) & (boxes[:, 1] >= south) & (boxes[:, 2] <= east) & (boxes[:, 3] <= north)
        others = np.vstack([self.symbols, self.texts])[None, :, :]
        own = boxes[:, None, :]
        apart = (own[..., 0] > others[..., 2]) | (own[..., 2] < others[..., 0])
        apart |= (own[..., 1] > others[..., 3]) | (own[..., 3] < others[..., 1])
        free &= apart.all(axis=1)
        free &= ~_crosses(self.leaders[None, :], boxes[:, None]).any(axis=1)
        return np.asarray(free & ~_crosses(stalks[:, None], self.texts[None, :]).any(axis=1))


def _crosses(pieces: np.ndarray, boxes: np.ndarray) -> np.ndarray:
    """Return whether straight pieces, shape (..., 2, 2), touch upright boxes, shape (..., 4); broadcast."""
    first, last = _within(pieces[..., 0, :], pieces[..., 1, :] - pieces[..., 0, :], boxes)
    return first <= last


def _within(start: np.ndarray, way: np.ndarray, boxes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the shares of straight pieces at which they enter and leave upright boxes; first > last where they miss.

    Clipping of Liang and Barsky (1984), ACM Transactions on Graphics 3(1), 1-22.
    """
    shape = np.broadcast_shapes(start.shape[:-1], boxes.shape[:-1])
    first, last = np.zeros(shape), np.ones(shape)
    for axis in (0, 1):
        low, high, at, go = boxes[..., axis], boxes[..., axis + 2], start[..., axis], way[..., axis]
        with np.errstate(divide="ignore", invalid="ignore"):
            one, other = (low - at) / go, (high - at) / go
        still, outside = go == 0.0, (at < low) | (at > high)
        first = np.where(still, np.where(outside, 2.0, first), np.maximum(first, np.fmin(one, other)))
        last = np.where(still, last, np.minimum(last, np.fmax(one, other)))
    return first, last


def _best_place(label: Label, *, ground: _Ground, sheet: _Taken) -> Placed | None:
    width, height = _text_size_pt(label.text, label.size_pt, boxed=label.boxed)
    centres, anchors = _candidates(label.shape, width + 2 * label.padding_pt, height + 2 * label.padding_pt)
    half = np.array([width / 2 + label.padding_pt, height / 2 + label.padding_pt])
    boxes = np.hstack([centres - half, centres + half])
    stalks = np.stack([centres, anchors + _OWN_ANCHOR_PT], axis=1)
    length = np.hypot(*(stalks[:, 1] - stalks[:, 0]).T)
    order = np.argsort(length, kind="stable")
    cost = np.full(len(boxes), np.inf)
    for start in range(0, len(order), _CHUNK):
        rows = order[start : start + _CHUNK]
        if _LEADER_WEIGHT * length[rows[0]] > cost.min():
            break  # no place further off can be better
        rows = rows[sheet.free(boxes[rows], stalks[rows])]
        if rows.size:
            hidden = ground.hidden_pt(boxes[rows])
            symbols = _crosses(stalks[rows][:, None], sheet.symbols[None, :]).sum(axis=1)
            crossed = _LEADER_CROSSED * ground.crossings(stalks[rows]) + _SYMBOL_CROSSED * symbols
            cost[rows] = _LEADER_WEIGHT * length[rows] + _CROSSED_WEIGHT * hidden + crossed
    best = int(np.argmin(cost))
    if not np.isfinite(cost[best]):
        return None
    return Placed(
        label=label,
        x_pt=float(centres[best, 0]),
        y_pt=float(centres[best, 1]),
        anchor_x_pt=float(anchors[best, 0]),
        anchor_y_pt=float(anchors[best, 1]),
        box=shapely.box(*boxes[best].tolist()),
    )


def _candidates(shape: BaseGeometry, width: float, height: float) -> tuple[np.ndarray, np.ndarray]:
    """Centres of the text and the anchors they belong to, shape (n, 2) each, nearest to the middle first."""
    if not isinstance(shape, shapely.LineString):
        points = shape if isinstance(shape, shapely.MultiPoint) else shapely.centroid(shape)
        spots = shapely.get_coordinates(points)
    else:
        count = int(np.clip(shape.length // _ANCHOR_STEP_PT, 1, _ANCHORS_MAX))
        share = (np.arange(count) + 0.5) / count
        share = share[np.argsort(np.abs(share - 0.5), kind="stable")]
        spots = shapely.get_coordinates(shapely.line_interpolate_point(shape, share, normalized=True))
    angles = 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    unit = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    # the box's own reach in each direction, so that the distance counts from its edge
    reach = np.minimum(
        width / 2 / np.maximum(np.abs(unit[:, 0]), 1e-9), height / 2 / np.maximum(np.abs(unit[:, 1]), 1e-9)
    )
    steps = [np.zeros((1, 2))]
    steps += [unit * (reach + distance)[:, None] for distance in _DISTANCES_PT[1:]]
    offsets = np.concatenate(steps)
    if not isinstance(shape, shapely.LineString):
        offsets = offsets[1:]  # a point's own symbol stays visible
    centres = (spots[:, None, :] + offsets[None, :, :]).reshape(-1, 2)
    return centres, np.repeat(spots, len(offsets), axis=0)


@lru_cache(maxsize=4096)
def _text_size_pt(text: str, size_pt: float, *, boxed: bool) -> tuple[float, float]:
    font = FontProperties(family="DejaVu Sans", weight="bold" if boxed else "normal")
    written = text.replace("$", r"\$") or " "  # a name out of the data is no formula
    width, height = path_size(TextPath((0, 0), written, size=size_pt, prop=font))
    return width, max(height, 0.75 * size_pt)


def path_size(path: MplPath) -> tuple[float, float]:
    """Return width and height of a path, as its ``get_extents`` does, but for all pieces at once.

    Parameters
    ----------
    path : matplotlib.path.Path
        Of straight lines and quadratic curves, as letters are made of; others cost a call a piece.

    Returns
    -------
    tuple of float
        Zero for an empty path.
    """
    codes, xy = np.asarray(path.codes), np.asarray(path.vertices, dtype=float)
    known = (MplPath.MOVETO, MplPath.LINETO, MplPath.CURVE3, MplPath.CLOSEPOLY)
    if path.codes is None or not np.isin(codes, known).all():
        extents = path.get_extents()
        return float(extents.width), float(extents.height)
    if not len(xy):
        return 0.0, 0.0
    bend = np.flatnonzero(codes == MplPath.CURVE3)[::2]  # each stands twice: control point and end
    on_line = np.isin(codes, (MplPath.MOVETO, MplPath.LINETO))
    on_line[bend + 1] = True
    start, middle, end = xy[bend - 1], xy[bend], xy[bend + 1]
    with np.errstate(divide="ignore", invalid="ignore"):  # straight pieces have no turning point
        turn = np.clip(np.nan_to_num((start - middle) / (start - 2.0 * middle + end)), 0.0, 1.0)
    turned = (1.0 - turn) ** 2 * start + 2.0 * turn * (1.0 - turn) * middle + turn**2 * end
    reached = np.concatenate([xy[on_line], turned])
    width, height = np.ptp(reached, axis=0)
    return float(width), float(height)
