"""Lining, bands and artwork against closed forms and an independent geodesic library.

Sources: helix and developed lengths, M. P. do Carmo, "Differential Geometry of Curves and
Surfaces", section 1-2 (a helix of radius a and pitch 2 pi b has length 2 pi sqrt(a^2 + b^2)
a turn); parallels of a sphere, J. P. Snyder, USGS Professional Paper 1395, 1987, formulas
(25-1) and (25-2) (azimuthal equidistant: true distances from the pole, hoop scale
c / sin c); exact distances over a mesh, libigl's `exact_geodesic` (Mitchell, Mount and
Papadimitriou, 1987).
"""

import sys
from pathlib import Path

import igl
import numpy as np
import pytest
import shapely

sys.path.insert(0, str(Path(__file__).parents[1] / "livery"))

from livery_patches import barrel, cap, grid, make_carry

from unwrap.livery.band import lay_band
from unwrap.livery.chart import lay_chart
from unwrap.livery.edges import choose_edges
from unwrap.livery.fit import printed_area
from unwrap.livery.ground import Ground
from unwrap.livery.inset import edge_strips, vertex_distances
from unwrap.livery.lining import lay_lining


def exact_distances(ground, sources):
    """Distances over the mesh from source vertices to every vertex, by libigl."""
    every = np.arange(len(ground.vertices))
    none = np.zeros(0, dtype=np.int64)
    return igl.exact_geodesic(ground.vertices, ground.faces, np.asarray(sources), none, every, none)


def saddle_and_dome():
    """A patch that is a saddle at one end and a dome at the other; its flat piece is not isometric."""
    at, faces = grid(40, 40)
    x, y = (at[:, 0] - 0.5) * 24, (at[:, 1] - 0.5) * 24
    height = -(x**2) / 60 - x * y**2 / 1000
    return make_carry(np.column_stack([x, y, height]), np.column_stack([x, y]), faces, "nose")


def test_inset_is_the_exact_distance_over_the_surface():
    nose = saddle_and_dome()
    ground = Ground([nose])
    strips = edge_strips(ground, choose_edges(ground), 5.0)
    ours = vertex_distances(ground, strips)
    theirs = exact_distances(ground, np.unique(np.concatenate(ground.loops)))
    # The sources there are the edge's vertices, 0.6 mm apart, so it may be up to
    # hypot(d, 0.3) - d further; no nearer. Corners are left out: mitres are no distances.
    near = (theirs > 0.7) & (theirs < 4.5)
    far_from_corners = np.abs(np.abs(nose.patch.vertices[:, 0]) - np.abs(nose.patch.vertices[:, 1])) > 1.0
    pick = near & far_from_corners
    assert pick.sum() > 300
    excess = theirs[pick] - ours[pick]
    assert excess.min() > -2e-3
    assert (excess < np.hypot(ours[pick], 0.31) - ours[pick] + 2e-3).all()


def test_a_laid_line_is_everywhere_at_its_inset_within_a_twentieth_of_a_millimetre():
    nose = saddle_and_dome()
    ground = Ground([nose])
    (paint,), _ = lay_lining(nose, [(0.6, "#ffffff")], inset=3.0)
    theirs = exact_distances(ground, np.unique(np.concatenate(ground.loops)))
    area = printed_area(paint)
    (polygon,) = shapely.get_parts(area)
    for ring, inset in ((polygon.exterior, 3.0), (polygon.interiors[0], 3.6)):
        points = np.asarray(ring.segmentize(0.2).coords)
        part, weights, _ = nose.to_part(points)
        measured = np.einsum("nc,nc->n", weights, theirs[nose.patch.faces[nose.flat.face[part]]])
        place = nose.to_surface(points)
        away = np.abs(np.abs(place[:, 0]) - np.abs(place[:, 1])) > 1.5
        # Their sources stand at vertices: 0.3 mm beside the foot at most.
        beside = np.hypot(inset, 0.31) - inset
        assert (measured[away] - inset).max() < 0.05 + beside
        assert (measured[away] - inset).min() > -0.05


@pytest.mark.parametrize("inset", [1.0, 2.5, 4.0])
def test_line_on_a_sphere_is_a_parallel_with_its_full_width(inset):
    radius, half_angle, width = 20.0, 0.6, 0.5
    dome = cap(radius, half_angle, rings=30)
    (paint,), _ = lay_lining(dome, [(width, "#ffffff")], inset=inset)
    (polygon,) = shapely.get_parts(printed_area(paint))
    # On the sheet the hoops are too long by c / sin c, but distances from the pole are
    # true: the line's rims are circles of radius R a - inset and R a - inset - width.
    for ring, away in ((polygon.exterior, inset), (polygon.interiors[0], inset + width)):
        rho = np.linalg.norm(np.asarray(ring.coords), axis=1)
        assert np.abs(rho - (radius * half_angle - away)).max() < 0.03


def test_chart_is_true_in_distance_on_a_sphere_and_by_an_independent_library():
    dome = cap(20.0, 0.6, rings=24)
    ground = Ground([dome])
    weights = np.array([1.0, 0.0, 0.0])
    face = int(np.flatnonzero((ground.faces == 0).any(axis=1))[0])
    weights = (ground.faces[face] == 0).astype(float)
    chart = lay_chart(ground, face, weights, 15.0, np.array([1.0, 0, 0]))
    distance = np.full(len(ground.vertices), np.nan)
    distance[ground.faces] = np.linalg.norm(chart, axis=2)
    assert np.isfinite(distance).all()
    closed_form = 20.0 * np.arccos(np.clip(ground.vertices[:, 2] / 20.0, -1, 1))
    assert np.abs(distance - closed_form).max() < 0.02
    assert np.abs(distance - exact_distances(ground, [0])).max() < 2e-3


def test_a_straight_line_laid_over_a_barrel_is_a_helix():
    radius, sides = 12.0, 96
    boiler = barrel(radius, 50.0, sides, 10)
    girth = boiler.flat.points[:, 1].max()
    # One turn while x goes from 10 to 40: pitch 30 = 2 pi b.
    line = np.column_stack([np.linspace(10, 40, 200), np.linspace(0, girth, 200)])
    place = boiler.to_surface(line)
    turn = np.unwrap(np.arctan2(place[:, 2], -place[:, 1]))
    slope = np.polyfit(turn, place[:, 0], 1)[0]
    assert abs(abs(slope) - 30 / (2 * np.pi)) < 5e-3
    length = np.linalg.norm(np.diff(place, axis=0), axis=1).sum()
    assert length == pytest.approx(2 * np.pi * np.hypot(radius, 30 / (2 * np.pi)), rel=1e-3)


def test_a_band_round_a_barrel_is_a_ring_of_its_width():
    boiler = barrel(12.0, 50.0, 96, 7)
    (paint,), _ = lay_band(boiler, 21.3, [(0.7, "#ffffff")])
    place = boiler.to_surface(np.asarray(printed_area(paint).exterior.coords))
    off_joint = np.abs(place[:, 1]) > 1e-6
    assert set(np.round(place[off_joint, 0], 4)) == {20.95, 21.65}
    assert np.abs(np.hypot(place[:, 1], place[:, 2]) - 12.0).max() < 12.0 * (1 - np.cos(np.pi / 96)) + 1e-6
