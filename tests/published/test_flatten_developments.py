"""Developments of sheet-metal work, against the closed forms of their sources.

A faceted surface is developable itself: its flat shape must be exact to the facets, and the
facets' closed form tends to the smooth one. Sources:

* cones and frusta: *Sheet Metal Drafting* (E. M. Longfield, 1921), "Area of a Sector";
  frustum example 5 in / 8 in / 4 in: "The Net of a Frustum" (geometry course page);
* cut cylinder and cut cone: T. M. Apostol, M. A. Mnatsakanian, "Unwrapping Curves from
  Cylinders and Cones", Amer. Math. Monthly 114 (2007), sect. 2 and eq. (23);
* T joint: *Sheet and Plate Metal Work*, "Tee Piece with Unequal Pipes" (girth of the hole);
* oblique cone: F. S. Kidder, *Triangulation Applied to Sheet Metal Pattern Cutting* (1920), the
  shop method with chords, whose total angles for 12, 24 and 96 triangles are the
  discrete sums derived and checked by script.
"""

import numpy as np
import pytest
import surfaces

from unwrap import Film
from unwrap.flatten import flatten

EXACT = 1e-6
OUTLINE = 1e-4  # mm


def laid(v, f):
    piece = flatten(v, f, Film.set())
    assert np.abs(piece.stretch - 1.0).max() <= EXACT
    assert not piece.overlap and piece.bound == pytest.approx(1.0, abs=1e-6)
    return piece


def fit(one, two):
    a, b = one - one.mean(axis=0), two - two.mean(axis=0)
    z, w = a[:, 0] + 1j * a[:, 1], b[:, 0] + 1j * b[:, 1]
    turn = np.vdot(z, w)
    return float(np.abs(z * turn / abs(turn) - w).max())


def wall(bottom, top, across):
    """A wall between two rings of points (opened at their ends), outside seen counter-clockwise."""
    return surfaces.ruled(bottom, top, across)


def angle_at(points, apex, first, last):
    a, b = points[first] - points[apex], points[last] - points[apex]
    turn = np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)
    return np.degrees(turn % (2 * np.pi))


@pytest.mark.parametrize(
    ("r", "h", "degrees"),
    [(30.0, 40.0, 216.0), (25.0, 60.0, 138.462), (20.0, 21.0, 248.276), (25.0, 25.0, 254.558)],
)
def test_cone_sector_angle(r, h, degrees):
    n = 720
    turn = np.linspace(0.0, 2.0 * np.pi, n + 1)
    rim = np.column_stack([r * np.cos(turn), r * np.sin(turn), np.zeros(n + 1)])
    v = np.vstack([rim, [[0.0, 0.0, h]]])
    k = np.arange(n)
    f = np.column_stack([k, k + 1, np.full(n, n + 1)])
    piece = laid(v, f)
    slant = np.hypot(r, h)
    faceted = np.degrees(n * 2.0 * np.arcsin(r * np.sin(np.pi / n) / slant))
    sides = np.cumsum(np.full(n, 2.0 * np.arcsin(r * np.sin(np.pi / n) / slant)))
    expected = slant * np.column_stack([np.cos(np.r_[0.0, sides]), np.sin(np.r_[0.0, sides])])
    assert fit(piece.points, np.vstack([expected, [[0.0, 0.0]]])) <= OUTLINE
    # The smooth table value, to the chords' (pi/n)^2/6.
    assert faceted == pytest.approx(degrees, rel=1e-5)


@pytest.mark.parametrize(
    ("low", "high", "h", "inner", "outer", "degrees"),
    [
        (4.0, 2.5, 4.0, 7.12, 11.392, 126.404),
        (30.0, 18.0, 16.0, 30.0, 50.0, 216.0),
        (50.0, 30.0, 60.0, 94.8683, 158.114, 113.842),
    ],
)
def test_frustum(low, high, h, inner, outer, degrees):
    # The tables' six digits are checked first, then used in full length.
    slant = np.hypot(low - high, h)
    assert [slant * high / (low - high), slant * low / (low - high)] == pytest.approx(
        [inner, outer], rel=1e-5
    )
    inner, outer = slant * high / (low - high), slant * low / (low - high)
    n = 240
    turn = np.linspace(0.0, 2.0 * np.pi, n + 1)
    rings = [
        np.column_stack([r * np.cos(turn), r * np.sin(turn), np.full(n + 1, z)])
        for r, z in ((low, 0.0), (high, h))
    ]
    piece = laid(*wall(*rings, 4))
    step = 2.0 * np.arcsin(low * np.sin(np.pi / n) / outer)
    angle = step * np.arange(n + 1)
    arcs = [np.column_stack([np.cos(angle), np.sin(angle)]) * r for r in np.linspace(outer, inner, 5)]
    assert np.degrees(angle[-1]) == pytest.approx(degrees, rel=5e-5)
    assert fit(piece.points, np.vstack(arcs)) <= OUTLINE


@pytest.mark.parametrize(
    ("degrees", "amplitude", "length"), [(30.0, 11.5470, 135.55835), (45.0, 20.0, 152.80791)]
)
def test_cylinder_cut_by_an_oblique_plane(degrees, amplitude, length):
    r, n = 20.0, 360
    turn = np.linspace(0.0, 2.0 * np.pi, n + 1)
    height = 50.0 + amplitude * np.cos(turn)
    circle = np.column_stack([r * np.cos(turn), r * np.sin(turn)])
    piece = laid(*wall(np.column_stack([circle, np.zeros(n + 1)]), np.column_stack([circle, height]), 3))
    girth = 2.0 * r * np.sin(np.pi / n) * np.arange(n + 1)
    rows = [np.column_stack([girth, height * t]) for t in np.linspace(0.0, 1.0, 4)]
    assert fit(piece.points, np.vstack(rows)) <= OUTLINE
    cut = piece.points[-(n + 1) :]
    assert np.linalg.norm(np.diff(cut, axis=0), axis=1).sum() == pytest.approx(length, rel=5e-5)


