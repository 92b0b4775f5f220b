"""Artwork: what was drawn on a view, thrown on the body and carried to the pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np
import shapely
import shapely.affinity
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from unwrap.arrays import FloatArray
from unwrap.body.body import Body
from unwrap.body.views import View
from unwrap.livery.carry import Carry, nearest_on
from unwrap.livery.chart import lay_chart
from unwrap.livery.drawing import Drawing, Shape
from unwrap.livery.fit import curves_of_area
from unwrap.livery.ground import Ground
from unwrap.livery.paint import Paint
from unwrap.livery.shading import Shifted, dots_on_piece, mean_colour
from unwrap.livery.strokes import drawn_strokes
from unwrap.livery.svg_read import read_drawing
from unwrap.livery.throw import Target, aim

# Losses below this share of a shape, and below this area (mm^2), are not worth a word.
SMALL_SHARE = 0.005
SMALL_AREA = 0.02

Measure = Literal["view", "surface"]


def lay_artwork(
    body: Body,
    carries: Sequence[Carry],
    view: View,
    svg_path: Path | str,
    measure: Measure = "view",
) -> tuple[list[tuple[Paint, ...]], tuple[str, ...]]:
    """Throw the livery group of a view drawing on the body and carry it to the pieces.

    Parameters
    ----------
    body : Body
        What may hide a region from the view.
    carries : sequence of Carry
        All regions that the artwork may fall on.
    view : View
        The view that was drawn on.
    svg_path : path
        The drawing.
    measure : str
        "view": a circle drawn on the side view is a circle seen from the side.
        "surface": drawn lengths are kept over the surface, from the middle of what is drawn
        on regions that hang together on the body.

    Returns
    -------
    paints : list of tuple of Paint
        One tuple per carry, in the drawing's painting order.
    remarks : tuple of str
        What the drawing loses, and why.

    Raises
    ------
    BadInput
        If the drawing cannot be used; see `unwrap.livery.svg_read.read_drawing`.
    """
    name = Path(svg_path).name
    drawing = read_drawing(svg_path, view.outline.bounds)
    targets = [aim(body, carry, view) for carry in carries]
    if measure == "surface":
        paints, lost = _over_surfaces(targets, view, drawing, name)
    else:
        paints = [_thrown(target, drawing) for target in targets]
        lost = [said for shape in drawing.shapes for said in _losses(shape, targets, view, name)]
    return paints, drawing.remarks + tuple(lost)


def _thrown(target: Target, drawing: Drawing) -> tuple[Paint, ...]:
    paints = []
    for shape in drawing.shapes:
        if shape.area.intersects(target.ground):
            area = target.carry.area_to_flat(shape.area, target.chart, target.seen)
            if not area.is_empty:
                paints.append(_paint(shape, area, target.carry, target.chart, target.seen))
    return tuple(paints)


def _paint(
    shape: Shape,
    area: shapely.Geometry,
    carry: Carry,
    chart: FloatArray,
    seen: np.ndarray | None = None,
    shift: FloatArray | None = None,
) -> Paint:
    """A shape's ground on a piece, as the stroke that it was drawn with where it still is one there."""
    label = f"artwork: {shape.label}"
    if shape.shade is not None:
        shade = shape.shade if shift is None else Shifted(shape.shade, shift)
        picture = dots_on_piece(carry, chart, area, shade)
        colour = mean_colour(picture, area)
        return Paint("artwork", colour, area, curves_of_area(area), label=label, picture=picture)
    if shape.stroke is not None:
        lines = shape.stroke.lines
        if shift is not None:
            lines = shapely.affinity.translate(lines, *shift)
        found = drawn_strokes(
            area, carry.lines_to_flat(lines, chart, seen), shape.stroke.cap, shape.stroke.join, carry.outline
        )
        if found is not None:
            curves, width = found
            cap, join = shape.stroke.cap, shape.stroke.join
            return Paint("artwork", shape.colour, area, curves, width, label, cap=cap, join=join)
    return Paint("artwork", shape.colour, area, curves_of_area(area), label=label)


def _losses(shape: Shape, targets: Sequence[Target], view: View, name: str) -> list[str]:
    """Sentences about the parts of a shape that are not printed."""
    lost = shapely.difference(shape.area, shapely.union_all([target.ground for target in targets]))
    steep = shapely.intersection(lost, shapely.union_all([target.steep for target in targets]))
    off = shapely.difference(lost, view.outline)
    rest = lost.area - steep.area - off.area
    out = []
    for area, why in (
        (off.area, "lies beside the body"),
        (steep.area, "falls on faces turned over 75 degrees from the view"),
        (rest, "falls on no region, or on one that something hides"),
    ):
        if area > SMALL_AREA and area > SMALL_SHARE * shape.area.area:
            share = 100.0 * area / shape.area.area
            out.append(
                f'artwork "{name}": {share:.0f} % of {shape.label} ({area:.2f} of '
                f"{shape.area.area:.2f} mm2) {why} and is not printed."
            )
    return out


