"""Beams over awkward ground: vertices with more than a full turn round them, faces of no size."""

import igl
import numpy as np
import pytest
from livery_patches import grid, make_carry

from unwrap.livery import beams
from unwrap.livery.beams import follow
from unwrap.livery.edges import choose_edges
from unwrap.livery.ground import Ground
from unwrap.livery.inset import covered, edge_strips, start_at_edges, vertex_distances


def pleated(spokes):
    """A 20 x 20 mm square whose middle vertex has more than a full turn round it, in many needles."""
    rim = np.array([[-10, -10], [10, -10], [10, 10], [-10, 10]], dtype=float)
    outer = np.concatenate(
        [
            a + np.linspace(0, 1, 41)[:-1, None] * (b - a)
            for a, b in zip(rim, np.roll(rim, -1, axis=0), strict=True)
        ]
    )
    ring = np.linspace(0, 2 * np.pi, spokes, endpoint=False) - 0.75 * np.pi
    inner = 3.0 * np.column_stack([np.cos(ring), np.sin(ring)])
    height = 0.7 * np.sin(4 * ring)
    points = np.vstack([[0.0, 0.0], inner, outer])
    surface = np.column_stack([points, np.concatenate([[0.0], height, np.zeros(len(outer))])])
    faces = [[0, 1 + k, 1 + (k + 1) % spokes] for k in range(spokes)]
    # Between ring and rim: the two walked round together.
    turn_in = ring - ring[0]
    turn_out = np.mod(np.arctan2(outer[:, 1], outer[:, 0]) - ring[0] + 1e-9, 2 * np.pi)
    i = j = 0
    while i < spokes or j < len(outer):
        a, b = 1 + i % spokes, 1 + spokes + j % len(outer)
        ahead_in = turn_in[i + 1] if i + 1 < spokes else 2 * np.pi
        ahead_out = turn_out[j + 1] if j + 1 < len(outer) else 2 * np.pi
        if j >= len(outer) or (i < spokes and ahead_in < ahead_out):
            faces.append([a, b, 1 + (i + 1) % spokes])
            i += 1
        else:
            faces.append([a, b, 1 + spokes + (j + 1) % len(outer)])
            j += 1
    return make_carry(surface, points, np.array(faces))


@pytest.mark.parametrize("spokes", [16, 48])
def test_rays_past_a_vertex_with_many_needles_are_as_long_as_exact_distances(spokes):
    ground = Ground([pleated(spokes)])
    assert np.degrees(ground.excess.max()) > 30
    edges = choose_edges(ground)
    ours = vertex_distances(ground, edge_strips(ground, edges, 12.0))
    every, none = np.arange(len(ground.vertices)), np.zeros(0, dtype=np.int64)
    theirs = igl.exact_geodesic(ground.vertices, ground.faces, np.unique(edges), none, every, none)
    # Their sources stand 0.5 mm apart along the rim, so a foot is 0.25 mm beside one at most. No way over
    # the surface is shorter than the shortest; behind the vertex ours may go on a little longer.
    assert (ours > theirs - (np.hypot(theirs, 0.25) - theirs) - 1e-6).all()
    assert np.median(np.abs(ours - theirs)) < 0.05


def test_a_beam_between_faces_of_no_size_comes_to_an_end(monkeypatch):
    # Two needles back to back, so that a beam that has come in goes from one to the other and back.
    monkeypatch.setattr(beams, "MOST_VISITS", 20_000)
    a, b, x = [0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [5.0, -5.0, 0.0]
    vertices, faces = np.array([a, b, b, x]), np.array([[0, 1, 2], [0, 2, 1], [1, 0, 3]])
    ground = Ground.__new__(Ground)
    ground.vertices, ground.faces, ground.carries = vertices, faces, ()
    side = np.array([2]), np.array([2]), np.zeros(1), np.zeros(1)
    visits = follow(ground, start_at_edges(ground, *side), 30.0)
    assert 10 < len(visits) < 1000


def test_beams_are_rejoined_where_flat_ground_parted_them_and_not_behind_an_opening():
    """A plate of 20 x 10 mm with a 4 x 2 opening 3 mm above its lower edge: that edge sees 172 mm^2."""
    at, faces = grid(40, 20, skip=lambda x, y: 8 < 20 * x < 12 and 3 < 10 * y < 5)
    points = at * (20.0, 10.0)
    x, y = points.T
    # Vertices off their rows, so that beams meet them within their width.
    free = (x > 0.1) & (x < 19.9) & (y > 0.1) & (y < 9.9)
    free &= ~((x > 7.9) & (x < 12.1) & (y > 2.9) & (y < 5.1))
    points[free] += np.random.default_rng(2).uniform(-0.12, 0.12, (free.sum(), 2))
    carry = make_carry(np.column_stack([points, np.zeros(len(points))]), points, faces)
    ground = Ground([carry])
    lower = [edge for edge in choose_edges(ground) if ground.vertices[list(edge), 1].max() < 1e-9]
    assert len(lower) == 40
    strips = edge_strips(ground, lower, 10.0)
    (area,) = covered(ground, strips, 0.0, 10.0)
    # 200 less the opening's 8 and the 4 x 5 behind it.
    assert area.area == pytest.approx(172.0, abs=1e-4)
    _, visits = np.unique(np.column_stack([strips.source, strips.face]), axis=0, return_counts=True)
    assert visits.max() == 1
