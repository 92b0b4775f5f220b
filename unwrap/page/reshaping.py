"""What a click or a line drawn round means for a region's mark, so that its own point stays on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely

from unwrap.arrays import BoolArray, FloatArray
from unwrap.errors import BadInput
from unwrap.job_regions import RegionMark
from unwrap.page.session import Session, mark_named

# The two axes of the body that a view shows.
PLANES = {"left": (0, 2), "right": (0, 2), "front": (1, 2), "rear": (1, 2), "top": (0, 1)}
# Places that are tried on each face of a region of few faces, along each of its sides.
FEW_FACES, TRIED = 4000, 7


def with_place(session: Session, name: str, at: Sequence[float]) -> dict[str, Any]:
    """A region's settings with what is at a place added; what was left out there comes back."""
    mark = _own(session, name)
    beside = _together(session, mark.crease, at, mark.less)
    if beside:
        return {"less": _without(mark.less, beside)}
    return {"also": [*map(list, mark.also), list(at)]}


def without_place(session: Session, name: str, at: Sequence[float]) -> dict[str, Any]:
    """A region's settings with what is at a place left out; what was added there goes again."""
    mark = _own(session, name)
    beside = _together(session, mark.crease, at, mark.also)
    if beside:
        return {"also": _without(mark.also, beside)}
    return {"less": [*map(list, mark.less), list(at)]}


def trimmed(session: Session, name: str, values: Mapping[str, Any]) -> dict[str, Any]:
    """Settings that trim a region, with its points moved to what is left where they must be.

    Parameters
    ----------
    session : Session
    name : str
        The region.
    values : mapping
        `within`, or `trim` with one more polygon at its end.
    """
    mark, wanted = _own(session, name), session.tried(name, dict(values))
    points = np.array([mark.at, *mark.also], dtype=float)
    kept = _kept(wanted, points)
    if kept.all():
        return dict(values)
    stay = points[1:][kept[1:]]
    moved: dict[str, Any] = {"also": stay.tolist() or None} if len(stay) < len(mark.also) else {}
    if not kept[0]:
        region = session.region(mark, session.job())
        moved["at"] = _well_inside(wanted, region.vertices[region.faces]).round(3).tolist()
    return {**values, **moved}


def _own(session: Session, name: str) -> RegionMark:
    mark = mark_named(session.job(), name)
    if mark.mirror_of is not None:
        raise BadInput(f'"{name}" is the reflection of "{mark.mirror_of}"; change that one.')
    return mark


def _together(
    session: Session, crease: float, at: Sequence[float], places: Sequence[Sequence[float]]
) -> list[int]:
    """Which of some places are on the same smooth part as a place."""
    look, outside = session.first_look(), session.outside_if_known()
    part = look.parts(crease)
    here = part[look.face_at(at, outside)]
    return [i for i, place in enumerate(places) if part[look.face_at(place, outside)] == here]


def _without(places: Sequence[Sequence[float]], gone: Sequence[int]) -> list[list[float]] | None:
    return [list(place) for i, place in enumerate(places) if i not in gone] or None


def _kept(mark: RegionMark, places: FloatArray) -> BoolArray:
    """Which places a mark's limits and polygons leave; a dropped polygon counts right through."""
    kept = np.ones(len(places), dtype=bool)
    for axis, (low, high) in mark.within.as_dict().items():
        along = places[:, "xyz".index(axis)]
        kept &= (along >= low) & (along <= high)
    for trim in mark.trim:
        inside = shapely.contains_xy(_area(trim.corners), *places[:, PLANES[trim.view]].T)
        kept &= inside if trim.keep else ~inside
    return kept


def _well_inside(mark: RegionMark, corners: FloatArray) -> FloatArray:
    """The place on some faces that is left and farthest from where they are trimmed."""
    places = _places_on(corners)
    places = places[_kept(mark, places)]
    if not len(places):
        raise BadInput(f'"{mark.name}": nothing would be left of it; trim less.')
    away = np.full(len(places), np.inf)
    for axis, limits in mark.within.as_dict().items():
        for limit in limits:
            away = np.minimum(away, np.abs(places[:, "xyz".index(axis)] - limit))
    for trim in mark.trim:
        flat = shapely.points(places[:, PLANES[trim.view]])
        away = np.minimum(away, shapely.distance(_area(trim.corners).boundary, flat))
    return places[int(np.argmax(away))]


def _places_on(corners: FloatArray) -> FloatArray:
    """(k, 3) places spread over faces."""
    if len(corners) > FEW_FACES:
        return corners.mean(axis=1)
    a, b = (np.indices((TRIED, TRIED)) + 1).reshape(2, -1) / (TRIED + 2)
    weights = np.column_stack([a, b, 1 - a - b])[a + b < 1]
    return np.einsum("wc,fcd->fwd", weights, corners).reshape(-1, 3)


def _area(corners: Sequence[tuple[float, float]]) -> shapely.Geometry:
    return shapely.make_valid(shapely.Polygon(corners))
