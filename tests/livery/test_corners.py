"""Corners of line sets against their construction in the plane, where sides curve and meet at a slant."""

import numpy as np
import pytest
import shapely
from livery_patches import bent_panel, flat_side
from shapely.ops import substring

from unwrap.errors import BadInput
from unwrap.livery.lining import lay_lining

# A wide set: what is furthest in lies 3.1 mm from its outer edge.
SET = [
    (0.9, "#202020"),
    (0.4, None),
    (0.3, "#e0c080"),
    (0.6, None),
    (0.4, "#c03030"),
    (0.3, None),
    (0.2, "#fff0d0"),
]
INSET, SIZE = 1.0, 2.4


def arc(middle, radius, start, end, count=24):
    turn = np.radians(np.linspace(start, end, count))
    return np.column_stack([middle[0] + radius * np.cos(turn), middle[1] + radius * np.sin(turn)])


def panel():
    """A side with a scoop, a bulging top, a slanting foot: five corners between 67 and 118 degrees."""
    scoop = arc((40, 30), 16, 270, 185)
    way = scoop[-1] - [12.0, 6.0]
    top = arc((12, 6), np.hypot(*way), np.degrees(np.arctan2(way[1], way[0])), 118)
    return shapely.Polygon(np.vstack([[(0, 0), (44, -6)], scoop, top[1:]]))


def shrunk(area, distance):
    with np.errstate(divide="ignore", invalid="ignore"):
        return shapely.buffer(area, -distance, join_style="mitre", mitre_limit=20.0)


def corners_of(square):
    """Its corners, and its rim from each of them."""
    points = np.asarray(shapely.simplify(square, 1e-4).exterior.coords)[:-1]
    ahead, behind = np.roll(points, -1, axis=0) - points, points - np.roll(points, 1, axis=0)
    turn = np.arctan2(ahead[:, 1] * behind[:, 0] - ahead[:, 0] * behind[:, 1], (ahead * behind).sum(axis=1))
    for k in np.flatnonzero(np.abs(turn) > np.radians(40)):
        yield (
            shapely.Point(points[k]),
            shapely.LineString(np.vstack([np.roll(points, -k, axis=0), points[k]])),
        )


def edge_at(depth, style):
    """What lies inside the set's edge at a depth, drawn from what each style says."""
    square = shrunk(panel(), INSET)
    if style == "rounded":
        return square.buffer(-SIZE, quad_segs=64).buffer(SIZE - depth, quad_segs=64)
    out = square if style == "canted" else shrunk(square, depth)
    for corner, ring in corners_of(square):
        if style == "incurved":
            gone = corner.buffer(SIZE + depth, quad_segs=128)
        elif style == "canted":
            rim = substring(ring, 0, SIZE).coords[::-1], substring(ring, -SIZE, ring.length).coords[::-1]
            gone = shapely.Polygon([*rim[0], *rim[1]]).buffer(0.0)
        else:
            sides = substring(ring, 0, 3 * SIZE), substring(ring, -3 * SIZE, ring.length)
            walls = [side.buffer(SIZE + depth, cap_style="square", join_style="mitre") for side in sides]
            gone = shapely.intersection_all(walls)
        out = shapely.difference(out, gone)
    # A canted panel has no corner that points inwards: what is left at a distance from its rim is the answer.
    return out.buffer(-depth) if style == "canted" else out


@pytest.mark.parametrize("style", ["rounded", "incurved", "canted", "notched"])
def test_widths_and_gaps_stay_true_through_corners_beside_curved_edges(style):
    # Every edge of the set is the outermost one moved inwards, also where the side is bent round a barrel.
    carry = bent_panel(panel(), radius=18.0)
    paints, said = lay_lining(carry, SET, INSET, corner=style, radius=SIZE)
    assert said == ()
    depth, laid = 0.0, iter(paints)
    for width, colour in SET:
        if colour:
            wanted = edge_at(depth, style).difference(edge_at(depth + width, style))
            got = next(laid).area
            # Within 0.02 mm of the construction everywhere, and of the same width in the mean.
            assert got.difference(wanted.buffer(0.02)).area < 1e-9
            assert wanted.difference(got.buffer(0.02)).area < 1e-9
            assert got.area == pytest.approx(wanted.area, rel=2e-4)
        depth += width


