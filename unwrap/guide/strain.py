"""The strain picture: what each piece asks of the film, where, and in which direction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, TriMesh
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline
from matplotlib.tri import Triangulation

from unwrap.arrays import FloatArray
from unwrap.film import Film
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.flatten.strain import crosses
from unwrap.guide.report import per_cent
from unwrap.guide.tones import telling_strain, tones
from unwrap.guide.upright import upright
from unwrap.sheet.outline import direction_on
from unwrap.sheet.piece import Piece

INK, QUIET, HATCH = "#2b2b2e", "#6c6c72", "#ffffff"
MM = 1.0 / 25.4

# Picture page, mm.
PAGE, EDGE, GUTTER = 185.0, 5.0, 8.0
FOOTER, KEY = 9.0, 43.0
LEAST_PANEL, MOST_HEIGHT = 53.0, 130.0

KEY_TEXT = "film strain on the model, %; hatched where beyond the take-up"
ARROW_TEXT = (
    "Arrows pointing apart: the film must stretch that way; brush it outward along them.  Arrows pointing\n"
    "together: it must shrink that way; ease the fullness in.  The longer the arrow, the more (by square\n"
    "root, within a piece).  Pieces stand as on the model, top upwards.  Dashed edge: joint."
)

# Strain below this (fraction) is drawn without crosses: nobody can brush it.
NOTHING = 5e-4
CROSS_SPACING = 7.5


def draw_strain(
    pieces: Sequence[Piece],
    path: str | Path,
    *,
    dpi: int = 160,
) -> Path:
    """Draw every piece's strain as one PNG; one with relief cuts as it would be without them too.

    Parameters
    ----------
    pieces : sequence of Piece
        In the order to show them.
    path : str or Path
        Where to write the picture.
    dpi : int
        Dots per inch.

    Returns
    -------
    Path
        The file written.
    """
    panels = [state for piece in pieces for state in _states(upright(piece))]
    ends = _scale_ends([flat for _, flat, _ in panels])
    placed, height = _place([flat for _, flat, _ in panels])
    figure = Figure(figsize=(PAGE * MM, height * MM), dpi=dpi, facecolor="white")
    FigureCanvasAgg(figure)
    if pieces:
        _key(figure, pieces[0].flat.film, ends, height)
    for (piece, flat, title), (x, y, wide, high, scale) in zip(panels, placed, strict=True):
        _panel(figure, piece, flat, title, (x, y, wide, high), scale, ends, height)
    path = Path(path)
    with matplotlib.rc_context({"hatch.linewidth": 0.45, "font.family": "DejaVu Sans"}):
        figure.savefig(path, format="png", dpi=dpi)
    return path


def _states(piece: Piece) -> list[tuple[Piece, FlatPiece, str]]:
    uncut = piece.flat.uncut
    if uncut is None:
        return [(piece, piece.flat, piece.name)]
    front, up = direction_on(uncut, np.array([1.0, 0.0, 0.0])), direction_on(uncut, np.array([0.0, 0.0, 1.0]))
    plain = upright(replace(piece, flat=uncut, front=front, up=up))
    return [
        (plain, plain.flat, f"{piece.name}, before relief"),
        (piece, piece.flat, f"{piece.name}, with relief"),
    ]


def _scale_ends(flats: Sequence[FlatPiece]) -> tuple[float, float]:
    """One scale for all pieces: a little past the film's limits, or to the worst 0.1 %."""
    low, high = 0.002, 0.002
    for flat in flats:
        grow, shrink = flat.stretch[:, 0] - 1.0, 1.0 - flat.stretch[:, 1]
        high = max(high, 1.5 * flat.film.stretch, float(np.quantile(grow, 0.999)))
        low = max(low, 1.5 * flat.film.compression, float(np.quantile(shrink, 0.999)))
    return -low, high


