"""Beams over awkward ground: vertices with more than a full turn round them, faces of no size."""

import igl
import numpy as np
import pytest
from livery_patches import make_carry

from unwrap.livery import beams
from unwrap.livery.beams import follow
from unwrap.livery.edges import choose_edges
from unwrap.livery.ground import Ground
from unwrap.livery.inset import edge_strips, start_at_edges, vertex_distances


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
