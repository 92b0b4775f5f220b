"""Between the surface and the flat piece: points, curves and areas, triangle by triangle."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from unwrap.arrays import FloatArray, IntArray
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.livery.loops import boundary_loops
from unwrap.livery.planar import barycentric, common, polygon_of_rings, transfer, transfer_lines
from unwrap.regions.region import Patch

# Places further than this from the piece (mm) are said to be off it.
ON_PIECE = 1e-6


class Carry:
    """The map between a patch and its flat piece.

    A flat face is (a part of) one patch face, so the map is affine on each flat face;
    relief cuts and joints only decide which flat faces lie side by side on the sheet.

    Parameters
    ----------
    patch : Patch
        The surface.
    flat : FlatPiece
        The same surface laid flat, cut or not.

    Attributes
    ----------
    on_surface : (m, 3, 3) float64
        Corners of each flat face on the surface, mm.
    on_sheet : (m, 3, 2) float64
        Corners of each flat face in the plane of the piece, mm.
    """

    def __init__(self, patch: Patch, flat: FlatPiece) -> None:
        self.patch = patch
        self.flat = flat
        self.on_surface: FloatArray = flat.surface[flat.faces]
        self.on_sheet: FloatArray = flat.points[flat.faces]

    def __getstate__(self) -> dict[str, object]:
        """What the map is: all that follows from it is soon made again in another process."""
        return {name: vars(self)[name] for name in ("patch", "flat", "on_surface", "on_sheet")}

    @property
    def name(self) -> str:
        """The region's name."""
        return self.patch.name

    @cached_property
    def outline(self) -> shapely.Polygon:
        """The flat piece's ground, openings as holes, cuts as notches."""
        rings = [self.flat.points[loop] for loop in boundary_loops(self.flat.faces)]
        return polygon_of_rings(rings)

    @cached_property
    def part_weights(self) -> FloatArray:
        """(m, 3, 3) barycentric weights, in its patch face, of each corner of each flat face."""
        corners = self.patch.vertices[self.patch.faces[self.flat.face]]
        frame, origin = _planes(corners)
        whole = np.einsum("mij,mcj->mci", frame, corners - origin[:, None])
        part = np.einsum("mij,mcj->mci", frame, self.on_surface - origin[:, None])
        return barycentric(np.repeat(whole, 3, axis=0), part.reshape(-1, 2)).reshape(-1, 3, 3)

    @cached_property
    def split(self) -> NDArray[np.bool_]:
        """(patch faces,) True where a cut passes through the face."""
        counts = np.bincount(self.flat.face, minlength=len(self.patch.faces))
        return counts > 1

    @cached_property
    def parts(self) -> tuple[IntArray, IntArray]:
        """Flat faces in order of patch face, and where each patch face's parts start (CSR)."""
        order = np.argsort(self.flat.face, kind="stable")
        start = np.searchsorted(self.flat.face[order], np.arange(len(self.patch.faces) + 1))
        return order, start

    @cached_property
    def _tree(self) -> shapely.STRtree:
        return shapely.STRtree(shapely.polygons(self.on_sheet))

    def part_at(self, face: IntArray, weights: FloatArray) -> tuple[IntArray, FloatArray]:
        """Flat face, and barycentric weights in it, of places on patch faces.

        Parameters
        ----------
        face : (n,) int64
            Patch faces.
        weights : (n, 3) float64
            Barycentric weights in them.

        Returns
        -------
        part : (n,) int64
        weights : (n, 3) float64
        """
        order, start = self.parts
        part = order[start[face]].copy()
        inner = np.array(weights, dtype=float, copy=True)
        for i in np.flatnonzero(self.split[face]):
            options = order[start[face[i]] : start[face[i] + 1]]
            local = np.linalg.solve(
                np.transpose(self.part_weights[options], (0, 2, 1)), inner[i][None, :, None]
            )[..., 0]
            best = int(np.argmax(local.min(axis=1)))
            part[i], inner[i] = options[best], local[best]
        return part, inner

    def to_flat(self, face: IntArray, weights: FloatArray) -> FloatArray:
        """Flat points (n, 2) of places on the surface, given by patch face and weights."""
        part, inner = self.part_at(np.asarray(face), np.asarray(weights, dtype=float))
        return np.einsum("nc,ncj->nj", inner, self.on_sheet[part])

    def to_part(self, points: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
        """Which flat face each flat point lies on: the nearest where it lies on none.

        Returns
        -------
        part : (n,) int64
            Flat faces.
        weights : (n, 3) float64
            Barycentric weights, none below 0.
        off : (n,) float64
            How far the point is from the piece, mm.
        """
        points = np.asarray(points, dtype=float).reshape(-1, 2)
        places = shapely.points(points)
        (_, part), off = self._tree.query_nearest(places, all_matches=False, return_distance=True)
        weights = np.clip(barycentric(self.on_sheet[part], points), 0.0, None)
        return part, weights / weights.sum(axis=1, keepdims=True), off

    def to_surface(self, points: FloatArray) -> FloatArray:
        """Places on the surface (n, 3), mm, of flat points; the nearest place for points off the piece."""
        part, weights, _ = self.to_part(points)
        return np.einsum("nc,ncj->nj", weights, self.on_surface[part])

    def nearest(self, places: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
        """Nearest places on the patch: (n,) patch faces, (n, 3) weights, (n,) distances in mm."""
        return nearest_on(self.patch.vertices[self.patch.faces], places)

    def area_to_flat(
        self, area: shapely.Geometry, chart: FloatArray, seen: np.ndarray | None = None
    ) -> shapely.Geometry:
        """Carry an area drawn in a chart onto the flat piece.

        Parameters
        ----------
        area : Polygon or MultiPolygon
            In the chart's plane.
        chart : (patch faces, 3, 2) float64
            Where the chart lays each patch face's corners; NaN where it does not reach.
        seen : (patch faces,) objects or None
            The part of each face, in the chart, that takes anything; None for all of it.

        Returns
        -------
        Polygon or MultiPolygon in the plane of the piece.
        """
        reached = np.flatnonzero(np.isfinite(chart[self.flat.face]).all(axis=(1, 2)))
        in_chart = np.einsum("mcw,mwj->mcj", self.part_weights[reached], chart[self.flat.face[reached]])
        limit = None if seen is None else seen[self.flat.face[reached]]
        return transfer(area, in_chart, self.on_sheet[reached], limit)

    def lines_to_flat(
        self, lines: shapely.Geometry, chart: FloatArray, seen: np.ndarray | None = None
    ) -> shapely.Geometry:
        """Carry lines drawn in a chart onto the flat piece; see `area_to_flat`."""
        reached = np.flatnonzero(np.isfinite(chart[self.flat.face]).all(axis=(1, 2)))
        in_chart = np.einsum("mcw,mwj->mcj", self.part_weights[reached], chart[self.flat.face[reached]])
        limit = None if seen is None else seen[self.flat.face[reached]]
        return transfer_lines(lines, in_chart, self.on_sheet[reached], limit)

    def area_to_chart(self, area: shapely.Geometry, chart: FloatArray) -> shapely.Geometry:
        """Carry an area on the flat piece into a chart: the inverse of `area_to_flat`."""
        reached = np.flatnonzero(np.isfinite(chart[self.flat.face]).all(axis=(1, 2)))
        in_chart = np.einsum("mcw,mwj->mcj", self.part_weights[reached], chart[self.flat.face[reached]])
        return transfer(area, self.on_sheet[reached], in_chart)

    def ground(self, area: shapely.Geometry) -> shapely.Geometry:
        """The part of an area that lies on the piece."""
        return common(area, self.outline)


def _planes(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Orthonormal (m, 2, 3) axes in each triangle's plane, and (m, 3) origins."""
    a, b, c = np.moveaxis(corners, 1, 0)
    along = b - a
    along = along / np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-300)
    across = c - a - np.einsum("mj,mj->m", c - a, along)[:, None] * along
    across = across / np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-300)
    return np.stack([along, across], axis=1), a


def nearest_on(corners: FloatArray, places: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Nearest place on a soup of triangles (Ericson, Real-Time Collision Detection, 2005, section 5.1.5).

    Parameters
    ----------
    corners : (m, 3, 3) float64
    places : (n, 3) float64

    Returns
    -------
    face : (n,) int64
    weights : (n, 3) float64
    distance : (n,) float64
    """
    places = np.asarray(places, dtype=float).reshape(-1, 3)
    face = np.zeros(len(places), dtype=np.int64)
    weights = np.zeros((len(places), 3))
    distance = np.zeros(len(places))
    middle = corners.mean(axis=1)
    reach = np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1)
    for i, place in enumerate(places):
        away = np.linalg.norm(middle - place, axis=1)
        near = np.flatnonzero(away - reach <= (away + 0.0).min() + 1e-12)
        w, d = _closest(corners[near], place)
        best = int(np.argmin(d))
        face[i], weights[i], distance[i] = near[best], w[best], d[best]
    return face, weights, distance


def _closest(corners: FloatArray, place: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weights (m, 3) and distances (m,) of the nearest place on each triangle to one place."""
    frame, origin = _planes(corners)
    flat = np.einsum("mij,mcj->mci", frame, corners - origin[:, None])
    target = np.einsum("mij,mj->mi", frame, place - origin)
    weights = barycentric(flat, target)
    for k in range(3):
        out = weights[:, k] < 0
        i, j = (k + 1) % 3, (k + 2) % 3
        along = corners[:, j] - corners[:, i]
        share = np.einsum("mj,mj->m", place - corners[:, i], along) / np.maximum(
            np.einsum("mj,mj->m", along, along), 1e-300
        )
        share = np.clip(share, 0.0, 1.0)
        edge = np.zeros_like(weights)
        edge[:, i], edge[:, j] = 1.0 - share, share
        if k == 0:
            best = weights.copy()
            gap = np.where((weights >= 0).all(axis=1), 0.0, np.inf)
            gap = np.where(
                np.isfinite(gap),
                np.linalg.norm(np.einsum("mc,mcj->mj", weights, corners) - place, axis=1),
                np.inf,
            )
        d = np.linalg.norm(np.einsum("mc,mcj->mj", edge, corners) - place, axis=1)
        take = out & (d < gap)
        best[take], gap[take] = edge[take], d[take]
    return best, gap
