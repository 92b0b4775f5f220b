"""The body with the printed pieces laid back on it, seen by a camera."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from scipy.spatial import cKDTree

from unwrap.arrays import BoolArray, FloatArray, IntArray
from unwrap.body.body import Body
from unwrap.body.rays import Rays
from unwrap.guide.camera import Camera
from unwrap.guide.light import TILE, Light, finer, probe
from unwrap.guide.normals import smooth_normals
from unwrap.guide.printed import print_dots
from unwrap.guide.srgb import to_linear, to_srgb
from unwrap.sheet.piece import Piece

Floats = NDArray[np.float32]

# Primer grey, a little warm, so that printed greys still stand off from it (linear light).
PRIMER = np.array([0.50, 0.492, 0.475], dtype=np.float32)

# Shadows on the ground fade out over this share of the picture's sides.
FADE = 0.07

# How much sheen varnished film and bare primer show.
FILM_GLOSS, PRIMER_GLOSS = 1.0, 0.2

# Film lies this close to the body where nothing was bridged (facets of a curve), mm.
FILM_OFF_BODY = 0.12

# A closed slit shows as a line this far to either side (mm), in a darker tone of the print.
SLIT_WIDTH, SLIT_TONE = 0.05, 0.35

# Pixels are worked on so many at once, that the arrays of one step stay near the processor.
RAYS_AT_ONCE = 1 << 16

# Where an edge passes through a pixel, it gets so many rays: a lattice in which no two share
# a row or a column (rank 1, generator 3), so that steep and flat edges have as many steps.
FINE = 8
FINE_ACROSS = (np.arange(FINE) + 0.5) / FINE - 0.5
FINE_DOWN = (3 * np.arange(FINE) % FINE + 0.5) / FINE - 0.5

# Light is probed at every so many pixels each way, and carried to the ones between.
COARSE = 3

# A change of tone from pixel to pixel that counts as an edge (linear light).
EDGE_TONE = 0.012


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture of the body.

    Parameters
    ----------
    colours : (h, w, 3) uint8
        sRGB, first row at the top, white ground.
    piece : (h, w) int64
        The piece that shows at each pixel's middle, -1 where none does.
    body : (h, w) bool
        Where the body shows at all.
    """

    colours: NDArray[np.uint8]
    piece: IntArray
    body: BoolArray


@dataclass(frozen=True, eq=False)
class _Seen:
    """What rays that meet body or film see there; single precision is beyond what a picture shows.

    Parameters
    ----------
    ray : (k,) int64
        Which of the rays.
    way : (k, 3) float32
        Their unit directions.
    place, normal : (k, 3) float32
        Where each ends, and the way that the body faces there.
    distance : (k,) float32
        How far it went, mm.
    piece : (k,) int64
        The piece that shows, -1 for bare body.
    flat : (k, 2) float64
        The place on that piece's sheet.
    """

    ray: IntArray
    way: Floats
    place: Floats
    normal: Floats
    distance: Floats
    piece: IntArray
    flat: FloatArray


