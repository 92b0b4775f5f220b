"""Measure the details that a region was carried over, and say what they ask of the film."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from unwrap.arrays import FloatArray, IntArray
from unwrap.film import Film
from unwrap.regions.bridge import Carried
from unwrap.regions.edges import face_normals
from unwrap.regions.region import Detail

# A footprint this many times as long as wide is a bead or a groove, not a rivet.
LONG = 3.0
# Sunk at least this share of its width, a small detail is a hole to be pierced.
DEEP = 0.5
# Narrower or lower than this, mm, it is a flaw of the mesh that no film shows.
UNSEEN = 0.02
# A film that would have to stretch by more than this (a fraction) does not follow at all.
FAR_TOO_MUCH = 1.0
# Standing this many times its width, it goes through the film like a post.
TALL = 1.2

NAMES = {
    "rivet": "rivet head",
    "bead": "bead or band",
    "groove": "groove",
    "edging": "edging",
    "hole": "hole",
}
PLURAL = {
    "rivet": "rivet heads",
    "bead": "beads and bands",
    "groove": "grooves",
    "edging": "edgings",
    "hole": "holes",
}


def measure_details(
    old: FloatArray, faces: IntArray, vertices: FloatArray, carried: Sequence[Carried]
) -> tuple[Detail, ...]:
    """Kind, place, height, width and profile of each detail that was taken off.

    Parameters
    ----------
    old : (n, 3) float64
        The region's vertices, details included, mm.
    faces : (m, 3) int64
        The region's faces.
    vertices : (k, 3) float64
        The bridged vertices that the footprints are made of, mm.
    carried : sequence of Carried
        What was taken off.

    Returns
    -------
    tuple of Detail
        In the same order, without flaws of the mesh that are too small to see. A detail's
        profile is measured across it: round a long one from its surface over its
        footprint, over a round one along a section.
    """
    if not carried:
        return ()
    _, areas = face_normals(old, faces)
    owner = np.repeat(np.arange(len(carried)), [len(item.faces) for item in carried])
    their = np.concatenate([item.faces for item in carried])
    own_area = np.bincount(owner, weights=areas[their], minlength=len(carried))
    middles = np.array([item.middle for item in carried])
    frames = np.array([item.frame for item in carried])
    ratio = _section(old[faces[their]], owner, middles, frames)
    found = []
    for number, item in enumerate(carried):
        footprint = float(face_normals(vertices, item.fill)[1].sum()) if len(item.fill) else 0.0
        rims = [vertices[loop] for loop in item.loops]
        around = sum(float(np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1).sum()) for rim in rims)
        points = np.concatenate(rims)
        extent = float(np.linalg.norm(np.ptp(_turned(points), axis=0)[:1]))
        half = around / 2
        if len(rims) > 1:
            width = footprint / max(half, 1e-9)
        else:
            width = (half - np.sqrt(max(half * half - 4 * footprint, 0.0))) / 2
        height = item.height
        deep = -height >= DEEP * extent  # a bored hole, whole or cut off at the region's edge
        long = not deep and (len(rims) > 1 or extent > LONG * width > 0)
        if long:
            kind = "groove" if height < 0 else ("edging" if item.outer else "bead")
            profile = own_area[number] / footprint if footprint > 0 else 1.0
        else:
            width = extent
            kind = "hole" if deep else ("rivet" if 0 < height <= TALL * width else "other")
            profile = float(ratio[number])
        if width < UNSEEN or (not deep and abs(height) < UNSEEN):
            continue
        x, y, z = (float(value) for value in item.middle)
        course = points if long else np.zeros((0, 3))
        found.append(Detail(kind, (x, y, z), float(height), float(width), max(1.0, float(profile)), course))
    return tuple(found)


def _turned(points: FloatArray) -> FloatArray:
    """Points along their own principal directions, longest first."""
    middle = points - points.mean(axis=0)
    return middle @ np.linalg.eigh(middle.T @ middle)[1][:, ::-1]


def _section(corners: FloatArray, owner: IntArray, middle: FloatArray, frame: FloatArray) -> FloatArray:
    """Length of the cut through each detail's middle along its longest way, over its chord."""
    count = len(middle)
    offset = corners - middle[owner][:, None]
    height = np.einsum("mij,mj->mi", offset, frame[owner, 1])
    height += 1.23e-4  # clear of corners that lie just on the section
    following = np.roll(height, -1, axis=1)
    crossed = height * following < 0
    two = crossed.sum(axis=1) == 2
    height, following, crossed = height[two], following[two], crossed[two]
    offset, owner = offset[two], owner[two]
    share = np.where(crossed, height / np.where(crossed, height - following, 1.0), 0.0)
    place = offset + share[..., None] * (np.roll(offset, -1, axis=1) - offset)
    ends = place[crossed].reshape(-1, 2, 3)
    length = np.bincount(owner, weights=np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1), minlength=count)
    along = np.einsum("mij,mj->mi", ends, frame[owner, 0])
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, owner, along.min(axis=1))
    np.maximum.at(high, owner, along.max(axis=1))
    chord = np.where(np.isfinite(high - low), high - low, 0.0)
    return np.divide(length, chord, out=np.ones(count), where=chord > 0)