@pytest.mark.parametrize("style", ["rounded", "incurved", "canted", "notched"])
def test_corners_of_a_set_round_an_opening_grow_from_line_to_line(style):
    side = flat_side(nx=24, ny=10, skip=lambda x, y: 0.3 < x < 0.6 and 0.3 < y < 0.7)
    inset, size = 2.0, 1.6
    paints, _ = lay_lining(side, SET[:3], inset, edges="openings", corner=style, radius=size)
    (hole,) = side.outline.interiors
    hole = shapely.Polygon(hole)

    def edge(depth):
        # The window grown by the inset, its corners turned, and grown again.
        box = shrunk(hole, -inset)
        x0, y0, x1, y1 = box.bounds
        ends = [(x, y) for x in (x0, x1) for y in (y0, y1)]
        toward = [np.sign([(x0 + x1) / 2 - x, (y0 + y1) / 2 - y]) for x, y in ends]
        if style == "rounded":
            return box.buffer(-size).buffer(size + depth, quad_segs=64)
        if style == "incurved":
            bites = [shapely.Point(end).buffer(size - depth, quad_segs=64) for end in ends]
            # A bite that no longer reaches round the corner is gone.
            return shrunk(box, -depth).difference(shapely.union_all(bites if depth < 0.41 * size else []))
        if style == "canted":
            bites = [
                shapely.Polygon([end, end + way * [size, 0], end + way * [0, size]])
                for end, way in zip(np.array(ends), toward, strict=True)
            ]
        else:
            bites = [
                shapely.box(*np.sort([end, end + way * size], axis=0).ravel())
                for end, way in zip(np.array(ends), toward, strict=True)
            ]
        return shrunk(box.difference(shapely.union_all(bites)), -depth)

    for paint, low, high in zip(paints, (0.0, 1.3), (0.9, 1.6), strict=True):
        wanted = edge(high).difference(edge(low))
        assert paint.area.symmetric_difference(wanted).area < 0.003 * wanted.area
    with pytest.raises(BadInput, match="runs into the opening"):
        lay_lining(side, SET[:1], 0.2, edges="openings", corner=style, radius=size)


def test_a_set_along_the_very_edge_has_its_corners_too():
    (paint,), _ = lay_lining(flat_side(), [(0.5, "#ffffff")], inset=0.0, corner="rounded", radius=3.0)
    outer = shapely.box(3, 3, 57, 22).buffer(3.0, quad_segs=64)
    wanted = outer.difference(shapely.box(3, 3, 57, 22).buffer(2.5, quad_segs=64))
    assert paint.area.symmetric_difference(wanted).area < 0.002 * wanted.area


def test_corners_that_share_a_name_are_told_apart_by_number():
    # A battlement: two teeth, so three corners at the top rear or front share their names.
    side = flat_side(nx=24, ny=10, skip=lambda x, y: 0.25 < x < 0.75 and y > 0.5)
    lines = [(0.5, "#ffffff")]
    with pytest.raises(BadInput) as refusal:
        lay_lining(side, lines, 1.0, corners={"top rear": ("rounded", 2.0)})
    assert '2 corners are called "top rear"; write "top rear 1" for the one at (46.0, 0.0, 24.0)' in str(
        refusal.value
    )
    (one,), _ = lay_lining(side, lines, 1.0, corners={"top rear 2": ("rounded", 2.0)})
    (square,), _ = lay_lining(side, lines, 1.0)
    # What a corner of 2 mm rounds off: (1 - pi / 4) of the squares of its radii.
    gone, come = square.area.difference(one.area), one.area.difference(square.area)
    assert gone.area - come.area == pytest.approx((1 - np.pi / 4) * (2.0**2 - 1.5**2), abs=2e-3)
    assert shapely.box(0.9, 21.9, 3.1, 24.1).covers(shapely.union(gone, come).buffer(-1e-3))


def test_corners_of_a_panel_are_called_after_its_limits():
    side = flat_side()
    (paint,), _ = lay_lining(
        side,
        [(0.5, "#ffffff")],
        inset=2.0,
        within={"x": (10, 31), "z": (4, 21)},
        corners={"top front": ("canted", 3.0), "bottom rear": ("canted", 2.0)},
    )
    frame = shapely.box(12, 6, 29, 19)
    frame = frame.difference(shapely.Polygon([(29, 19), (26, 19), (29, 16)]))
    frame = frame.difference(shapely.Polygon([(12, 6), (14, 6), (12, 8)]))
    assert shapely.Polygon(paint.area.exterior).symmetric_difference(frame).area < 5e-3