def _over_surfaces(
    targets: Sequence[Target], view: View, drawing: Drawing, name: str
) -> tuple[list[tuple[Paint, ...]], list[str]]:
    """Lay each shape on those regions, joined on the body, that it falls on most."""
    groups = _joined_on_body(targets)
    grounds = [shapely.union_all([targets[i].ground for i in group]) for group in groups]
    chosen = []
    for shape in drawing.shapes:
        shares = [shapely.intersection(shape.area, ground).area for ground in grounds]
        away = [-shape.area.distance(ground) if not ground.is_empty else -np.inf for ground in grounds]
        chosen.append(max(range(len(groups)), key=lambda k: (shares[k], away[k])))
    paints: list[tuple[Paint, ...]] = [() for _ in targets]
    lost: list[str] = []
    for k, group in enumerate(groups):
        shapes = tuple(s for s, choice in zip(drawing.shapes, chosen, strict=True) if choice == k)
        laid, said = _over_surface([targets[i] for i in group], view, replace(drawing, shapes=shapes), name)
        lost += said
        for i, group_paints in zip(group, laid, strict=True):
            paints[i] = group_paints
    return paints, lost


def _joined_on_body(targets: Sequence[Target]) -> list[list[int]]:
    """Numbers of the regions that hang together on the body, group by group."""
    ground = Ground([target.carry for target in targets])
    face, k = np.nonzero(ground.across[0] >= 0)
    pairs = np.stack([ground.owner[face], ground.owner[ground.across[0][face, k]]])
    n = len(targets)
    graph = coo_matrix((np.ones(pairs.shape[1]), pairs), shape=(n, n))
    label = connected_components(graph, directed=False)[1]
    return [np.flatnonzero(label == one).tolist() for one in np.unique(label)]


def _over_surface(
    targets: Sequence[Target], view: View, drawing: Drawing, name: str
) -> tuple[list[tuple[Paint, ...]], list[str]]:
    """Lay the drawing in a chart from its middle, so that its lengths are kept over the surface."""
    nothing: list[tuple[Paint, ...]] = [() for _ in targets]
    if not drawing.shapes:
        return nothing, []
    whole = shapely.union_all([shape.area for shape in drawing.shapes])
    middle = np.array(next(iter(whole.envelope.centroid.coords)))
    ground_seen = shapely.union_all([target.ground for target in targets])
    if ground_seen.is_empty:
        return nothing, [f'artwork "{name}": no region faces this view, so nothing of it is printed.']
    spot = shapely.Point(middle)
    if not ground_seen.contains(spot):
        spot = shapely.get_point(shapely.shortest_line(ground_seen, spot), 0)
    anchor = np.array(spot.coords[0])
    ground = Ground([target.carry for target in targets])
    face, weights = _place(ground, targets, view, anchor)
    reach = float(np.hypot(*np.abs(np.array(whole.bounds).reshape(2, 2) - anchor).max(axis=0))) + 0.5
    chart = lay_chart(ground, face, weights, reach, view.across)
    out, kept = [], dict.fromkeys(range(len(drawing.shapes)), 0.0)
    for i, target in enumerate(targets):
        mine = chart[ground.owner == i]
        group = []
        for number, shape in enumerate(drawing.shapes):
            moved = shapely.affinity.translate(shape.area, -anchor[0], -anchor[1])
            area = target.carry.area_to_flat(moved, mine)
            if not area.is_empty:
                kept[number] += target.carry.area_to_chart(area, mine).area
                group.append(_paint(shape, area, target.carry, mine, shift=-anchor))
        out.append(tuple(group))
    lost = []
    for number, shape in enumerate(drawing.shapes):
        area = shape.area.area - kept[number]
        if area > SMALL_AREA and area > SMALL_SHARE * shape.area.area:
            lost.append(
                f'artwork "{name}": {100.0 * area / shape.area.area:.0f} % of {shape.label} '
                f"({area:.2f} of {shape.area.area:.2f} mm2) runs off the regions and is not printed."
            )
    return out, lost


def _place(
    ground: Ground, targets: Sequence[Target], view: View, anchor: FloatArray
) -> tuple[int, FloatArray]:
    """The ground's face under a point of the view, and the place in it."""
    seen = [i for i, target in enumerate(targets) if target.ground.distance(shapely.Point(anchor)) < 1e-6]
    target = targets[seen[0]] if seen else targets[0]
    flat = np.concatenate([target.chart, np.zeros((*target.chart.shape[:2], 1))], axis=2)
    usable = np.flatnonzero(np.isfinite(flat).all(axis=(1, 2)))
    face, weights, _ = nearest_on(flat[usable], np.array([[*anchor, 0.0]]))
    number = targets.index(target)
    mine = np.flatnonzero((ground.owner == number) & (ground.face == usable[face[0]]))
    return int(mine[0]), weights[0]
