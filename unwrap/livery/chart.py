"""A chart: the ground round one place laid out true in distance and direction from it.

Straight rays leave the place in every direction and unroll the faces that they cross;
each vertex is drawn where its ray ends. On ground that can lie flat this is the ground
itself, laid flat; on a dome it is what a tape measure laid from the place would show.

References
----------
The map is the inverse of the exponential map: R. Schmidt, C. Grimm, B. Wyvill,
"Interactive decal compositing with discrete exponential maps", SIGGRAPH 2006, use it
with distances added up along mesh edges; here the rays are straight over the faces.
"""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.livery.beams import Beams, follow
from unwrap.livery.ground import Ground

# A face whose chart is longer or shorter than the face itself by more than this share
# lies where rays that went different ways round meet; it is left out.
FOLDED = 0.25
# How far inside its face a chart's origin must be, as a barycentric weight.
INSIDE = 1e-6


def lay_chart(ground: Ground, face: int, weights: FloatArray, radius: float, right: FloatArray) -> FloatArray:
    """Chart of the ground round a place.

    Parameters
    ----------
    ground : Ground
    face : int
        The ground's face that the place is on.
    weights : (3,) float64
        Barycentric weights of the place.
    radius : float
        How far the chart has to reach, mm.
    right : (3,) float64
        The chart's x axis: a direction in space, laid square onto the face.

    Returns
    -------
    (m, 3, 2) float64
        Where each face's corners are, mm; NaN for faces that it does not reach.
    """
    weights = np.clip(weights, INSIDE, None)
    weights = weights / weights.sum()
    corners = ground.corners[face]
    normal = ground.normals[face]
    x = right - (right @ normal) * normal
    x = x / np.linalg.norm(x)
    axes = np.stack([x, np.cross(normal, x)])
    first = (corners - weights @ corners) @ axes.T
    start = _all_round(face, first)
    visits = follow(ground, start, radius, radial=True)
    return _chart_of(ground, visits, face, first)


def _all_round(face: int, first: FloatArray) -> Beams:
    """Three beams from the origin that fill the face, one towards each edge."""
    ones = np.ones((3, 1))
    rays = np.cross(np.array([0.0, 0.0, 1.0]), np.hstack([first, ones]))
    rays /= np.linalg.norm(rays[:, :2], axis=1, keepdims=True)
    # The ray to corner k has the side of corner k + 1 on its left, where this line is positive.
    return Beams(
        np.arange(3),
        np.full(3, face),
        np.broadcast_to(first, (3, 3, 2)).copy(),
        np.full(3, -1),
        -np.roll(rays, -1, axis=0),
        rays,
        np.tile([0.0, 0.0, 1.0], (3, 1)),
    )


def _chart_of(ground: Ground, visits: Beams, face: int, first: FloatArray) -> FloatArray:
    """Vertices where the nearest ray that sees them puts them, then faces from their vertices."""
    at = np.full((len(ground.vertices), 2), np.nan)
    best = np.full(len(ground.vertices), np.inf)
    vertex = ground.faces[visits.face].ravel()
    place = visits.corners.reshape(-1, 2)
    inside = np.ones(len(vertex), dtype=bool)
    for line in (np.repeat(visits.left, 3, axis=0), np.repeat(visits.right, 3, axis=0)):
        inside &= place[:, 0] * line[:, 0] + place[:, 1] * line[:, 1] + line[:, 2] >= -1e-9
    distance = np.where(inside, np.hypot(*place.T), np.inf)
    order = np.argsort(distance, kind="stable")
    order = order[np.isfinite(distance[order])]
    seen, index = np.unique(vertex[order], return_index=True)
    at[seen], best[seen] = place[order[index]], distance[order[index]]
    at[ground.faces[face]] = first
    reached = np.zeros(len(ground.faces), dtype=bool)
    reached[visits.face] = True
    _fill_shadows(ground, at, reached)
    chart = at[ground.faces]
    chart[~reached] = np.nan
    return _without_folds(ground, chart)


def _fill_shadows(ground: Ground, at: FloatArray, reached: np.ndarray) -> None:
    """Vertices that no ray sees (behind a flare's vertex): laid from a neighbouring face."""
    for _ in range(8):
        missing = np.isnan(at[ground.faces, 0])
        todo = np.flatnonzero(reached & (missing.sum(axis=1) == 1))
        if len(todo) == 0:
            return
        k = np.argmax(missing[todo], axis=1)
        row = np.arange(len(todo))
        flat = ground.local[todo]
        a, b, c = flat[row, (k + 1) % 3], flat[row, (k + 2) % 3], flat[row, k]
        base, tip = b - a, c - a
        size = (base**2).sum(axis=1)
        u = (tip * base).sum(axis=1) / size
        v = (base[:, 0] * tip[:, 1] - base[:, 1] * tip[:, 0]) / size
        p = at[ground.faces[todo, (k + 1) % 3]]
        q = at[ground.faces[todo, (k + 2) % 3]]
        way = q - p
        at[ground.faces[todo, k]] = (
            p + u[:, None] * way + v[:, None] * np.stack([-way[:, 1], way[:, 0]], axis=1)
        )


def _without_folds(ground: Ground, chart: FloatArray) -> FloatArray:
    """Leave out faces that the chart turns over or stretches badly."""
    true = np.linalg.norm(np.roll(ground.local, -1, axis=1) - ground.local, axis=2)
    drawn = np.linalg.norm(np.roll(chart, -1, axis=1) - chart, axis=2)
    a, b, c = np.moveaxis(chart, 1, 0)
    area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    with np.errstate(invalid="ignore", divide="ignore"):
        folded = (np.abs(drawn / true - 1.0) > FOLDED).any(axis=1) | ~(area > 0)
    chart[folded] = np.nan
    return chart
