"""A small body with known areas, and a job for it."""

from __future__ import annotations

import numpy as np
import trimesh

# A prism along x with eight sides, one of them facing each way; a side is 60 mm long.
LENGTH, RADIUS = 60.0, 10.0
APOTHEM = RADIUS * np.cos(np.pi / 8)
SIDE = 2 * RADIUS * np.sin(np.pi / 8)

JOB = """# A prism to try the page on.
[job]
name = "prism"          # any name
scale = "1:76.2"

[body]
file = "prism.stl"

[print]
sheet = "A4"
"""


def prism() -> trimesh.Trimesh:
    angle = np.pi / 8 + np.arange(8) * np.pi / 4
    ring = np.column_stack([RADIUS * np.cos(angle), RADIUS * np.sin(angle)])
    vertices = np.concatenate([np.column_stack([np.full(8, x), ring]) for x in (-LENGTH / 2, LENGTH / 2)])
    near, far = np.arange(8), np.roll(np.arange(8), -1)
    faces = [np.column_stack([near, far, far + 8]), np.column_stack([near, far + 8, near + 8])]
    fan = np.arange(1, 7)
    faces += [
        np.column_stack([np.zeros(6, int), fan + 1, fan]),
        np.column_stack([np.zeros(6, int), fan, fan + 1]) + 8,
    ]
    return trimesh.Trimesh(vertices, np.concatenate(faces), process=False)
