"""The body: a shell as a triangle mesh, in mm at model size."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import cached_property
from pathlib import Path

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.body.edges import Edges, edge_angles, find_edges, find_shells
from unwrap.body.rays import Rays
from unwrap.body.symmetry import find_symmetry
from unwrap.body.triangles import area_vectors, lengths, side_lengths


@dataclass(frozen=True, eq=False)
class Body:
    """A body as read, in mm at model size, +x to the front, +y to the left, +z up.

    Parameters
    ----------
    vertices : (n, 3) float64
        Welded corner positions, mm.
    faces : (m, 3) int64
        Triangles, counter-clockwise seen from outside.
    name : str
        The file's stem.
    source : Path or None
        The file that was read.
    repairs : tuple of str
        What reading mended, one phrase each; empty when nothing was.
    """

    vertices: FloatArray
    faces: IntArray
    name: str = "body"
    source: Path | None = None
    repairs: tuple[str, ...] = field(default=())

    def __getstate__(self) -> dict[str, object]:
        """What the body is: all that follows from it is soon made again in another process."""
        return {own.name: getattr(self, own.name) for own in fields(self)}

    @cached_property
    def corners(self) -> FloatArray:
        """(m, 3, 3) corner positions per face, mm."""
        return np.take(self.vertices, self.faces, axis=0)

    @cached_property
    def normals(self) -> FloatArray:
        """(m, 3) outward unit normals; zero for a face without area."""
        length = 2 * self.areas[:, None]
        return np.divide(self.area_vectors, length, out=np.zeros_like(self.area_vectors), where=length > 0)

    @cached_property
    def areas(self) -> FloatArray:
        """(m,) face areas, mm^2."""
        return 0.5 * lengths(self.area_vectors)

    @cached_property
    def side_lengths(self) -> FloatArray:
        """(m, 3) lengths of the sides from each corner to the next, mm."""
        return side_lengths(self.vertices, self.faces)

    @cached_property
    def area_vectors(self) -> FloatArray:
        """(m, 3) outward normals as long as twice the area, mm^2."""
        return area_vectors(self.vertices, self.faces)

    @cached_property
    def edges(self) -> Edges:
        """The edges and the faces at each; found once."""
        return find_edges(self.faces)

    @cached_property
    def shells(self) -> tuple[int, IntArray]:
        """How many pieces hang together by edges of two faces, and the (m,) piece of each face."""
        return find_shells(len(self.faces), self.edges.pairs)

    @cached_property
    def edge_angles(self) -> FloatArray:
        """Angle at each of the edges' pairs of faces, radians; found once."""
        return edge_angles(self.normals, self.edges.pairs)

    @cached_property
    def rays(self) -> Rays:
        """The body made ready for rays; built once."""
        return Rays(self.vertices, self.faces)

    @cached_property
    def bounds(self) -> FloatArray:
        """(2, 3) lowest and highest coordinates, mm."""
        used = np.zeros(len(self.vertices), dtype=bool)
        used[self.faces] = True
        # Column by column: along rows of three it takes several times as long.
        columns = self.vertices.T if used.all() else np.compress(used, self.vertices, axis=0).T
        return np.array([[column.min() for column in columns], [column.max() for column in columns]])

    @cached_property
    def middle(self) -> float:
        """Where the plane lies that the left and right halves match about: its y, mm; found once."""
        return find_symmetry(self).middle

    @property
    def size(self) -> FloatArray:
        """(3,) length, width and height, mm."""
        return self.bounds[1] - self.bounds[0]
