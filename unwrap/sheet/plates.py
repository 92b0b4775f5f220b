"""Knock-out and white: which ground each paint keeps, and what white goes under."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import shapely

from unwrap.livery.fit import curves_of_area
from unwrap.livery.paint import Curve
from unwrap.sheet.piece import Piece

# Smaller than any dot, mm^2.
LEAST_AREA = 1e-4
# Half the width of a crack that no printer could leave open, mm.
CRACK = 2e-3
# What stands for the colour of ground that has many.
PICTURE = "picture"


def white_area(piece: Piece, choke: float = 0.15, bare: frozenset[str] = frozenset()) -> shapely.Geometry:
    """The ground that white covers on a piece.

    Parameters
    ----------
    piece : Piece
        The piece; its bleed gets white as well, or the cut edge would look thin.
    choke : float
        How far white stays inside the edge of the colour, mm: as far as the printer
        may shift one ink against the others.
    bare : frozenset of str
        Colours ("#rrggbb") and kinds of paint that stand on bare film, such as tinted
        windows. What covers them later has its white all the same.

    Returns
    -------
    shapely Polygon or MultiPolygon
        All that is printed, less the choke. Paint that is itself white is printed by
        this plate alone, so it keeps its edge wherever it borders on bare film.
    """
    visible = visible_paints(piece)
    printed = shapely.union_all([paint.area for paint in piece.paints])
    left_bare = [area for kind, colour, area in visible if colour in bare or kind in bare]
    if left_bare:
        printed = printed.difference(shapely.union_all(left_bare))
    # What is painted edge to edge meets but for roundings; a choke would make holes of them.
    inside = offset(polygons_in(offset(printed, CRACK)), -choke - CRACK)
    own = shapely.union_all(
        [
            area
            for kind, colour, area in visible
            if is_white(colour) and colour not in bare and kind not in bare
        ]
    )
    return polygons_in(shapely.union(inside, own))


@lru_cache(maxsize=128)
def white_curves(piece: Piece, choke: float, bare: frozenset[str]) -> tuple[Curve, ...]:
    """The outlines of the white on a piece, kept: every copy and every file asks for them."""
    return curves_of_area(white_area(piece, choke, bare))


@lru_cache(maxsize=128)
def visible_paints(piece: Piece) -> tuple[tuple[str, str, shapely.Geometry], ...]:
    """What is seen of every paint once the later ones cover it: (kind, colour, area), mm.

    The colour of a picture or shading is `PICTURE`.
    """
    seen: list[tuple[str, str, shapely.Geometry]] = []
    above = shapely.Polygon()
    for paint in reversed(piece.paints):
        left = polygons_in(paint.area.difference(above))
        if not left.is_empty:
            # A picture's colour is only its mean: it is no flat ground of that colour.
            seen.append((paint.kind, paint.colour.lower() if paint.picture is None else PICTURE, left))
        above = above.union(paint.area)
    return tuple(seen[::-1])


def is_white(colour: str) -> bool:
    """Whether a colour is the white of the white ink itself."""
    return colour.lower() in ("#ffffff", "#fff")


def polygons_in(area: shapely.Geometry) -> shapely.Geometry:
    """What of a shape has an area worth printing: slivers, pinholes and loose lines are dropped.

    Pinholes of no area are left by unions of shapes that nearly fit; the overlay of the
    geometry library has been seen to fail on them, so none may be passed on.
    """
    kept = []
    for part in shapely.get_parts(shapely.get_parts(area)):
        if part.geom_type == "Polygon" and part.area > LEAST_AREA:
            holes = [ring for ring in part.interiors if shapely.Polygon(ring).area > LEAST_AREA]
            kept.append(part if len(holes) == len(part.interiors) else shapely.Polygon(part.exterior, holes))
    return kept[0] if len(kept) == 1 else shapely.union_all(kept) if kept else shapely.Polygon()


def offset(shape: shapely.Geometry, by: float, mitre_limit: float = 2.0, **more: str) -> shapely.Geometry:
    """A shape grown by `by` mm, or shrunk where that is negative, its corners kept sharp.

    Vertices closer together than a ten-thousandth of a millimetre are thinned first: at
    them an offset's corner divides by nothing. The geometry library copes, but leaves
    the processor's error flags up behind it, so those are not listened to.
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return shapely.simplify(shape, 1e-4).buffer(by, join_style="mitre", mitre_limit=mitre_limit, **more)
