"""The nearest place on a mesh to a point."""

from __future__ import annotations

import numpy as np

from unwrap.arrays import FloatArray


def nearest_on_faces(corners: FloatArray, point: FloatArray) -> tuple[int, FloatArray, float]:
    """Find the nearest face to a point.

    Parameters
    ----------
    corners : (m, 3, 3) float64
        Corner positions per face, mm; m >= 1.
    point : (3,) float64
        mm.

    Returns
    -------
    face : int
        Its index.
    at : (3,) float64
        The nearest place on it, mm.
    distance : float
        mm.
    """
    # corner by corner: along an axis of three, arrays are gathered up far more slowly
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    # no face can be nearer than the box round it, nor farther than its middle; few pass this sieve
    box = _square(np.maximum(np.maximum(low - point, point - high), 0.0))
    could = np.flatnonzero(box <= (1 + 1e-9) * _square((a + b + c) / 3.0 - point).min())
    places = closest_points(corners[could], np.broadcast_to(point, (len(could), 3)))
    distance = np.linalg.norm(places - point, axis=1)
    best = int(distance.argmin())
    return int(could[best]), places[best], float(distance[best])


def _square(way: FloatArray) -> FloatArray:
    square: FloatArray = np.einsum("md,md->m", way, way)
    return square


def distances(corners: FloatArray, points: FloatArray) -> FloatArray:
    """Exact distance of each of a few points from the nearest of many faces.

    Parameters
    ----------
    corners : (m, 3, 3) float64
        Corner positions per face, mm.
    points : (k, 3) float64
        mm.

    Returns
    -------
    (k,) float64
        mm.
    """
    return np.array([nearest_on_faces(corners, point)[2] for point in points], dtype=np.float64)


def closest_points(corners: FloatArray, points: FloatArray) -> FloatArray:
    """Closest place on each triangle to the point that goes with it.

    Parameters
    ----------
    corners : (m, 3, 3) float64
        Triangles, mm.
    points : (m, 3) float64
        One point per triangle, mm.

    Returns
    -------
    (m, 3) float64
        mm.

    Notes
    -----
    Inside the triangle's prism the foot of the perpendicular, else the closest place
    on one of its three edges.
    """
    a, b, c = np.moveaxis(corners, 1, 0)
    normal = np.cross(b - a, c - a)
    square = np.einsum("ij,ij->i", normal, normal)
    safe = np.where(square > 0, square, 1.0)
    foot = points - normal * (np.einsum("ij,ij->i", points - a, normal) / safe)[:, None]
    inside = square > 0
    best = np.full(len(points), np.inf)
    place = np.zeros_like(foot)
    for start, end in ((a, b), (b, c), (c, a)):
        along = end - start
        inside &= np.einsum("ij,ij->i", np.cross(along, foot - start), normal) >= 0
        length = np.einsum("ij,ij->i", along, along)
        share = np.einsum("ij,ij->i", points - start, along) / np.where(length > 0, length, 1.0)
        there = start + np.clip(share, 0.0, 1.0)[:, None] * along
        distance = np.linalg.norm(points - there, axis=1)
        nearer = distance < best
        best = np.where(nearer, distance, best)
        place = np.where(nearer[:, None], there, place)
    return np.where(inside[:, None], foot, place)


def inner_point(corners: FloatArray, areas: FloatArray) -> tuple[int, FloatArray]:
    """A point well on a part: on the face nearest to the part's middle, not at its rim.

    Returns
    -------
    face : int
        Index of the face.
    at : (3,) float64
        The middle of that face's part nearest to the middle of the whole, mm.
    """
    middles = (corners[:, 0] + corners[:, 1] + corners[:, 2]) / 3.0
    centre = np.average(middles, axis=0, weights=areas)
    face, at, _ = nearest_on_faces(corners, centre)
    # a step towards the face's middle keeps clear of edges that two parts share
    return face, 0.9 * at + 0.1 * middles[face]
