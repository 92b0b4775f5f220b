"""The body with the printed pieces laid back on it, seen by a camera."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, distance_transform_edt
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

# Primer grey, a little warm, so that printed greys still stand off from it (linear light).
PRIMER = np.array([0.50, 0.492, 0.475])

# Shadows on the ground fade out over this share of the picture's sides.
FADE = 0.07

# How much sheen varnished film and bare primer show.
FILM_GLOSS, PRIMER_GLOSS = 1.0, 0.2

# Film lies this close to the body where nothing was bridged (facets of a curve), mm.
FILM_OFF_BODY = 0.12

# A closed slit shows as a line this far to either side (mm), in a darker tone of the print.
SLIT_WIDTH, SLIT_TONE = 0.05, 0.35

# Pixels are worked on in strips, so that memory does not grow with the picture.
RAYS_AT_ONCE = 400_000

# Rays along each side of a pixel that an edge passes through.
FINE = 4

# Light is probed at every so many pixels each way, and carried to the ones between.
COARSE = 2

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
class _Hits:
    """Per ray: place and normal where it ends, how far, and the film that shows there."""

    place: FloatArray
    normal: FloatArray
    distance: FloatArray
    piece: IntArray
    flat: FloatArray

    @property
    def body(self) -> BoolArray:
        return np.isfinite(self.distance)


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
        self._normals = smooth_normals(body)
        self._body = body.rays
        self._film: Rays | None = None
        self._slits: cKDTree | None = None
        if not self.pieces:
            return
        flats = [piece.flat for piece in self.pieces]
        self._printed = [
            print_dots(piece.paints, piece.flat.points, per_mm, piece.slits if cuts else ())
            for piece in self.pieces
        ]
        slits = [_dotted(cut) for flat in flats for cut in flat.cuts] if cuts else []
        self._slits = cKDTree(np.concatenate(slits)) if slits else None
        # Every film face has corners of its own: pieces meet, but share nothing.
        corners = np.concatenate([flat.surface[flat.faces] for flat in flats])
        self._film = Rays(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3))
        self._film_normals = _unit(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))
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
        height = max(1, round(width / camera.aspect))
        count, grid = height * width, (height, width)
        pixel = (camera.frame[2] - camera.frame[0]) / width
        colour, normal, depth = np.empty((count, 3)), np.empty((count, 3)), np.empty(count)
        piece, body = np.empty(count, dtype=np.int64), np.empty(count, dtype=bool)
        coarse_grid = (-(-height // COARSE), -(-width // COARSE))
        few_sky, few_lamp = np.ones(coarse_grid), np.ones(coarse_grid)
        for index in _parts(count):
            column, row = index % width, index // width
            origins, directions = self._rays(camera, width, height, column, row)
            hits = self._hits(origins, directions)
            body[index], piece[index] = hits.body, hits.piece
            colour[index] = self._colours(hits, tint)
            hits = self._with_floor(hits, origins, directions)
            normal[index], depth[index] = hits.normal, hits.distance
            ask = np.flatnonzero((column % COARSE == 0) & (row % COARSE == 0) & np.isfinite(hits.distance))
            at = row[ask] // COARSE, column[ask] // COARSE
            tile = (at[0] % TILE) * TILE + at[1] % TILE
            place, facing = hits.place[ask], hits.normal[ask]
            few_sky[at], few_lamp[at] = probe(self._body, place, facing, tile, light, self.floor)
        # The ground never mixes with the body that stands on it.
        kinds = np.where(body[:, None], normal, -normal).reshape(*grid, 3)
        finer_fields = finer((few_sky, few_lamp), depth.reshape(grid), kinds, COARSE, 4.0 * pixel)
        sky, lamp = (field.ravel() for field in finer_fields)
        ground = _ground_tone(sky, lamp, grid)
        tone = np.empty((count, 3))
        for index in _parts(count):
            _, directions = self._rays(camera, width, height, index % width, index // width)
            bright, sheen = light.brightness(normal[index], directions, lamp[index], sky[index])
            lit = colour[index] * bright[:, None] + _gloss(sheen, piece[index])[:, None]
            tone[index] = _held(lit)
        tone[~body] = ground[~body, None]
        at_edge = _edges(tone.reshape(*grid, 3), piece.reshape(grid), body.reshape(grid)).ravel()
        # Where an edge passes, both sides are needed: each kind is carried on from the
        # nearest pixel that shows it.
        sky, lamp = (_carried_on(field, body, grid) for field in (sky, lamp))
        ground = _carried_on(ground, ~body, grid)
        fields = (sky, lamp, ground)
        self._refine(tone, np.flatnonzero(at_edge), camera, (width, height), light, tint, fields)
        return Picture(to_srgb(tone.reshape(*grid, 3)), piece.reshape(grid), body.reshape(grid))

    def index(self, camera: Camera, width: int) -> IntArray:
        """(h, w) piece that shows at each pixel's middle, -1 where none does."""
        height = max(1, round(width / camera.aspect))
        pixel = np.arange(height * width)
        hits = self._hits(*self._rays(camera, width, height, pixel % width, pixel // width))
        return hits.piece.reshape(height, width)

    def _refine(
        self,
        tone: FloatArray,
        pixels: IntArray,
        camera: Camera,
        size: tuple[int, int],
        light: Light,
        tint: Sequence[tuple[int, int, int]] | None,
        fields: tuple[FloatArray, FloatArray, FloatArray],
    ) -> None:
        """Replace the tones of pixels by means over FINE x FINE rays each, in place."""
        width, height = size
        sky, lamp, ground = fields
        step = (np.arange(FINE) + 0.5) / FINE - 0.5
        dx, dy = (g.ravel() for g in np.meshgrid(step, step))
        for first in range(0, len(pixels), RAYS_AT_ONCE // (FINE * FINE)):
            mine = pixels[first : first + RAYS_AT_ONCE // (FINE * FINE)]
            column = (mine[:, None] % width + dx).ravel()
            row = (mine[:, None] // width + dy).ravel()
            origins, directions = self._rays(camera, width, height, column, row)
            hits = self._hits(origins, directions)
            of = np.repeat(mine, FINE * FINE)
            bright, sheen = light.brightness(hits.normal, directions, lamp[of], sky[of])
            fine = self._colours(hits, tint) * bright[:, None] + _gloss(sheen, hits.piece)[:, None]
            fine = np.where(hits.body[:, None], fine, ground[of, None])
            tone[mine] = _held(fine).reshape(len(mine), FINE * FINE, 3).mean(axis=1)

    def _rays(
        self,
        camera: Camera,
        width: int,
        height: int,
        column: FloatArray | IntArray,
        row: FloatArray | IntArray,
    ) -> tuple[FloatArray, FloatArray]:
        left, bottom, right, top = camera.frame
        return camera.rays(
            left + (column + 0.5) * (right - left) / width, top - (row + 0.5) * (top - bottom) / height
        )

    def _hits(self, origins: FloatArray, directions: FloatArray) -> _Hits:
        """Where rays meet the body, and the film on it."""
        first = self._body.first(origins, directions)
        distance = first.distance
        normal = _unit(np.einsum("nk,nkd->nd", first.weights, self._normals[first.face]))
        piece = np.full(len(distance), -1, dtype=np.int64)
        flat = np.zeros((len(distance), 2))
        if self._film is not None:
            film = self._film.first(origins, directions)
            film_normal = self._film_normals[film.face]
            slope = np.einsum("nd,nd->n", film_normal, directions)
            # The film's back is never seen: it would be inside the body.
            ahead = np.flatnonzero((film.face >= 0) & (slope < 0))
            along = film.distance[ahead] - distance[ahead]
            allowed = self._off_body[self._owner[film.face[ahead]]]
            near = (along * -slope[ahead] < allowed) & (along < 4.0 * allowed)
            shows = ahead[near]
            face = film.face[shows]
            piece[shows] = self._owner[face]
            flat[shows] = np.einsum("nk,nkd->nd", film.weights[shows], self._flat_corners[face])
            # Film that spans a hole is all there is to see there.
            spans = ahead[along * slope[ahead] > allowed]
            normal[spans] = film_normal[spans]
            distance[spans] = film.distance[spans]
        # A shell's inside, seen through an opening, is lit on the side that is seen.
        normal[np.einsum("nd,nd->n", normal, directions) > 0] *= -1.0
        reach = np.where(np.isfinite(distance), distance, 0.0)
        return _Hits(origins + reach[:, None] * directions, normal, distance, piece, flat)

    def _with_floor(self, hits: _Hits, origins: FloatArray, directions: FloatArray) -> _Hits:
        """The same, with rays that miss the body ending on the ground under it."""
        missed = np.flatnonzero(~hits.body & (directions[:, 2] < -0.05))
        steps = (self.floor - origins[missed, 2]) / directions[missed, 2]
        # From below there is no ground between the onlooker and the body.
        missed, steps = missed[steps > 0], steps[steps > 0]
        hits.place[missed] = origins[missed] + steps[:, None] * directions[missed]
        hits.normal[missed] = (0.0, 0.0, 1.0)
        hits.distance[missed] = steps
        return hits

    def _colours(self, hits: _Hits, tint: Sequence[tuple[int, int, int]] | None) -> FloatArray:
        """Linear reflectances (n, 3): the print where there is print, primer elsewhere."""
        colour = np.broadcast_to(PRIMER, (len(hits.piece), 3)).copy()
        for i in range(len(self.pieces)):
            mine = np.flatnonzero(hits.piece == i)
            if tint is not None:
                colour[mine] = to_linear(np.array([tint[i]], dtype=np.uint8))
                continue
            dots = self._printed[i].at(hits.flat[mine])
            inked = dots[:, 3] > 0
            colour[mine[inked]] = to_linear(dots[inked, :3])
        if self._slits is not None and tint is None:
            on_film = np.flatnonzero(hits.piece >= 0)
            away, _ = self._slits.query(hits.place[on_film], distance_upper_bound=SLIT_WIDTH)
            colour[on_film[np.isfinite(away)]] *= SLIT_TONE
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


def _parts(count: int) -> Iterator[IntArray]:
    """Pixel numbers, so many at once."""
    for first in range(0, count, RAYS_AT_ONCE):
        yield np.arange(first, min(first + RAYS_AT_ONCE, count))


def _ground_tone(sky: FloatArray, lamp: FloatArray, grid: tuple[int, int]) -> FloatArray:
    """White, greyed where the body stands close, and fading to white at the picture's rim."""
    height, width = grid
    x = np.minimum(np.arange(width), np.arange(width)[::-1]) / (FADE * width)
    y = np.minimum(np.arange(height), np.arange(height)[::-1]) / (FADE * height)
    near = np.clip(np.minimum(x[None, :], y[:, None]), 0.0, 1.0).ravel()
    fade = near * near * (3.0 - 2.0 * near)
    return 1.0 - fade * (0.62 * (1.0 - sky) ** 1.15 + 0.10 * (1.0 - lamp))


def _held(tone: FloatArray) -> FloatArray:
    """Tones brighter than white taken back to it in step, so that cream stays cream."""
    return tone / np.maximum(tone.max(axis=1, keepdims=True), 1.0)


def _gloss(sheen: FloatArray, piece: IntArray) -> FloatArray:
    return sheen * np.where(piece >= 0, FILM_GLOSS, PRIMER_GLOSS)


def _edges(tone: FloatArray, piece: IntArray, body: BoolArray) -> BoolArray:
    """Pixels beside a change of tone, of piece, or from body to ground."""
    edge = np.zeros(piece.shape, dtype=bool)
    for axis in (0, 1):
        step = np.abs(np.diff(tone, axis=axis)).max(axis=2) > EDGE_TONE
        step |= np.diff(piece, axis=axis) != 0
        step |= np.diff(body.astype(np.int8), axis=axis) != 0
        before = tuple(slice(None, -1) if a == axis else slice(None) for a in (0, 1))
        after = tuple(slice(1, None) if a == axis else slice(None) for a in (0, 1))
        edge[before] |= step
        edge[after] |= step
    return binary_dilation(edge, iterations=1)


def _carried_on(field: FloatArray, known: BoolArray, grid: tuple[int, int]) -> FloatArray:
    """A field with its unknown pixels filled from the nearest known one."""
    if not known.any():
        return field
    row, column = distance_transform_edt(~known.reshape(grid), return_distances=False, return_indices=True)
    return field.reshape(grid)[row, column].ravel()


def _unit(vectors: FloatArray) -> FloatArray:
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0)