def _place(flats: Sequence[FlatPiece]) -> tuple[list[tuple[float, float, float, float, float]], float]:
    """Put panels in rows: x, y from the top, width, height (all mm on the page) and page mm per mm."""
    sizes = [np.ptp(flat.points, axis=0) for flat in flats]
    widest = max((float(size[0]) for size in sizes), default=1.0)
    common = min(1.0, (PAGE - 2 * EDGE) / widest)
    placed: list[tuple[float, float, float, float, float]] = []
    x, y, row = EDGE, KEY, 0.0
    for flat, size in zip(flats, sizes, strict=True):
        # Small pieces are enlarged until their strain can be read.
        scale = max(common, min(LEAST_PANEL / float(size.max()), 4.0))
        scale = min(scale, MOST_HEIGHT / float(size[1]), (PAGE - 2 * EDGE) / float(size[0]))
        wide, high = max(float(size[0]) * scale, LEAST_PANEL), float(size[1]) * scale
        if x > EDGE and x + wide > PAGE - EDGE + 1e-6:
            x, y, row = EDGE, y + row, 0.0
        placed.append((x, y, wide, high, scale))
        x += wide + GUTTER
        row = max(row, _header(flat) + high + FOOTER + GUTTER)
    return placed, y + row + 2.0


def _panel(
    figure: Figure,
    piece: Piece,
    flat: FlatPiece,
    title: str,
    box: tuple[float, float, float, float],
    scale: float,
    ends: tuple[float, float],
    page_height: float,
) -> None:
    x, y, wide, high = box
    low = flat.points.min(axis=0)
    header = _header(flat)
    total = header + high + FOOTER
    ax = figure.add_axes((x / PAGE, 1.0 - (y + total) / page_height, wide / PAGE, total / page_height))
    ax.set_xlim(float(low[0]), float(low[0]) + wide / scale)
    ax.set_ylim(float(low[1]) - FOOTER / scale, float(low[1]) + (high + header) / scale)
    ax.set_axis_off()
    _faces(ax, flat, ends)
    _joints(ax, piece, flat)
    _crosses(ax, flat, scale)
    top, left = float(low[1]) + high / scale, float(low[0])
    ax.text(left, top + (header - 5.0) / scale, title, color=INK, fontsize=9, fontweight="bold")
    text = _figures_text(flat)
    ax.text(left, top + (header - 6.4) / scale, text, color=INK, fontsize=6.2, linespacing=1.3, va="top")
    _scale_bar(ax, left, float(low[1]) - 5.0 / scale, wide / scale, scale)
    _front_arrow(ax, piece, left + wide / scale, float(low[1]) - 5.0 / scale, scale)


def _header(flat: FlatPiece) -> float:
    """Height of a panel's title and figures, mm."""
    return 8.8 + 2.9 * (_figures_text(flat).count("\n") + 1)


def _figures_text(flat: FlatPiece) -> str:
    grow, shrink = flat.stretch_figures, flat.compression_figures
    if max(grow.worst, shrink.worst) < NOTHING:
        return "lies flat: nothing to stretch or shrink"
    extent = (1.0 + grow.worst) / (1.0 - shrink.worst) - 1.0
    # With large openings nothing can be proved: a bound of nothing says nothing.
    bound = f"; uncut at least {per_cent(flat.bound - 1.0)}" if flat.bound - 1.0 > NOTHING else ""
    verdict = "the film takes it" if flat.within else f"beyond the film on {per_cent(flat.area_beyond)} of it"
    return (
        f"stretch: worst {per_cent(grow.worst)}, 99th {per_cent(grow.p99)}, mean {per_cent(grow.mean)}\n"
        f"shrink: worst {per_cent(shrink.worst)}, 99th {per_cent(shrink.p99)}, mean {per_cent(shrink.mean)}\n"
        f"range {per_cent(extent)}{bound}\n{verdict}"
    )


def _faces(ax: Axes, flat: FlatPiece, ends: tuple[float, float]) -> None:
    corners = flat.points[flat.faces]
    colours = tones(telling_strain(flat.stretch, flat.film), flat.film, ends)
    # Every face has corners of its own, all of one colour: a hundred thousand faces are drawn
    # in one call so, and nothing shows between them.
    x, y = corners.reshape(-1, 2).T
    mesh = Triangulation(x, y, np.arange(3 * len(corners)).reshape(-1, 3))
    ax.add_collection(TriMesh(mesh, facecolors=np.repeat(colours, 3, axis=0)), autolim=False)
    if flat.beyond.any():
        hatched = _compound(corners[flat.beyond])
        # Added as a plain artist: the limits are set, and to seek them in the hatched faces takes long.
        ax.add_artist(PathPatch(hatched, facecolor="none", edgecolor=HATCH, hatch="//////", linewidth=0.0))
    ax.add_collection(LineCollection(_rim(flat), colors=INK, linewidths=0.7), autolim=False)


