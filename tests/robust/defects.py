"""Defects put into sound meshes on purpose, seeded, each with what reading must make of it.

A defect takes a welded mesh (vertices, faces) and a random generator and returns the mesh
with the defect, to be written as the file that a modeller would load.
"""

import struct

import numpy as np


def _copy(vertices, faces):
    return vertices.copy(), faces.copy()


def repeated_faces(v, f, random):
    return v, np.concatenate([f, f[random.choice(len(f), len(f) // 20, replace=False)]])


def back_to_back(v, f, random):
    return v, np.concatenate([f, f[:, ::-1]])


def some_back_to_back(v, f, random):
    return v, np.concatenate([f, f[random.choice(len(f), 50, replace=False)][:, [1, 0, 2]]])


def points_and_needles(v, f, random):
    a, b = random.integers(0, len(v), (2, 60))
    return v, np.concatenate([f, np.stack([a, a, b], axis=1), np.stack([a, a, a], axis=1)])


def half_turned(v, f, random):
    turned = random.random(len(f)) < 0.5
    return v, np.where(turned[:, None], f[:, ::-1], f)


def inside_out(v, f, random):
    return v, f[:, ::-1]


def trembling(v, f, random):
    """Every face has corners of its own, off by less than single precision loses."""
    soup = v[f].reshape(-1, 3)
    return soup + random.uniform(-2e-5, 2e-5, soup.shape), np.arange(len(soup)).reshape(-1, 3)


def cracked(v, f, random):
    """The body is parted at a plane and one part moved by 0.004 mm."""
    middle = v[f].mean(axis=1)
    far = middle[:, 0] > np.median(middle[:, 0])
    moved = v + 0.004 * np.array([0.6, 0.0, 0.8])
    return np.concatenate([v, moved]), np.where(far[:, None], f + len(v), f)


def t_junctions(v, f, random):
    """On one side of some edges the face is split, on the other it is not."""
    length = np.linalg.norm(v[f[:, 1]] - v[f[:, 0]], axis=1)
    chosen = random.choice(np.flatnonzero(length > 1.0), 40, replace=False)
    a, b, c = f[chosen].T
    middle = 0.5 * (v[a] + v[b])
    new = len(v) + np.arange(len(chosen))
    f = f.copy()
    f[chosen] = np.stack([a, new, c], axis=1)
    return np.concatenate([v, middle]), np.concatenate([f, np.stack([new, b, c], axis=1)])


def loose_vertices(v, f, random):
    return np.concatenate([v, random.uniform(-900, 900, (500, 3))]), f


def shuffled(v, f, random):
    order, number = random.permutation(len(f)), random.permutation(len(v))
    place = np.empty_like(number)
    place[number] = np.arange(len(v))
    return v[number], place[f][order]


def holed(v, f, random):
    return v, np.delete(f, random.choice(len(f), 25, replace=False), axis=0)


def finned(v, f, random):
    """Single faces stand on edges of the body."""
    chosen = f[random.choice(len(f), 10, replace=False)]
    tips = v[chosen].mean(axis=1) + 3.0
    new = len(v) + np.arange(len(chosen))
    return np.concatenate([v, tips]), np.concatenate([f, np.stack([chosen[:, 0], chosen[:, 1], new], axis=1)])


def with_a_box_pushed_in(v, f, random):
    low, high = v.min(axis=0), v.max(axis=0)
    corner = np.array([(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)], float)
    middle = v[f[random.integers(len(f))]].mean(axis=0)
    box = middle + (corner - 0.5) * 0.1 * (high - low)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return np.concatenate([v, box]), np.concatenate([f, np.array(faces) + len(v)])


def with_a_sheet_inside(v, f, random):
    """A rib without thickness across the inside."""
    low, high = v.min(axis=0), v.max(axis=0)
    x = 0.5 * (low[0] + high[0])
    y, z = 0.25 * (high[1] - low[1]), 0.5 * (low[2] + high[2])
    sheet = np.array([(x, -y, z - 2), (x, y, z - 2), (x, y, z + 2), (x, -y, z + 2)])
    return np.concatenate([v, sheet]), np.concatenate([f, np.array([(0, 1, 2), (0, 2, 3)]) + len(v)])


# Reading mends these: the body is as good as before.
MENDED = (
    repeated_faces, back_to_back, some_back_to_back, points_and_needles, half_turned, inside_out,
    trembling, cracked, t_junctions, loose_vertices, shuffled,
)  # fmt: skip
# These cannot be mended without guessing: they are reported with their place.
REPORTED = (holed, finned, with_a_box_pushed_in, with_a_sheet_inside)


def write_obj(path, v, f):
    lines = [f"v {x:.7g} {y:.7g} {z:.7g}" for x, y, z in v.tolist()]
    lines += [f"f {a} {b} {c}" for a, b, c in (f + 1).tolist()]
    path.write_text("\n".join(lines) + "\n")


def write_stl(path, v, f):
    record = np.zeros(len(f), dtype=np.dtype([("n", "<f4", 3), ("c", "<f4", (3, 3)), ("x", "<u2")]))
    record["c"] = v[f]
    path.write_bytes(bytes(80) + struct.pack("<I", len(f)) + record.tobytes())
