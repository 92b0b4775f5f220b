"""Bands and lettering on surfaces whose flat pieces are known exactly."""

import numpy as np
import pytest
import shapely
from livery_patches import barrel, flat_side, make_carry

from unwrap.errors import BadInput
from unwrap.livery.band import lay_band
from unwrap.livery.glyphs import letters
from unwrap.livery.lettering import lay_lettering

SET = [(0.3, "#e0c080"), (0.4, None), (0.8, "#c03030")]


def test_band_round_a_barrel_is_straight_and_ends_on_the_joint():
    boiler = barrel()
    girth = boiler.flat.points[:, 1].max()
    paints, _ = lay_band(boiler, 20.0, SET)
    for paint, (rear, front) in zip(paints, [(20.45, 20.75), (19.25, 20.05)], strict=True):
        assert (
            paint.area.symmetric_difference(shapely.box(rear, 0, front, girth)).area < 1e-3 * paint.area.area
        )


def test_band_on_a_cone_keeps_its_width_over_the_surface():
    # A cone of half angle b about x, apex at the origin: the ring at x lies x / cos b
    # from the apex, so on the sheet the band is a ring about the apex of the same width.
    b, sides = 0.4, 64
    x = np.linspace(20.0, 40.0, 9)
    turn = np.linspace(0, 1.2 * np.pi, sides + 1)
    surface, points, faces = [], [], []
    half = np.pi * 1.2 / sides / 2
    # The faceted cone's own metric: slant of its edges, angle of its facets at the apex.
    facet = 2 * np.arcsin(np.sin(b) * np.sin(half))
    for i, station in enumerate(x):
        r = station * np.tan(b)
        for j in range(sides + 1):
            surface.append([station, r * np.cos(turn[j]), r * np.sin(turn[j])])
            slant = station / np.cos(b)
            points.append([slant * np.cos(j * facet), slant * np.sin(j * facet)])
            if i and j:
                p, q = (i - 1) * (sides + 1) + j - 1, i * (sides + 1) + j - 1
                faces += [[p, q, q + 1], [p, q + 1, p + 1]]
    cone = make_carry(np.array(surface), np.array(points), np.array(faces), "firebox")
    (paint,), _ = lay_band(cone, 30.0, [(0.8, "#ffffff")])
    middle = 30.0 / np.cos(b)
    slant = np.linalg.norm(np.asarray(paint.area.exterior.coords), axis=1)
    # Its ends, on the region's own edge, have a vertex half way.
    along = slant[np.abs(slant - middle) > 1e-3]
    assert len(along) > 2 * sides
    assert np.abs(np.abs(along - middle) - 0.4).max() < 0.02


def test_band_off_the_region_is_refused():
    with pytest.raises(BadInput, match=r"from x = 0\.00 to 50\.00"):
        lay_band(barrel(), 80.0, SET)


def test_letters_have_the_asked_height_and_read_from_left_to_right():
    paint = lay_lettering(flat_side(), "HE", 3.0, (30, 0, 12))[0]
    left, bottom, right, top = paint.area.bounds
    assert top - bottom == pytest.approx(3.0, abs=1e-3)
    assert 0.5 * (left + right) == pytest.approx(30.0, abs=1e-3)
    assert 0.5 * (bottom + top) == pytest.approx(12.0, abs=1e-3)
    h, e = sorted(shapely.get_parts(paint.area), key=lambda part: part.centroid.x)
    # An H is the same both ways round, an E has its stem on the left.
    assert h.centroid.x == pytest.approx(0.5 * (h.bounds[0] + h.bounds[2]), abs=1e-3)
    assert e.centroid.x < 0.5 * (e.bounds[0] + e.bounds[2]) - 0.1


def test_lettering_on_a_barrel_is_true_to_its_facets():
    boiler = barrel()
    on_barrel = lay_lettering(boiler, "No. 7", 3.0, (25, -12, 0))[0].area
    on_flat = lay_lettering(flat_side(50.0, 25.0), "No. 7", 3.0, (25, 0, 12))[0].area
    assert on_barrel.area == pytest.approx(on_flat.area, rel=1e-4)
    x, y = (np.array(on_barrel.centroid.coords) - np.array(on_flat.centroid.coords))[0]
    moved = shapely.affinity.translate(on_flat, x, y)
    assert on_barrel.symmetric_difference(moved).area < 2e-3 * on_flat.area


def test_lettering_runs_on_across_the_joint_underneath():
    boiler = barrel()
    paint = lay_lettering(boiler, "OXO", 3.0, (25, 0, -12), turn=np.pi / 2)[0]
    whole = shapely.union_all(letters("OXO", "DejaVu Sans", "bold", 3.0)).area
    assert paint.area.area == pytest.approx(whole, rel=1e-3)
    girth = boiler.flat.points[:, 1].max()
    assert paint.area.bounds[1] < 1e-3 and paint.area.bounds[3] > girth - 1e-3


def test_outline_and_shadow_lie_under_the_letters():
    shadow, outline, letter = lay_lettering(
        flat_side(), "I", 4.0, (30, 0, 12), outline=(0.3, "#ffffff"), shadow=(0.5, -0.4, "#000000")
    )
    assert [p.colour for p in (shadow, outline)] == ["#000000", "#ffffff"]
    # A bold I is a plain bar: its outline is the bar grown by 0.3 with round corners, and
    # the shadow sweeps a width of w dy + h dx more.
    left, low, right, high = letter.area.bounds
    w, h = right - left, high - low
    assert outline.area.area == pytest.approx(w * h + 0.6 * (w + h) + np.pi * 0.09, rel=1e-3)
    left, low, right, high = shadow.area.bounds
    assert (right - left, high - low) == pytest.approx((w + 0.6 + 0.5, h + 0.6 + 0.4), abs=1e-3)


def test_letters_round_an_arc_stand_on_it():
    radius = 10.0
    paint = lay_lettering(flat_side(), "IIIII", 2.0, (30, 0, 12), arc=radius, spacing=1.0)[0]
    bars = sorted(shapely.get_parts(paint.area), key=lambda bar: bar.centroid.x)
    middle = np.array([[bar.centroid.x, bar.centroid.y] for bar in bars])
    # The middles of the bars are a unit above the base line: on a circle of radius 11.
    top = middle[2]
    away = np.linalg.norm(middle - (top - [0, radius + 1.0]), axis=1)
    assert np.abs(away - (radius + 1.0)).max() < 0.01
    assert middle[0, 1] < top[1] - 0.3
    with pytest.raises(BadInput, match="too tight"):
        lay_lettering(flat_side(), "IIIIIIIII", 2.0, (30, 0, 12), arc=2.0)


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"text": " "}, "the text is empty"),
        ({"at": (30, 40, 12)}, "40.0 mm away from the region"),
        ({"font": "No Such Face"}, "is not installed"),
        ({"font": "nowhere/letters.ttf"}, "no font file"),
        ({"text": "No. \U000130fb"}, "has no \U000130fb"),
        ({"at": (1, 0, 12)}, "runs off the region"),
        ({"height": 0.0}, "the height is 0.0"),
    ],
)
def test_lettering_that_cannot_be_laid_is_refused(asked, sentence):
    given = {"text": "Quarry", "height": 3.0, "at": (30, 0, 12)} | asked
    with pytest.raises(BadInput, match=sentence):
        lay_lettering(flat_side(), **given)
