"""What to know about one piece at the bench: facing, joint, strain, slits, holes, details."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.flatten.strain import crosses
from unwrap.guide.report import per_cent
from unwrap.guide.slit_words import about_holes, about_slits
from unwrap.guide.upright import upright
from unwrap.guide.whereabouts import heading_in_words, place_in_words, way_in_words
from unwrap.regions import advise as about_details
from unwrap.sheet.piece import Piece

# Less strain than this (fraction) needs no brushing out.
UNFELT = 0.003
# Lower details than this (mm) are facets, not details.
LEAST_DETAIL = 0.02


@dataclass(frozen=True)
class Advice:
    """Sentences about one piece, each list empty where there is nothing to say."""

    facing: str
    joint: tuple[str, ...]
    strain: tuple[str, ...]
    slits: tuple[str, ...]
    holes: tuple[str, ...]
    details: tuple[str, ...]


def advise(piece: Piece) -> Advice:
    """Gather what a modeller must know to lay one piece."""
    return Advice(
        facing=_facing(piece),
        joint=_joint(piece),
        strain=_strain(piece),
        slits=about_slits(piece),
        holes=about_holes(piece),
        details=_details(piece),
    )


def _facing(piece: Piece) -> str:
    piece = upright(piece)
    parts = []
    if piece.front.any():
        parts.append(f"the model's front lies {heading_in_words(piece.front)}")
    if piece.up.any():
        parts.append(f"its top {heading_in_words(piece.up)}")
    if not parts:
        return "It has no clear front or top: go by the outline."
    return f"In the drawing, seen as it lies on the model, {' and '.join(parts)}."


def _joint(piece: Piece) -> tuple[str, ...]:
    said = []
    if piece.under:
        said.append(
            f"It is part of a surface that no one piece covers. Lay it before {' and '.join(piece.under)}: "
            "along the parting its edge runs on a little beneath."
        )
    for joint in piece.patch.joints:
        line = piece.patch.vertices[joint.first]
        along = way_in_words(line[-1] - line[0], np.zeros(3))
        where = place_in_words(line.mean(axis=0), *_box(piece.patch.vertices))
        length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
        said.append(
            f"Its two edges meet {where}, along a joint of {length:.0f} mm that runs {along}. "
            "Lay the middle of the piece opposite the joint first and work both ways round to it."
        )
    return tuple(said)


def _strain(piece: Piece) -> tuple[str, ...]:
    flat = piece.flat
    grow, shrink = flat.stretch_figures.worst, flat.compression_figures.worst
    if max(grow, shrink) < UNFELT:
        return ("It lies flat on its surface: nothing needs stretching.",)
    _, directions, stretch = crosses(flat.surface, flat.points, flat.faces)
    said = []
    low, high = _box(flat.surface)
    if grow >= UNFELT:
        place, way = _worst(piece, stretch[:, 0] - 1.0, directions[:, 0])
        said.append(
            f"It must stretch by up to {per_cent(grow)} {place_in_words(place, low, high)}. There, brush "
            f"from the middle of the piece outward, {way_in_words(way, np.zeros(3))}."
        )
    if shrink >= UNFELT:
        place, way = _worst(piece, 1.0 - stretch[:, 1], directions[:, 1])
        said.append(
            f"It must shrink by up to {per_cent(shrink)} {place_in_words(place, low, high)}, where "
            f"fullness will gather {way_in_words(way, np.zeros(3))}. Soften it, and dab the fullness in "
            f"evenly; never fold it over."
        )
    if not flat.within:
        said.append(
            f"That is more than the film was said to take ({per_cent(flat.film.stretch)} and "
            f"{per_cent(flat.film.compression)}) on {per_cent(flat.area_beyond)} of the piece: try it on a "
            f"spare first."
        )
    return tuple(said)


def _worst(piece: Piece, size: FloatArray, directions: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where the top tenth of a strain lies, and its direction on the body."""
    flat = piece.flat
    strong = size >= 0.9 * size.max()
    weight = flat.areas * strong * size
    at = int(np.argmax(weight))
    # The strained ground may be a ring: its mean place would lie inside it.
    place = flat.surface[flat.faces[at]].mean(axis=0)
    a, b, c = flat.points[flat.faces[at]]
    u, v, w = flat.surface[flat.faces[at]]
    shares = np.linalg.solve(np.column_stack([b - a, c - a]), directions[at])
    return place, shares[0] * (v - u) + shares[1] * (w - u)


def _details(piece: Piece) -> tuple[str, ...]:
    # Covered holes are pierced, not followed.
    followed = [d for d in piece.patch.details if d.kind != "hole" and abs(d.height) >= LEAST_DETAIL]
    return about_details(followed, piece.flat.film)


def _box(places: FloatArray) -> tuple[FloatArray, FloatArray]:
    return places.min(axis=0), places.max(axis=0)