def _compound(corners: FloatArray) -> Outline:
    points = np.concatenate([corners, corners[:, :1]], axis=1).reshape(-1, 2)
    codes = np.tile([Outline.MOVETO, Outline.LINETO, Outline.LINETO, Outline.CLOSEPOLY], len(corners))
    return Outline(points, codes)


def _rim(flat: FlatPiece) -> list[FloatArray]:
    """Edges that one face alone has."""
    edges = flat.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    _, first, count = np.unique(np.sort(edges, axis=1), axis=0, return_index=True, return_counts=True)
    return list(flat.points[edges[first[count == 1]]])


def _joints(ax: Axes, piece: Piece, flat: FlatPiece) -> None:
    for joint in piece.patch.joints:
        for side in (joint.first, joint.second):
            here = {int(v): i for i, v in enumerate(flat.vertex) if v >= 0}
            line = flat.points[[here[int(v)] for v in side if int(v) in here]]
            ax.plot(line[:, 0], line[:, 1], color=INK, linewidth=1.6, dashes=(4, 2.5))


def _crosses(ax: Axes, flat: FlatPiece, scale: float) -> None:
    """Mean strain over the cells of an even grid, as arrows along its two directions."""
    middles, directions, stretch = crosses(flat.surface, flat.points, flat.faces)
    largest = max(float(np.abs(stretch - 1.0).max()), NOTHING)
    if largest <= NOTHING:
        return
    spacing = min(CROSS_SPACING / scale, float(np.ptp(flat.points, axis=0).max()) / 6.0)
    cell = np.floor((middles - flat.points.min(axis=0)) / spacing).astype(np.int64)
    _, owner = np.unique(cell, axis=0, return_inverse=True)
    owner = owner.ravel()
    # Strains are averaged as tensors: directions alone have no sign to average by.
    tensor = np.einsum("mk,mki,mkj->mij", stretch - 1.0, directions, directions)
    weight = np.bincount(owner, weights=flat.areas)
    mean = np.stack(
        [
            np.bincount(owner, weights=flat.areas * tensor[:, i, j]) / weight
            for i, j in ((0, 0), (0, 1), (1, 1))
        ],
        axis=1,
    )
    at = np.stack([np.bincount(owner, weights=flat.areas * middles[:, i]) / weight for i in (0, 1)], axis=1)
    strain, ways = np.linalg.eigh(mean[:, [0, 1, 1, 2]].reshape(-1, 2, 2))
    reference = max(float(np.abs(strain).max()), NOTHING)
    segments: list[FloatArray] = []
    for k in (0, 1):
        size = strain[:, k]
        shown = np.abs(size) > 0.06 * reference
        reach = 0.46 * spacing * np.sqrt(np.abs(size[shown]) / reference)[:, None]
        segments.extend(_arrows(at[shown], ways[shown, :, k], reach, size[shown] > 0))
    for colour, width in (("white", 2.4), (INK, 0.8)):
        ax.add_collection(
            LineCollection(
                segments, colors=colour, linewidths=width, capstyle="round", clip_on=False, zorder=3
            )
        )


def _arrows(at: FloatArray, way: FloatArray, reach: FloatArray, grows: FloatArray) -> list[FloatArray]:
    """Double arrows: heads at the ends pointing outward to grow, inward to shrink."""
    side = np.column_stack([-way[:, 1], way[:, 0]])
    found = [np.stack([at - reach * way, at + reach * way], axis=1)]
    back = np.where(grows, -1.0, 1.0)[:, None]
    for end in (-1.0, 1.0):
        tip = at + end * reach * way * np.where(grows, 1.0, 0.45)[:, None]
        for turn in (-1.0, 1.0):
            barb = tip + end * back * 0.32 * reach * way + turn * 0.24 * reach * side
            found.append(np.stack([tip, barb], axis=1))
    return list(np.concatenate(found))