def test_cone_cut_by_a_plane():
    # Half apex angle from r = 30, h = 40; plane through a base diameter at 20 degrees:
    # R(theta) = R0 / (1 + lambda sin(k theta)), k = 5/3, lambda = 0.27297768.
    n, slant, k, lean = 1440, 50.0, 5.0 / 3.0, 0.27297768
    phi = np.linspace(0.0, 2.0 * np.pi, n + 1)
    along = slant / (1.0 + lean * np.sin(phi))
    ray = np.column_stack([0.6 * np.cos(phi), 0.6 * np.sin(phi), np.full(n + 1, -0.8)])
    v = np.vstack([ray * along[:, None], [[0.0, 0.0, 0.0]]])
    i = np.arange(n)
    piece = laid(v, np.column_stack([i, i + 1, np.full(n, n + 1)]))
    radius = np.linalg.norm(piece.points[:-1] - piece.points[-1], axis=1)
    # Table stations phi = 30, 90, 150, 210, 270 degrees.
    at = (np.array([30, 90, 150, 210, 270]) * n) // 360
    assert np.allclose(radius[at], [43.9952, 39.2780, 43.9952, 57.9031, 68.7737], atol=1e-4)
    theta = angle_at(piece.points, n + 1, 0, n // 4)
    assert theta == pytest.approx(90.0 / k, rel=1e-5)


def test_hole_for_a_branch_keeps_its_girth():
    # Branch of r = 15 square on R = 25: the hole's edge is as long on the sheet as on the pipe,
    # 96.8136 for the smooth curve.
    big, small, n = 25.0, 15.0, 360
    theta = 2.0 * np.pi * np.arange(n) / n
    girth, along = big * np.arcsin(small * np.sin(theta) / big), small * np.cos(theta)
    ring = np.column_stack([along, girth])
    outer = surfaces.sheet(70.0, 60.0, 1200, 1)[0] - [35.0, 30.0]
    keep = (outer[:, 0] / 16.5) ** 2 + (outer[:, 1] / 17.6) ** 2 > 1.0
    p = np.vstack([ring, outer[keep]])
    f = surfaces.triangulated(p)
    f = f[(f >= n).any(axis=1)]
    v = np.column_stack([p[:, 0], big * np.sin(p[:, 1] / big), big * np.cos(p[:, 1] / big)])
    piece = flatten(v, f, Film.set())
    edge = piece.points[:n]
    length = np.linalg.norm(np.roll(edge, -1, axis=0) - edge, axis=1).sum()
    assert length == pytest.approx(96.8136, rel=1e-3)
    # Chords across scattered facets are not quite developable: (facet angle)^2 / 24 of strain.
    assert np.abs(piece.stretch - 1.0).max() <= (4.0 / big) ** 2 / 8.0


@pytest.mark.parametrize(("n", "degrees"), [(12, 151.32036), (24, 152.42078), (96, 152.76411)])
def test_oblique_cone_by_triangulation(n, degrees):
    turn = np.linspace(0.0, 2.0 * np.pi, n + 1)
    v = np.vstack(
        [np.column_stack([30.0 * np.cos(turn), 30.0 * np.sin(turn), np.zeros(n + 1)]), [[20.0, 0.0, 60.0]]]
    )
    k = np.arange(n)
    piece = laid(v, np.column_stack([k, k + 1, np.full(n, n + 1)]))
    assert angle_at(piece.points, n + 1, 0, n) == pytest.approx(degrees, abs=2e-5)


@pytest.mark.parametrize(
    ("a", "b", "radius", "degrees"), [(20.0, 10.0, 25.0, 321.994), (10.0, 10.0, 20.0, 254.558)]
)
def test_tangent_developable_of_a_helix(a, b, radius, degrees):
    # The edge of regression unrolls to an arc of radius R = (a^2 + b^2)/a (curvature is kept), so
    # what lies l along the tangents unrolls to an arc of radius sqrt(R^2 + l^2) and the same angle.
    n = 600
    u = np.linspace(0.0, 2.0 * np.pi, n + 1)
    helix = np.column_stack([a * np.cos(u), a * np.sin(u), b * u])
    tangent = np.column_stack([-a * np.sin(u), a * np.cos(u), np.full(n + 1, b)]) / np.hypot(a, b)
    near, far = 0.6 * radius, 0.9 * radius
    piece = laid(*surfaces.ruled(helix + near * tangent, helix + far * tangent))
    for edge, along in ((piece.points[: n + 1], near), (piece.points[n + 1 :], far)):
        chord = np.diff(edge, axis=0)
        bend = np.unwrap(np.arctan2(chord[:, 1], chord[:, 0]))
        # n - 1 bends lie between n chords.
        assert abs(np.degrees(bend[-1] - bend[0])) * n / (n - 1) == pytest.approx(degrees, rel=1e-3)
        length = np.linalg.norm(chord, axis=1).sum()
        assert length == pytest.approx(np.hypot(radius, along) * np.radians(degrees), rel=1e-4)