def advise(details: Sequence[Detail], film: Film) -> tuple[str, ...]:
    """Say what the details ask of the film, one sentence for each sort.

    Parameters
    ----------
    details : sequence of Detail
        What a patch was carried over.
    film : Film
        What the film can take up.

    Returns
    -------
    tuple of str
        The commonest sort first: how many, how high and wide, how far the film would
        have to stretch to follow them, and what to do about it.
    """
    sorts: list[list[Detail]] = []
    for detail in sorted(details, key=lambda item: (item.kind, item.width, item.height)):
        for same in sorts:
            if _alike(detail, same[0]):
                same.append(detail)
                break
        else:
            sorts.append([detail])
    lines = []
    for same in sorted(sorts, key=lambda item: -len(item)):
        kind = same[0].kind
        height = float(np.mean([detail.height for detail in same]))
        width = float(np.mean([detail.width for detail in same]))
        profile = float(np.mean([detail.profile for detail in same]))
        name = NAMES.get(kind, "raised part" if height > 0 else "hollow")
        names = PLURAL.get(kind, "raised parts" if height > 0 else "hollows")
        what = f"{len(same)} {names if len(same) > 1 else name}, {width:.2f} mm across"
        if kind == "hole":
            lines.append(f"{what}: covered; pierce at the marks once the film is dry.")
            continue
        what += f" and {abs(height):.2f} mm {'high' if height > 0 else 'deep'}"
        lines.append(f"{what}: {_what_to_do(same, profile - 1.0, height, width, film)}")
    return tuple(lines)


def _alike(one: Detail, other: Detail) -> bool:
    """Whether two details are of one sort, as far as the film goes."""
    if one.kind != other.kind:
        return False
    return abs(one.width - other.width) <= 0.1 + 0.15 * other.width and abs(one.height - other.height) <= 0.08


def _what_to_do(same: Sequence[Detail], stretch: float, height: float, width: float, film: Film) -> str:
    kind, it = same[0].kind, "them" if len(same) > 1 else "it"
    if height > TALL * width:
        return "too tall to lie over; pierce the film and push it down round the foot, or fit the part later."
    need = f"to follow {it} the film must stretch {100 * stretch:.0f} % there"
    can = f"{100 * film.stretch:.0f} %"
    if stretch <= film.stretch:
        return f"{need}, which it takes up by itself ({can})."
    if stretch > FAR_TOO_MUCH:
        need, can = f"no film follows {it} all the way", ""
    far = stretch > 4 * film.stretch
    if kind == "groove":
        line = "each line" if len(same) > 1 else "the line"
        remedy = (
            f"let the film span {it} until it is dry, slit it along {line} with a new blade, and draw the "
            "edges in with softening solution"
        )
    elif kind in ("bead", "edging"):
        remedy = (
            "let it dry, slit it along the foot where it stands off, and draw it down with softening solution"
            if far
            else f"start along {it}, work outwards, and put softening solution along the foot"
        )
    else:
        remedy = (
            "prick it with a needle at the foot of each where air stays underneath, then soften it again"
            if far
            else "put softening solution on twice and press round each with a damp brush, not across"
        )
    return f"{need}{f', more than the {can} it can' if can else ''}; {remedy}; or leave it spanning {it}."
