"""What a relief cut costs at each place of a region: where it hides, and where it is looked at."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely
import shapely.affinity
from scipy.spatial import cKDTree

from unwrap.arrays import BoolArray, FloatArray
from unwrap.body.body import Body
from unwrap.body.views import view_frame
from unwrap.errors import BadInput
from unwrap.flatten.edges import boundary_edges, interior_edges
from unwrap.job import Job
from unwrap.job_livery import LetteringMark, LiningMark
from unwrap.job_regions import RegionMark
from unwrap.livery.glyphs import letters
from unwrap.livery.lettering import anchored, bent, reading_direction
from unwrap.livery.svg_read import read_drawing
from unwrap.regions.region import Patch

# Shares of an ordinary millimetre of cut: choices of ours, not measured.
UNDERNEATH, BEHIND, WISHED, ALONG_LINES, ALONG_CREASE = 0.4, 0.7, 0.3, 0.5, 0.5
LOOKED_AT, UNWISHED, THROUGH_LETTERS = 1.3, 4.0, 6.0
# Ground that faces a way by this much (the cosine) faces it wholly; up to there the cost changes evenly.
WHOLLY, WHOLLY_DOWN = 0.7, 0.5
# A cut keeps this far from letters, mm, and this share of their height.
BESIDE_LETTERS, OF_HEIGHT = 0.5, 0.2
# A drawn shape is small if it is less than this share of the region across; a colour panel is larger.
SMALL = 0.35
# An edge is a crease if it bends by this much and this many times as much as most edges of the region do.
BEND, SHARPER = np.radians(12.0), 3.0
# A line's cut may run this far beside it, mm, where the mesh has no vertex on the line itself.
BESIDE = 1.0


def cut_cost(
    job: Job, mark: RegionMark, patch: Patch, body: Body | None = None, folder: Path | None = None
) -> tuple[FloatArray | None, BoolArray | None]:
    """Cost of a millimetre of cut at each vertex, and where none may go.

    Cheap underneath, behind, along lining, bands, the edges of drawn colour panels, creases and panel
    lines and where the job prefers cuts; dear on the sides and the front, which are looked at most,
    through lettering and small artwork, and where the job would avoid them.

    Parameters
    ----------
    job : Job
    mark : RegionMark
        The region, with its wishes.
    patch : Patch
        Its surface.
    body : Body, optional
        The whole body: what drawn artwork is placed by. Without it artwork has no say.
    folder : Path, optional
        Where the drawings are named from.

    Returns
    -------
    cost : (n,) float64 or None
        1 = ordinary; None where all is.
    keep_clear : (n,) bool or None
        None where cuts may go anywhere.
    """
    places, wishes = patch.vertices, mark.relief
    cost = np.ones(len(places))
    out = _normals(patch)
    looked_at = np.maximum(np.abs(out[:, 1]), out[:, 0])
    for facing, wholly, share in (
        (-out[:, 0], WHOLLY, BEHIND),
        (-out[:, 2], WHOLLY_DOWN, UNDERNEATH),
        (looked_at, WHOLLY, LOOKED_AT),
    ):
        cost *= 1.0 + (share - 1.0) * np.clip(facing / wholly, 0.0, 1.0)
    along = np.zeros(len(places), dtype=bool)
    for band in job.marks_for(job.band, mark):
        along |= np.abs(places[:, 0] - band.at_x) <= 0.5 * sum(width for width, _ in band.pairs)
    for lining in job.marks_for(job.lining, mark):
        along |= _under_lining(lining, patch)
    dear = np.zeros(len(places), dtype=bool)
    if body is not None:
        small, joints = _under_artwork(job, patch, out, body, folder or Path())
        dear |= small
        along |= joints
    bent = _creases(patch) | _beside_long_details(patch)
    # What runs along a line is hidden from all sides, from where it is looked at too.
    cost[along | bent] = np.minimum(cost[along | bent], 1.0)
    cost[along] *= ALONG_LINES
    cost[bent] *= ALONG_CREASE
    cost[_near(places, wishes.prefer, wishes.reach)] *= WISHED
    cost[_near(places, wishes.avoid, wishes.reach)] *= UNWISHED
    for lettering in job.marks_for(job.lettering, mark):
        dear |= _under_letters(lettering, places, out)
    cost[dear] *= THROUGH_LETTERS
    clear = _near(places, wishes.keep_clear, wishes.reach)
    return (None if np.all(cost == 1.0) else cost), (clear if clear.any() else None)


def _near(places: FloatArray, points: Sequence[tuple[float, float, float]], reach: float) -> BoolArray:
    if not points:
        return np.zeros(len(places), dtype=bool)
    near: BoolArray = np.asarray(cKDTree(np.array(points)).query(places)[0]) <= reach
    return near


def _under_letters(lettering: LetteringMark, places: FloatArray, out: FloatArray) -> BoolArray:
    """Vertices under or beside a line of text, judged in the plane that touches the region there."""
    texts = {lettering.text_for(k) for k in range(max(len(lettering.numbers), 1))}
    areas = [area for text in texts if (area := _letters_of(lettering, text)) is not None]
    if not areas:  # it cannot be laid, which is told where it is tried
        return np.zeros(len(places), dtype=bool)
    beside = max(BESIDE_LETTERS, OF_HEIGHT * lettering.height)
    ground = shapely.union_all(areas).convex_hull.buffer(beside)
    at = np.asarray(lettering.at)
    normal = out[int(np.argmin(np.linalg.norm(places - at, axis=1)))]
    right = reading_direction(normal)
    away = places - at
    flat = away @ np.column_stack([right, np.cross(normal, right)])
    # Over a curved surface text reaches as far as the ground is long, not as its picture is.
    size = np.linalg.norm(flat, axis=1)
    flat *= (np.linalg.norm(away, axis=1) / np.maximum(size, 1e-9))[:, None]
    under: BoolArray = shapely.contains_xy(ground, *flat.T) & (out @ normal > 0.0)
    return under


def _letters_of(lettering: LetteringMark, text: str) -> shapely.Geometry | None:
    """A text's letters as laid, its place at the origin, mm; None if it cannot be set."""
    try:
        glyphs = letters(text, lettering.font, lettering.weight, lettering.height, lettering.spacing)
        if lettering.arc is not None:
            glyphs = bent(glyphs, lettering.arc, lettering.height, text)
    except BadInput:
        return None
    if not glyphs:
        return None
    area = anchored(glyphs, lettering.height, lettering.anchor)
    return shapely.affinity.rotate(area, lettering.turn, origin=(0, 0))


