"""What the page draws, as bytes: little-endian, counts first, every array on a multiple of 4."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from unwrap.arrays import FloatArray
from unwrap.body.body import Body
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.guide.tones import telling_strain, tones
from unwrap.livery.paint import Paint
from unwrap.regions.mirror import reflected
from unwrap.regions.region import Region
from unwrap.sheet.pictures import coarser

# Dots of pictures to the millimetre of a piece, and of one picture in all.
DOTS, MOST_DOTS = 12.0, 250_000


def _packed(*arrays: NDArray[np.generic]) -> bytes:
    counts = np.array([len(array) for array in arrays], dtype="<u4")
    return counts.tobytes() + b"".join(np.ascontiguousarray(array).tobytes() for array in arrays)


def body_bytes(body: Body) -> bytes:
    """Corner positions (f4 x 3) and faces (u4 x 3)."""
    return _packed(body.vertices.astype("<f4"), body.faces.astype("<u4"))


def region_bytes(body: Body, region: Region) -> bytes:
    """Whole faces (a bit each), corners of split faces (f4 x 3), border and details (segments, f4 x 6).

    A region is shown on the body's own faces where it takes all of a face, so that a
    region of a million faces is a list of numbers and not a second mesh.
    """
    corners = region.vertices[region.faces]
    area = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    covered = np.bincount(region.body_face, weights=area, minlength=len(body.faces))
    whole = covered >= body.areas * (1 - 1e-6)
    split = ~whole[region.body_face]
    return _packed(
        _bits(region.body_face[~split], len(body.faces)),
        corners[split].reshape(-1, 3).astype("<f4"),
        border_segments(region.vertices, region.faces).reshape(-1, 6).astype("<f4"),
        _details(region, region.vertices),
    )


def _bits(faces: NDArray[np.int64], count: int) -> NDArray[np.uint8]:
    """A bit for each face of the body, the lowest of a byte first; whole words of them."""
    chosen = np.zeros(-(-count // 32) * 32, dtype=bool)
    chosen[faces] = True
    return np.packbits(chosen, bitorder="little")


def _details(region: Region, vertices: FloatArray) -> NDArray[np.generic]:
    """Outlines (f4 x 6) of what a region is carried over."""
    own = region.faces[:0] if region.detail is None else region.faces[region.detail >= 0]
    return border_segments(vertices, own).reshape(-1, 6).astype("<f4")


def border_segments(vertices: FloatArray, faces: NDArray[np.int64]) -> FloatArray:
    """(k, 2, 3) edges that belong to one face only."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    low, high = edges.min(axis=1), edges.max(axis=1)
    _, first, times = np.unique(low * (len(vertices) + 1) + high, return_index=True, return_counts=True)
    return vertices[edges[first[times == 1]]]


def piece_bytes(flats: Sequence[FlatPiece]) -> bytes:
    """Places on the surface (f4 x 3), flat points (f4 x 2), faces (u4 x 3), strain colours (u1 x 4).

    The fourth byte of a colour is 1 where the face is beyond the film, to be hatched.
    """
    ends = strain_ends(flats)
    shades = [
        np.column_stack([np.rint(tones(telling_strain(f.stretch, f.film), f.film, ends) * 255), f.beyond])
        for f in flats
    ]
    before = np.cumsum([0, *(len(flat.points) for flat in flats[:-1])])
    return _packed(
        np.concatenate([flat.surface for flat in flats]).astype("<f4"),
        np.concatenate([flat.points for flat in flats]).astype("<f4"),
        np.concatenate([f.faces + k for f, k in zip(flats, before, strict=True)]).astype("<u4"),
        np.concatenate(shades).astype("u1"),
    )


def strain_ends(flats: Sequence[FlatPiece]) -> tuple[float, float]:
    """Ends of the strain scale: a little past the film's limits, or the worst of the pieces."""
    film = flats[0].film
    worst = (
        max(flat.stretch[:, 0].max() for flat in flats) - 1.0,
        1.0 - min(flat.stretch[:, 1].min() for flat in flats),
    )
    return -max(1.5 * film.compression, 0.002, worst[1]), max(1.5 * film.stretch, 0.002, worst[0])


def strain_scale(flats: Sequence[FlatPiece], steps: int = 45) -> dict[str, Any]:
    """The scale's colours from its low to its high end, and the film's limits on it."""
    (low, high), film = strain_ends(flats), flats[0].film
    colours = np.rint(tones(np.linspace(low, high, steps), film, (low, high)) * 255).astype(int)
    return {
        "low": low,
        "high": high,
        "limits": [-film.compression, film.stretch],
        "colours": colours.tolist(),
    }


def drawn(shape: shapely.Geometry) -> str:
    """A polygon's rings as a path in SVG's notation, mm, even-odd."""
    parts = []
    for polygon in getattr(shape, "geoms", [shape]):
        if polygon.geom_type != "Polygon" or polygon.is_empty:
            continue
        for ring in (polygon.exterior, *polygon.interiors):
            points = " ".join(f"{x:.3f},{y:.3f}" for x, y in np.asarray(ring.coords)[:-1])
            parts.append(f"M{points}Z")
    return "".join(parts)


def dots_of(paint: Paint) -> dict[str, Any]:
    """What fills a paint instead of its colour: dots (base64, u1 x 3), how many across, and where, mm."""
    if paint.picture is None:
        return {}
    x0, y0, x1, y1 = paint.area.bounds
    finest = min(DOTS, np.sqrt(MOST_DOTS / max((x1 - x0) * (y1 - y0), 1e-9)))
    picture = coarser(paint.picture, float(finest))
    data = base64.b64encode(np.ascontiguousarray(picture.dots).tobytes()).decode("ascii")
    return {"dots": data, "across": picture.dots.shape[1], "placed": picture.matrix.T.ravel().tolist()}


def reflected_bytes(body: Body, region: Region) -> bytes:
    """A region's reflection in the body's middle plane, in the form of `region_bytes`."""
    mirrored = reflected(region.vertices, body.middle)
    return _packed(
        np.zeros(0, dtype="u1"),
        mirrored[region.faces[:, ::-1]].reshape(-1, 3).astype("<f4"),
        border_segments(mirrored, region.faces).reshape(-1, 6).astype("<f4"),
        _details(region, mirrored),
    )


def glance_bytes(faces: NDArray[np.int64], count: int) -> bytes:
    """Whole faces alone of a body of `count` faces, in the form of `region_bytes`."""
    nothing = np.zeros((0, 3), dtype="<f4")
    return _packed(_bits(faces, count), nothing, nothing, nothing)