class Scene:
    """A body and its pieces, made ready once for any number of pictures.

    Parameters
    ----------
    body : Body
        The shell.
    pieces : sequence of Piece
        What lies on it.
    per_mm : float
        Dots per millimetre to print the pieces at.
    cuts : bool
        Draw the slits as hairlines.
    """

    def __init__(self, body: Body, pieces: Sequence[Piece], per_mm: float = 30.0, cuts: bool = True) -> None:
        self.body = body
        self.pieces = tuple(pieces)
        self.floor = float(body.bounds[0, 2])
        self._normals = smooth_normals(body).astype(np.float32)
        self._body = body.rays
        self._film: Rays | None = None
        if not self.pieces:
            return
        flats = [piece.flat for piece in self.pieces]
        self._printed = [
            print_dots(piece.paints, piece.flat.points, per_mm, piece.slits if cuts else ())
            for piece in self.pieces
        ]
        slits = [[_dotted(cut) for cut in flat.cuts] if cuts else [] for flat in flats]
        self._slits = [cKDTree(np.concatenate(dots)) if dots else None for dots in slits]
        # Every film face has corners of its own: pieces meet, but share nothing.
        corners = np.concatenate([flat.surface[flat.faces] for flat in flats])
        self._film = Rays(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3))
        across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        self._film_normals = _unit(across).astype(np.float32)
        self._flat_corners = np.concatenate([flat.points[flat.faces] for flat in flats])
        self._owner = np.repeat(np.arange(len(flats)), [len(flat.faces) for flat in flats])
        self._off_body = np.array([FILM_OFF_BODY + _proudest(piece) for piece in self.pieces])

    def picture(
        self,
        camera: Camera,
        width: int,
        *,
        light: Light | None = None,
        tint: Sequence[tuple[int, int, int]] | None = None,
    ) -> Picture:
        """Take a picture.

        Parameters
        ----------
        camera : Camera
            Where from.
        width : int
            Pixels; the height follows from the camera's frame.
        light : Light, optional
            How it is lit.
        tint : sequence of (r, g, b), optional
            One colour a piece to show instead of its print.
        """
        light = light or Light.studio(camera, reach=float(0.7 * self.body.size[1:].max()))
        grid = max(1, round(width / camera.aspect)), width
        shown = list(self._looked(camera, grid))
        body, piece = np.zeros(grid, dtype=bool), np.full(grid, -1, dtype=np.int64)
        for pixel, seen in shown:
            body.flat[pixel], piece.flat[pixel] = True, seen.piece
        sky, lamp = self._light_on(shown, camera, grid, light)
        ground = _ground_tone(sky, lamp)
        tone = np.repeat(ground[..., None], 3, axis=2)
        for pixel, seen in shown:
            tone.reshape(-1, 3)[pixel] = self._lit(seen, light, lamp.flat[pixel], sky.flat[pixel], tint)
        edge = _edges(tone, piece, body)
        # Where an edge passes, both sides are needed: each kind is carried on from the
        # nearest pixel that shows it.
        sky, lamp = _carried_on((sky, lamp), body)
        (ground,) = _carried_on((ground,), ~body)
        self._refine(tone, edge, camera, light, tint, (sky, lamp, ground))
        return Picture(to_srgb(tone), piece, body)

    def index(self, camera: Camera, width: int) -> IntArray:
        """(h, w) piece that shows at each pixel's middle, -1 where none does."""
        piece = np.full((max(1, round(width / camera.aspect)), width), -1, dtype=np.int64)
        for pixel, seen in self._looked(camera, piece.shape):
            piece.flat[pixel] = seen.piece
        return piece

    def _looked(self, camera: Camera, grid: tuple[int, ...]) -> Iterator[tuple[IntArray, _Seen]]:
        """What the pixels' middles show, some at once: the pixels that show the body, and what is there."""
        for part in _parts(grid):
            seen = self._look(*_rays(camera, grid, *_row_column(part, grid)))
            yield part[seen.ray], seen

    def _light_on(
        self, shown: Sequence[tuple[IntArray, _Seen]], camera: Camera, grid: tuple[int, int], light: Light
    ) -> list[Floats]:
        """Shares of the sky and of the lamp at each pixel, on the body and on the ground under it."""
        normal, depth = np.zeros((*grid, 3), dtype=np.float32), np.full(grid, np.inf, dtype=np.float32)
        few_sky, few_lamp = (np.ones([-(-side // COARSE) for side in grid], np.float32) for _ in range(2))

        def probed(row: IntArray, column: IntArray, place: Floats, facing: Floats) -> None:
            at = row // COARSE, column // COARSE
            tile = (at[0] % TILE) * TILE + at[1] % TILE
            few_sky[at], few_lamp[at] = probe(self._body, place, facing, tile, light, self.floor)

        on_body = np.zeros(grid, dtype=bool)
        for pixel, seen in shown:
            on_body.flat[pixel] = True
            normal.reshape(-1, 3)[pixel], depth.flat[pixel] = seen.normal, seen.distance
            row, column = _row_column(pixel, grid)
            asked = np.flatnonzero((row % COARSE == 0) & (column % COARSE == 0))
            probed(row[asked], column[asked], seen.place[asked], seen.normal[asked])
        for part in _parts(grid):
            row, column = _row_column(part[~on_body.flat[part]], grid)
            origins, ways = _rays(camera, grid, row, column)
            # From below there is no ground between the onlooker and the body.
            steps = (self.floor - origins[:, 2]) / np.minimum(ways[:, 2], -0.05)
            met = np.flatnonzero((ways[:, 2] < -0.05) & (steps > 0))
            row, column, steps = row[met], column[met], steps[met]
            # The ground never mixes with the body that stands on it.
            normal[row, column], depth[row, column] = (0.0, 0.0, -1.0), steps
            asked = np.flatnonzero((row % COARSE == 0) & (column % COARSE == 0))
            places = (origins[met[asked]] + steps[asked, None] * ways[met[asked]]).astype(np.float32)
            upward = np.repeat(np.array([[0.0, 0.0, 1.0]], np.float32), len(asked), axis=0)
            probed(row[asked], column[asked], places, upward)
        pixel_size = (camera.frame[2] - camera.frame[0]) / grid[1]
        return finer((few_sky, few_lamp), depth, normal, COARSE, 4.0 * pixel_size)

    def _refine(
        self,
        tone: Floats,
        edge: BoolArray,
        camera: Camera,
        light: Light,
        tint: Sequence[tuple[int, int, int]] | None,
        fields: tuple[Floats, Floats, Floats],
    ) -> None:
        """Replace the tones of pixels at an edge by means over FINE rays each, in place."""
        sky, lamp, ground = fields
        pixels = np.flatnonzero(edge)
        for first in range(0, len(pixels), RAYS_AT_ONCE // FINE):
            mine = pixels[first : first + RAYS_AT_ONCE // FINE]
            row, column = _row_column(mine, edge.shape)
            rays = (row[:, None] + FINE_DOWN).ravel(), (column[:, None] + FINE_ACROSS).ravel()
            seen = self._look(*_rays(camera, edge.shape, *rays))
            of = mine[seen.ray // FINE]
            fine = np.repeat(ground.flat[mine], 3 * FINE).reshape(-1, 3)
            fine[seen.ray] = self._lit(seen, light, lamp.flat[of], sky.flat[of], tint)
            tone[row, column] = fine.reshape(len(mine), FINE, 3).mean(axis=1)

    def _look(self, origins: Floats, ways: Floats) -> _Seen:
        """What rays see of the body, and of the film on it."""
        first = self._body.first(origins, ways)
        distance = first.distance
        piece = np.full(len(distance), -1, dtype=np.int64)
        flat = np.zeros((len(distance), 2))
        spans = np.zeros(0, dtype=np.int64)
        if self._film is not None:
            film = self._film.first(origins, ways)
            met = np.flatnonzero(film.face >= 0)
            film_normal = self._film_normals[film.face[met]]
            slope = np.einsum("nd,nd->n", film_normal, ways[met])
            # The film's back is never seen: it would be inside the body.
            front = slope < 0
            met, slope, film_normal = met[front], slope[front], film_normal[front]
            face = film.face[met]
            along = film.distance[met] - distance[met]
            allowed = self._off_body[self._owner[face]]
            near = (along * -slope < allowed) & (along < 4.0 * allowed)
            piece[met[near]] = self._owner[face[near]]
            flat[met[near]] = np.einsum("nk,nkd->nd", film.weights[met[near]], self._flat_corners[face[near]])
            # Film that spans a hole is all there is to see there.
            over = along * slope > allowed
            spans = met[over]
            distance[spans] = film.distance[spans]
        ray = np.flatnonzero(np.isfinite(distance))
        normal = _unit(
            np.einsum("nk,nkd->nd", first.weights[ray].astype(np.float32), self._normals[first.face[ray]])
        )
        if len(spans):
            normal[np.searchsorted(ray, spans)] = film_normal[over]
        way, far = ways[ray], distance[ray].astype(np.float32)
        # A shell's inside, seen through an opening, is lit on the side that is seen.
        normal[np.einsum("nd,nd->n", normal, way) > 0] *= -1.0
        place = origins[ray] + far[:, None] * way
        return _Seen(ray, way, place, normal, far, piece[ray], flat[ray])

    def _lit(
        self,
        seen: _Seen,
        light: Light,
        lamp: Floats,
        sky: Floats,
        tint: Sequence[tuple[int, int, int]] | None,
    ) -> Floats:
        """(k, 3) tones of what is seen; too bright ones taken back in step, so that cream stays cream."""
        bright, sheen = light.brightness(seen.normal, seen.way, lamp, sky)
        gloss = sheen * np.where(seen.piece >= 0, np.float32(FILM_GLOSS), np.float32(PRIMER_GLOSS))
        tone = self._colours(seen, tint) * bright[:, None] + gloss[:, None]
        return tone / np.maximum(tone.max(axis=1, keepdims=True), 1.0)

    def _colours(self, seen: _Seen, tint: Sequence[tuple[int, int, int]] | None) -> Floats:
        """(k, 3) linear reflectances: the print where there is print, primer elsewhere."""
        colour = np.repeat(PRIMER[None], len(seen.piece), axis=0)
        for i in range(len(self.pieces)):
            mine = np.flatnonzero(seen.piece == i)
            if tint is not None:
                colour[mine] = to_linear(np.array([tint[i]], dtype=np.uint8))
                continue
            dots = self._printed[i].at(seen.flat[mine])
            inked = dots[:, 3] > 0
            colour[mine[inked]] = to_linear(dots[inked, :3])
            if (slits := self._slits[i]) is not None:
                away, _ = slits.query(seen.place[mine], distance_upper_bound=SLIT_WIDTH)
                colour[mine[np.isfinite(away)]] *= SLIT_TONE
        return colour


def _proudest(piece: Piece) -> float:
    """How far the highest detail stands out through a piece's bridged surface, mm."""
    heights = (detail.height for detail in piece.patch.details if detail.kind != "hole")
    return max((height for height in heights if height > 0.0), default=0.0)


def _dotted(line: FloatArray) -> FloatArray:
    """Places along a polyline, closer than a slit is wide."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    at = np.linspace(0.0, along[-1], max(2, int(along[-1] / (0.5 * SLIT_WIDTH))))
    return np.column_stack([np.interp(at, along, line[:, axis]) for axis in range(3)])


def _parts(grid: tuple[int, ...]) -> Iterator[IntArray]:
    """Pixel numbers, so many at once."""
    count = grid[0] * grid[1]
    for first in range(0, count, RAYS_AT_ONCE):
        yield np.arange(first, min(first + RAYS_AT_ONCE, count))


def _row_column(pixel: IntArray, grid: tuple[int, ...]) -> tuple[IntArray, IntArray]:
    return pixel // grid[1], pixel % grid[1]


def _rays(
    camera: Camera, grid: tuple[int, ...], row: FloatArray | IntArray, column: FloatArray | IntArray
) -> tuple[Floats, Floats]:
    """Origins and directions (n, 3) of the rays through places on a picture, in pixels."""
    left, bottom, right, top = camera.frame
    height, width = grid
    origins, ways = camera.rays(
        left + (column + 0.5) * (right - left) / width, top - (row + 0.5) * (top - bottom) / height
    )
    return origins.astype(np.float32), ways.astype(np.float32)


def _ground_tone(sky: Floats, lamp: Floats) -> Floats:
    """White, greyed where the body stands close, and fading to white at the picture's rim."""
    height, width = sky.shape
    x = np.minimum(np.arange(width), np.arange(width)[::-1]) / (FADE * width)
    y = np.minimum(np.arange(height), np.arange(height)[::-1]) / (FADE * height)
    near = np.clip(np.minimum(x[None, :], y[:, None]), 0.0, 1.0).astype(np.float32)
    fade = near * near * (3.0 - 2.0 * near)
    return 1.0 - fade * (0.62 * (1.0 - sky) ** 1.15 + 0.10 * (1.0 - lamp))


def _edges(tone: Floats, piece: IntArray, body: BoolArray) -> BoolArray:
    """Pixels of every block of 2 x 2 over which the tone, the piece, or body and ground change."""
    step = (_over_blocks(np.maximum, tone) - _over_blocks(np.minimum, tone)).max(axis=2) > EDGE_TONE
    for kind in (piece, body):
        step |= _over_blocks(np.maximum, kind) != _over_blocks(np.minimum, kind)
    edge = np.zeros(piece.shape, dtype=bool)
    for rows in (slice(None, -1), slice(1, None)):
        for columns in (slice(None, -1), slice(1, None)):
            edge[rows, columns] |= step
    return edge


def _over_blocks(taken: np.ufunc, field: NDArray[Any]) -> NDArray[Any]:
    """The largest or smallest value of each block of 2 x 2 pixels."""
    pairs = taken(field[:-1], field[1:])
    return taken(pairs[:, :-1], pairs[:, 1:])


def _carried_on(fields: Sequence[Floats], known: BoolArray) -> list[Floats]:
    """Fields with their unknown pixels filled from the nearest known one."""
    if not known.any():
        return list(fields)
    row, column = distance_transform_edt(~known, return_distances=False, return_indices=True)
    return [field[row, column] for field in fields]


def _unit(vectors: NDArray[Any]) -> NDArray[Any]:
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0)
