"""The copy that cuts are planned on."""

import numpy as np
import pytest
from surfaces import compact

from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.flatten.edges import boundary_loops
from unwrap.relief.chart import chart_of
from unwrap.relief.coarse import coarse_copy
from unwrap.relief.ground import Ground

RADIUS, ANGLE = 10.0, np.radians(60.0)
SLOTS, WIDE = 9, np.radians(0.4)


def slotted_cap():
    """A cap with narrow crooked slots in its edge."""
    starts = np.arange(SLOTS) * 2 * np.pi / SLOTS
    between = [starts + WIDE + (2 * np.pi / SLOTS - WIDE) * k / 8 for k in range(1, 8)]
    turns = np.sort(np.concatenate([starts, starts + WIDE, *between]))
    tilts = np.linspace(0.0, ANGLE, 22)[1:]
    tilt, turn = np.meshgrid(tilts, turns, indexing="ij")
    turn = turn + 0.25 * np.sin(9 * tilt)
    ring = np.stack([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)], axis=2)
    vertices = RADIUS * np.concatenate([[[0.0, 0.0, 1.0]], ring.reshape(-1, 3)])
    n = len(turns)
    slot = np.flatnonzero(np.diff(np.append(turns, turns[0] + 2 * np.pi)) < 1.5 * WIDE).tolist()
    faces = [(0, 1 + k, 1 + (k + 1) % n) for k in range(n)]
    for r in range(len(tilts) - 1):
        for k in range(n):
            if k not in slot or r < len(tilts) - 5:
                a, b = 1 + r * n + k, 1 + r * n + (k + 1) % n
                faces += [(a, a + n, b + n), (a, b + n, b)]
    return compact(vertices, np.array(faces))


def test_slots_in_an_outline_are_smoothed_away_to_plan_on_it():
    flat = flatten(*slotted_cap(), Film(0.05, 0.02))
    ground = Ground(flat.surface, chart_of(flat), flat.faces, flat.face, flat.vertex)
    copy, corners, weights = coarse_copy(ground, 600, smooth=0.8)
    assert len(boundary_loops(copy.faces)) == 1
    a, b, c = np.moveaxis(copy.surface[copy.faces], 1, 0)
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()
    # A zone's area is 2 pi R h; chords of a coarse mesh lose a little of it.
    assert area == pytest.approx(2 * np.pi * RADIUS**2 * (1 - np.cos(ANGLE)), rel=0.02)
    rim = copy.surface[boundary_loops(copy.faces)[0]]
    round_it = np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1).sum()
    # Its slots make the real one twice as long.
    assert round_it == pytest.approx(2 * np.pi * RADIUS * np.sin(ANGLE), rel=0.03)
    assert np.linalg.norm(copy.surface, axis=1) == pytest.approx(RADIUS, abs=0.1)
    carried = np.einsum("nk,nkx->nx", weights, ground.surface[corners])
    assert carried == pytest.approx(copy.surface, abs=1e-9)
