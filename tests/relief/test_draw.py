"""Drawing smooth curves into meshes and parting the mesh along them."""

import numpy as np
import pytest
from surfaces import cap, disc_points, sheet, triangulated

from unwrap.flatten.edges import boundary_loops
from unwrap.relief.draw import CannotDraw, cut_curves, draw_curve
from unwrap.relief.ground import Ground


def bowl(count, seed=0):
    points = disc_points(count, seed)
    faces = triangulated(points)
    return Ground.of(np.column_stack([points, 0.3 * (points**2).sum(axis=1)]), points, faces)


def bent(start, tip, bend):
    t = np.linspace(0, 1, 40)[:, None]
    chord = np.subtract(tip, start)
    return start + t * chord + 4 * t * (1 - t) * bend * np.array([-chord[1], chord[0]])


def areas(places, faces):
    a, b, c = np.moveaxis(places[faces], 1, 0)
    if places.shape[1] == 2:
        return 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    return 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)


def distance_to(curve, points):
    a, along = curve[:-1], np.diff(curve, axis=0)
    t = np.einsum("pcx,cx->pc", points[:, None] - a, along) / np.einsum("cx,cx->c", along, along)
    t = np.clip(t, 0, 1)
    return np.linalg.norm(points[:, None] - a - t[:, :, None] * along, axis=2).min(axis=1)


@pytest.mark.parametrize("count", [60, 400, 3000])
@pytest.mark.parametrize("seed", range(6))
def test_a_cut_parts_the_mesh_and_nothing_else(count, seed):
    rng = np.random.default_rng(seed)
    ground = bowl(count, seed)
    angle = rng.uniform(0, 2 * np.pi)
    curve = bent([np.cos(angle), np.sin(angle)], rng.uniform(-0.5, 0.5, 2), rng.uniform(-0.2, 0.2))
    drawn, chain = draw_curve(ground, curve)
    parted = drawn.opened(chain)
    # The parts of a face lie in its plane: areas add up face by face, in the chart and on the surface.
    for before, after in ((ground.chart, parted.chart), (ground.surface, parted.surface)):
        sums = np.bincount(parted.face, areas(after, parted.faces), minlength=len(ground.faces))
        np.testing.assert_allclose(sums, areas(before, ground.faces), rtol=1e-9, atol=1e-15)
    assert areas(parted.chart, parted.faces).min() > 0
    assert (np.diff(parted.face) >= 0).all()
    # One edge still, longer by both lips; the tip is one vertex, every other one on the way is two.
    (loop,) = boundary_loops(parted.faces)
    assert len(parted.chart) == len(drawn.chart) + len(chain) - 1
    assert np.sum((parted.chart == drawn.chart[chain[-1]]).all(axis=1)) == 1
    assert np.sum((parted.chart == drawn.chart[chain[0]]).all(axis=1)) == 2
    assert set(np.flatnonzero(parted.vertex == -1)) <= set(loop.tolist())
    # It runs along the curve to within the snapping, from its start to its end.
    edge = np.linalg.norm(np.diff(ground.chart[ground.faces[:, [0, 1]]], axis=1), axis=2).max()
    assert distance_to(curve, drawn.chart[chain[1:-1]]).max() < 0.08 * edge
    assert np.linalg.norm(drawn.chart[chain[-1]] - curve[-1]) < 0.08 * edge


def test_input_vertices_keep_their_numbers_and_places():
    ground = bowl(300)
    parted, _ = cut_curves(ground, [bent([1.0, 0.0], [0.2, 0.1], 0.1), bent([-1.0, 0.0], [-0.1, 0.0], 0.0)])
    known = parted.vertex >= 0
    np.testing.assert_array_equal(parted.surface[known], ground.surface[parted.vertex[known]])
    np.testing.assert_array_equal(parted.vertex[: len(ground.surface)], np.arange(len(ground.surface)))


def test_cuts_may_branch_from_a_lip():
    ground = bowl(800)
    parted, cuts = cut_curves(ground, [bent([1.0, 0.0], [0.0, 0.0], 0.0), bent([0.5, 0.0], [0.4, 0.5], 0.0)])
    assert len(boundary_loops(parted.faces)) == 1
    np.testing.assert_allclose(cuts[1][0][:2], [0.5, 0.0], atol=0.02)


def test_a_cut_from_an_opening():
    points, faces = sheet(40.0, 20.0, 900, seed=1)
    centre = points[faces].mean(axis=1)
    faces = faces[np.linalg.norm(centre - [15, 10], axis=1) > 4]
    used, inverse = np.unique(faces, return_inverse=True)
    points, faces = points[used], inverse.reshape(-1, 3)
    ground = Ground.of(np.column_stack([points, 0 * points[:, 0]]), points, faces)
    parted, _ = cut_curves(ground, [bent([19.0, 10.0], [30.0, 10.0], 0.0)])
    assert len(boundary_loops(parted.faces)) == 2


def test_curves_that_cannot_be_cut_are_refused():
    ground = bowl(400)
    with pytest.raises(CannotDraw, match="outside"):
        draw_curve(ground, bent([1.0, 0.0], [-1.4, 0.0], 0.0))
    with pytest.raises(CannotDraw, match="meets another cut"):
        cut_curves(ground, [bent([1.0, 0.0], [-0.3, 0.0], 0.0), bent([0.0, 1.0], [0.0, -0.5], 0.0)])
    with pytest.raises(CannotDraw, match="shorter"):
        draw_curve(ground, bent([1.0, 0.0], [0.9999, 0.0], 0.0))


def test_a_cut_through_a_vertex_and_along_edges_leaves_no_slivers():
    xs = np.linspace(-1, 1, 11)
    x, y = np.meshgrid(xs, xs, indexing="ij")
    points = np.column_stack([x.ravel(), y.ravel()])
    corner = (11 * np.arange(10)[:, None] + np.arange(10)).ravel()[:, None]
    faces = np.concatenate([corner + np.array(k) for k in ([0, 11, 12], [0, 12, 1])])
    ground = Ground.of(np.column_stack([points, 0 * points[:, 0]]), points, faces)
    for tip in ([0.4, 0.0], [0.0, 0.0], [0.3, 0.05], [-0.2, 0.01]):
        parted, _ = cut_curves(ground, [bent([-1.0, 0.0], tip, 0.0)])
        assert areas(parted.chart, parted.faces).min() > 0.003 * areas(points, faces).min()


def test_the_real_surface_is_cut_where_the_chart_is():
    v, f = cap(20.0, 45.0, 1500)
    angle = np.arccos(v[:, 2] / 20.0)
    side = v[:, :2] / np.maximum(np.linalg.norm(v[:, :2], axis=1, keepdims=True), 1e-12)
    ground = Ground.of(v, 20.0 * angle[:, None] * side, f)
    _, (cut,) = cut_curves(ground, [bent([20.0 * np.pi / 4, 0.0], [2.0, 0.0], 0.0)])
    # A meridian is as long on the sphere as in the equidistant chart, less the chords' sagitta.
    length = np.linalg.norm(np.diff(cut, axis=0), axis=1).sum()
    assert abs(length - (20.0 * np.pi / 4 - 2.0)) < 0.01 * length
