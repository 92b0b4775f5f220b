"""What the guide says of slits and holes: where each lies on the model, and how it is cut."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

import numpy as np
import shapely

from unwrap.arrays import FloatArray
from unwrap.guide.whereabouts import place_in_words
from unwrap.livery.carry import nearest_on
from unwrap.sheet.naming import has_tip, slit_mouths
from unwrap.sheet.piece import Piece

# Finer holes than this (mm) are closed by the first coat of paint.
LEAST_HOLE = 0.2
# A slit that begins this near another (mm) begins at it.
AT_ANOTHER = 0.01


def about_slits(piece: Piece) -> tuple[str, ...]:
    """A sentence for each slit, in the order to cut them, and how to cut them."""
    flat = piece.flat
    box = flat.surface.min(axis=0), flat.surface.max(axis=0)
    relief, mouths = len(flat.cuts), slit_mouths(piece)
    through = [not has_tip(flat, cut) for cut in flat.cuts]
    said = []
    for k, (mouth, tip) in enumerate(mouths):
        if k < relief:
            line = flat.cuts[k]
            kind = "relief cut"
            start = "the edge"
            goal = "right through to the next edge" if through[k] else "to its tip"
        else:
            line = _on_model(piece, _run_of(piece, mouth, tip))
            kind = "fitting slit"
            start, goal = _begins_at(piece, mouths, k), "to its hole"
        length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
        here, there = (place_in_words(line[end], *box) for end in (0, -1))
        comma = "," if "," in here else ""
        way = f"from {start} {here}{comma} {goal}" + (f" {there}" if there != here else "")
        said.append(f"Slit {k + 1}, a {kind} of {length:.1f} mm, {way}.")
    if said:
        said.append(_how(through, len(mouths) - relief))
    return tuple(said)


def about_holes(piece: Piece) -> tuple[str, ...]:
    """When and how to make the holes."""
    free = len(piece.pierce) - piece.fitted
    later, now = _sizes(piece.pierce[:free, 2]), _sizes(piece.pierce[free:, 2])
    said = []
    if now:
        said.append(
            f"Cut out before soaking, for the parts that are on the model already: {now}. The slit lets the "
            "film pass round the part."
        )
    if later:
        said.append(
            f"Pierce when the film is quite dry: {later}. A needle from outside, twirled, tears less than a "
            "blade."
        )
    return tuple(said)


def _how(through: list[bool], fitting: int) -> str:
    """How far to cut, and how to close what was cut."""
    order = "Cut them in this order"
    to_hole = "a fitting slit goes as far as its hole"
    if not through:
        return f"{order if fitting > 1 else 'Cut it just before soaking'}: {to_hole}."
    if not any(through):
        how = "each from the edge to the ring at its tip and no further"
    elif all(through):
        how = "each from one edge right through to the other"
    else:
        how = (
            "each from the edge to the ring at its tip and no further; those without a ring run right "
            "through to the other edge"
        )
    if fitting:
        how += f"; {to_hole}"
    return (
        f"{order}, {how}. One lip is left a little full: close the slit on the model so that the other lies "
        "on it."
    )


def _run_of(piece: Piece, mouth: FloatArray, tip: FloatArray) -> FloatArray:
    """The slit on the sheet that has these ends."""
    ends = np.concatenate([mouth, tip])
    return min(piece.slits, key=lambda s: float(np.linalg.norm(np.concatenate([s[0], s[-1]]) - ends)))


def _on_model(piece: Piece, points: FloatArray) -> FloatArray:
    """(n, 3) where points of the sheet lie on the model."""
    flat = piece.flat
    corners = np.pad(flat.points, ((0, 0), (0, 1)))[flat.faces]
    face, shares, _ = nearest_on(corners, np.pad(points, ((0, 0), (0, 1))))
    places: FloatArray = np.einsum("nk,nkx->nx", shares, flat.surface[flat.faces[face]])
    return places


def _begins_at(piece: Piece, mouths: list[tuple[FloatArray, FloatArray]], which: int) -> str:
    """Where a fitting slit begins: at an edge, or at another slit or its hole."""
    start = shapely.Point(mouths[which][0])
    if shapely.distance(piece.outline.boundary, start) > AT_ANOTHER:
        for k in range(len(piece.flat.cuts), which):
            other = shapely.LineString(_run_of(piece, *mouths[k]))
            if shapely.distance(other, start) < AT_ANOTHER:
                return f"slit {k + 1}"
        for x, y, diameter in piece.pierce[len(piece.pierce) - piece.fitted :]:
            if abs(np.hypot(x - start.x, y - start.y) - 0.5 * diameter) < AT_ANOTHER:
                return "the hole"
    return "the edge"


def _sizes(diameters: Iterable[float]) -> str:
    """How many holes of which size: "2 of 0.5 mm, 1 of 1.0 mm"; empty where there are none."""
    sizes: dict[str, int] = defaultdict(int)
    for diameter in diameters:
        if diameter >= LEAST_HOLE:
            sizes[f"{diameter:.1f}"] += 1
    return ", ".join(f"{count} of {size} mm" for size, count in sorted(sizes.items()))
