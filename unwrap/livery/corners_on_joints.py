"""Corners of lining that fall on a joint or relief cut: each piece has a part of them, or one piece all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.livery.chart import lay_chart
from unwrap.livery.corner import Corner
from unwrap.livery.corners import ALONG, ON_OUTLINE, SHARP
from unwrap.livery.ground import Ground

# Parts of a corner on either side of a joint are nearer to each other than this on the body, mm.
SAME_PLACE = 5e-3


@dataclass(frozen=True, eq=False)
class Half:
    """Where a panel's side comes to the piece's edge.

    Parameters
    ----------
    carry : int
        The piece.
    at : (2,) float64
        Where on it, mm.
    place : (3,) float64
        Where on the body, mm.
    side : (2,) float64
        A step along the panel's side, away from the edge, mm.
    length : float
        Of the side's first straight, mm.
    along : (2,) float64
        A step along the panel's rim on the edge.
    """

    carry: int
    at: FloatArray
    place: FloatArray
    side: FloatArray
    length: float
    along: FloatArray


def corners_on_joints(ground: Ground, panels: Sequence[shapely.Geometry], reach: float) -> list[Corner]:
    """Corners of the panel inside the lining's outer edge that lie on joints and cuts.

    Parameters
    ----------
    ground : Ground
    panels : sequence of Polygon or MultiPolygon
        The square-cornered panel on each piece.
    reach : float
        How far round each corner the chart must reach, mm.
    """
    halves = [half for number in range(len(panels)) for half in _halves(ground, number, panels[number])]
    halves = [half for half in halves if not _on_free_edge(ground, half.place)]
    out: list[Corner] = []
    while halves:
        half = halves.pop()
        twins = [k for k, other in enumerate(halves) if np.linalg.norm(other.place - half.place) < SAME_PLACE]
        twin = halves.pop(twins[0]) if twins else None
        corner = _corner(ground, half, twin, reach, -1 - len(out))
        if corner is not None:
            out.append(corner)
    return out


def _halves(ground: Ground, number: int, panel: shapely.Geometry) -> list[Half]:
    carry = ground.carries[number]
    edge = carry.outline.boundary
    out = []
    for polygon in shapely.get_parts(panel):
        for ring in (polygon.exterior, *polygon.interiors):
            points = np.asarray(ring.simplify(1e-3).coords)[:-1]
            following = np.roll(points, -1, axis=0)
            on = shapely.distance(edge, shapely.points(points)) < ON_OUTLINE
            lies = on & np.roll(on, -1)
            lies &= shapely.distance(edge, shapely.points(0.5 * (points + following))) < ON_OUTLINE
            for i in np.flatnonzero(on):
                before = int(i) - 1
                if lies[i] == lies[before]:
                    continue
                step, other = following[i] - points[i], points[before] - points[i]
                side, along = (other, step) if lies[i] else (step, other)
                place = carry.to_surface(points[i : i + 1])[0]
                out.append(Half(number, points[i], place, side, float(np.linalg.norm(side)), along))
    return out


def _on_free_edge(ground: Ground, place: FloatArray) -> bool:
    """Whether a place is on an edge of the whole ground, where a line runs off and turns no corner."""
    for loop in ground.loops:
        a = ground.vertices[loop]
        way = np.roll(a, -1, axis=0) - a
        size = np.maximum(np.einsum("nj,nj->n", way, way), 1e-300)
        share = np.clip(np.einsum("nj,nj->n", place - a, way) / size, 0.0, 1.0)
        if np.linalg.norm(a + share[:, None] * way - place, axis=1).min() < ON_OUTLINE:
            return True
    return False


def _corner(ground: Ground, half: Half, twin: Half | None, reach: float, ring: int) -> Corner | None:
    """The corner between the sides on both pieces; on one, between its side and the joint."""
    face, weights, step = _step(ground, half, half.side)
    chart = lay_chart(ground, face, weights[0], reach, step)
    first = _way(ground, chart, half, half.side)
    # Without a twin the panel's other side runs along the joint.
    second = _way(ground, chart, half, half.along) if twin is None else _way(ground, chart, twin, twin.side)
    if first is None or second is None:
        return None
    interior = float(np.arccos(np.clip(first @ second, -1.0, 1.0)))
    if interior > np.pi - SHARP:
        return None
    other = float(np.linalg.norm(half.along)) if twin is None else twin.length
    side = 2.0 * min(half.length, other)
    sides = np.stack([first, second])
    return Corner(half.carry, (ring, 0, 0), half.at, half.place, interior, side, chart, sides)


def _step(ground: Ground, half: Half, way: FloatArray) -> tuple[int, FloatArray, FloatArray]:
    """The ground's face at a half, weights of its place in it, and a step in space along a way."""
    carry = ground.carries[half.carry]
    size = max(float(np.linalg.norm(way)), 1e-300)
    points = np.stack([half.at, half.at + way * (min(ALONG, 0.5 * size) / size)])
    part, weights, _ = carry.to_part(points)
    mine = (ground.owner == half.carry) & (ground.face == carry.flat.face[part[0]])
    on_face = np.einsum("nc,ncw->nw", weights, carry.part_weights[part])
    place = np.einsum("nc,ncj->nj", weights, carry.on_surface[part])
    return int(np.flatnonzero(mine)[0]), on_face, place[1] - place[0]


def _way(ground: Ground, chart: FloatArray, half: Half, way: FloatArray) -> FloatArray | None:
    """Unit direction in the chart of a way on a piece's sheet, where the chart reaches it."""
    carry = ground.carries[half.carry]
    size = max(float(np.linalg.norm(way)), 1e-300)
    points = np.stack([half.at, half.at + way * (min(ALONG, 0.5 * size) / size)])
    part, weights, _ = carry.to_part(points)
    on_face = np.einsum("nc,ncw->nw", weights, carry.part_weights[part])
    drawn = np.einsum("nw,nwj->nj", on_face, chart[ground.owner == half.carry][carry.flat.face[part]])
    if not np.isfinite(drawn).all():
        return None
    # The corner is the chart's origin, whichever piece it is seen from.
    return drawn[1] / max(float(np.linalg.norm(drawn[1])), 1e-300)