def _scale_bar(ax: Axes, left: float, y: float, room: float, scale: float) -> None:
    length = max((b for b in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0) if b <= 0.45 * room), default=1.0)
    ax.plot([left, left + length], [y, y], color=INK, linewidth=1.2, solid_capstyle="butt")
    for x in (left, left + length):
        ax.plot([x, x], [y - 0.9 / scale, y + 0.9 / scale], color=INK, linewidth=0.9)
    ax.text(left + length + 1.5 / scale, y, f"{length:.0f} mm", color=INK, fontsize=6, va="center")


def _front_arrow(ax: Axes, piece: Piece, right: float, y: float, scale: float) -> None:
    if not piece.front.any():
        return
    way = piece.front / np.linalg.norm(piece.front)
    middle = np.array([right - 6.0 / scale, y])
    start, tip = middle - 4.5 / scale * way, middle + 4.5 / scale * way
    ax.annotate(
        "",
        xy=tuple(tip),
        xytext=tuple(start),
        arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.1},
    )
    ax.text(middle[0] - 7.5 / scale, y, "front", color=INK, fontsize=6, ha="right", va="center")


def _key(figure: Figure, film: Film, ends: tuple[float, float], page_height: float) -> None:
    """The colour scale in per cent, the film's window marked on it.

    The window takes the middle of the bar and each side beyond it a quarter, so that all
    three can be read whatever their widths.
    """
    low, high = ends
    top = 9.0
    ax = figure.add_axes((EDGE / PAGE, 1.0 - (top + 6.0) / page_height, 0.62, 5.0 / page_height))
    first, last = 0.27, 0.73
    marks = np.array([low, -film.compression, 0.0, film.stretch, high])
    whole = film.compression + film.stretch
    zero = first + (last - first) * (film.compression / whole if whole > 0 else 0.5)
    places = np.array([0.0, first, zero, last, 1.0])
    # Just off a limit the colour is the one beyond it, also at the limit itself.
    nudges = (-1e-9, 0.0, 0.0, 1e-9)
    for k, nudge in enumerate(nudges):
        run = np.linspace(marks[k], marks[k + 1], 300) + nudge
        if places[k + 1] > places[k]:
            extent = (places[k], places[k + 1], 0.0, 1.0)
            ax.imshow(tones(run, film, ends)[None], extent=extent, aspect="auto")
    ax.set_xlim(0.0, 1.0)
    for start, end in ((0.0, first), (last, 1.0)):
        box = np.array([[start, 0], [end, 0], [end, 1], [start, 1], [start, 0]])
        ax.add_patch(PathPatch(Outline(box), facecolor="none", edgecolor=HATCH, hatch="//////", linewidth=0))
    shown = np.flatnonzero(np.diff(places, append=2.0) > 0.0)
    ax.set_xticks(
        places[shown], [f"{100 * m:+.1f}" if m else "0" for m in marks[shown]], fontsize=6.5, color=INK
    )
    ax.set_yticks([])
    ax.tick_params(length=2, color=INK)
    for spine in ax.spines.values():
        spine.set_linewidth(0.6)
        spine.set_color(INK)
    for x in (first, last):
        ax.plot([x, x], [0, 1.35], color=INK, linewidth=0.8, clip_on=False)
    for x, text, side in (
        (0.0, "must shrink too much", "left"),
        (0.5, "the film takes this up", "center"),
        (1.0, "must stretch too much", "right"),
    ):
        ax.text(x, 1.3, text, fontsize=6.5, ha=side, va="bottom", color=INK)
    _say(figure, EDGE / PAGE, top + 12.0, KEY_TEXT, page_height, QUIET)
    _say(figure, EDGE / PAGE, top + 17.0, ARROW_TEXT, page_height, INK)


def _say(figure: Figure, x: float, down: float, text: str, page_height: float, colour: str) -> None:
    figure.text(x, 1.0 - down / page_height, text, fontsize=6.5, color=colour, va="top", linespacing=1.5)