def _under_lining(lining: LiningMark, patch: Patch) -> BoolArray:
    """Vertices on a line set, judged by their straight distance from the edge it follows."""
    places = patch.vertices
    away = np.full(len(places), np.inf)
    inside = np.ones(len(places), dtype=bool)
    for axis, limits in lining.within.as_dict().items():
        to_limit = np.column_stack(
            [places[:, "xyz".index(axis)] - limits[0], limits[1] - places[:, "xyz".index(axis)]]
        )
        inside &= (to_limit >= 0.0).all(axis=1)
        away = np.minimum(away, to_limit.min(axis=1))
    edges = boundary_edges(patch.faces)
    share = np.linspace(0.0, 1.0, 4)[:-1, None, None]
    rim = (places[edges[:, 0]] * (1.0 - share) + places[edges[:, 1]] * share).reshape(-1, 3)
    away = np.minimum(away, np.asarray(cKDTree(rim).query(places)[0]))
    spacing = float(np.median(np.linalg.norm(places[edges[:, 0]] - places[edges[:, 1]], axis=1)))
    beside = min(0.5 * spacing, BESIDE)
    depth = sum(width for width, _ in lining.pairs)
    under: BoolArray = inside & (away >= lining.inset - beside) & (away <= lining.inset + depth + beside)
    # On the rim itself a cut has nowhere to run along.
    under[np.unique(edges)] = False
    return under


def _creases(patch: Patch) -> BoolArray:
    """Vertices on edges that bend sharply where most of the region does not."""
    a, b, c = np.moveaxis(patch.vertices[patch.faces], 1, 0)
    normal = np.cross(b - a, c - a)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    edges, pairs = interior_edges(patch.faces)
    turn = np.arccos(np.clip(np.einsum("ij,ij->i", normal[pairs[:, 0]], normal[pairs[:, 1]]), -1.0, 1.0))
    found = np.zeros(len(patch.vertices), dtype=bool)
    if len(turn):
        found[edges[turn > max(BEND, SHARPER * float(np.quantile(turn, 0.75)))].ravel()] = True
    return found


def _beside_long_details(patch: Patch) -> BoolArray:
    """Vertices on or beside grooves and beads: film carried over a panel line hides a cut there."""
    found = np.zeros(len(patch.vertices), dtype=bool)
    for detail in patch.details:
        if len(detail.course):
            points = np.concatenate(
                [detail.course, 0.5 * (detail.course + np.roll(detail.course, -1, axis=0))]
            )
            away = np.asarray(cKDTree(points).query(patch.vertices)[0])
            found |= away <= 0.5 * detail.width + BESIDE
    return found


def _under_artwork(
    job: Job, patch: Patch, out: FloatArray, body: Body, folder: Path
) -> tuple[BoolArray, BoolArray]:
    """Vertices that a small drawn shape falls on, and those on a large one's edge, where colours meet."""
    under = np.zeros(len(patch.vertices), dtype=bool)
    joints = np.zeros(len(patch.vertices), dtype=bool)
    for artwork in job.artwork:
        across, upward, ahead = view_frame(artwork.view)
        frame = np.column_stack([across, upward])
        whole, seen = body.vertices @ frame, patch.vertices @ frame
        drawing = read_drawing(folder / artwork.file, (*whole.min(axis=0), *whole.max(axis=0)))
        largest = SMALL * float(np.ptp(seen, axis=0).max())
        facing = out @ ahead < -0.2
        for shape in drawing.shapes:
            low_x, low_y, high_x, high_y = shape.area.bounds
            if max(high_x - low_x, high_y - low_y) < largest:
                under |= facing & shapely.contains_xy(shape.area.buffer(0.5), *seen.T)
            else:
                joints |= facing & shapely.contains_xy(shape.area.boundary.buffer(BESIDE), *seen.T)
    return under, joints & ~under


def _normals(patch: Patch) -> FloatArray:
    """(n, 3) unit normals at the vertices, weighted by area."""
    a, b, c = np.moveaxis(patch.vertices[patch.faces], 1, 0)
    face = np.cross(b - a, c - a)
    normal = np.zeros_like(patch.vertices)
    np.add.at(normal, patch.faces, face[:, None])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    return np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
