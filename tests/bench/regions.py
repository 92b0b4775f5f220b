"""How long regions take on a shell of half a million faces: python tests/bench/regions.py [faces]."""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
import trimesh
from manifold3d import Manifold, OpType

from unwrap.body.body import Body
from unwrap.regions import find_surfaces, grow_region, make_patch


def shell(count: int) -> Body:
    """A riveted box with a barrel, its triangles divided until there are `count` of them."""
    parts = [Manifold.cube((120, 30, 30)).translate((-60, -15, -15))]
    parts.append(Manifold.cylinder(60, 11, 11, 96).rotate((0, 90, 0)).translate((55, 0, 0)))
    parts += [
        Manifold.cylinder(1, 11.3, 11.3, 96).rotate((0, 90, 0)).translate((x, 0, 0))
        for x in (70.0, 85.0, 100.0)
    ]
    head = Manifold.cylinder(0.6, 0.35, 0.35, 8).rotate((-90, 0, 0)).translate((0, 14.7, 0))
    parts += [head.translate((x, 0, z)) for x in np.arange(-59, 59, 1.2) for z in np.arange(-14, 14.1, 2.0)]
    mesh = Manifold.batch_boolean(parts, OpType.Add).to_mesh()
    vertices, index = np.unique(np.array(mesh.vert_properties[:, :3], float), axis=0, return_inverse=True)
    faces = index.ravel()[np.array(mesh.tri_verts, dtype=np.int64)]
    tri = trimesh.Trimesh(vertices, faces, process=False)
    size = 6.0
    while len(tri.faces) < count:
        tri = trimesh.Trimesh(*trimesh.remesh.subdivide_to_size(tri.vertices, tri.faces, size), process=False)
        tri.merge_vertices()
        size *= 0.8
    return Body(np.array(tri.vertices), np.array(tri.faces, dtype=np.int64))


def main() -> None:
    body = shell(int(sys.argv[1]) if len(sys.argv) > 1 else 500_000)
    outside = np.ones(len(body.faces), dtype=bool)
    print(f"{len(body.faces)} faces")
    places = {"side": (0.6, 15, 0.9), "other side": (0, -15, 0), "roof": (0, 0, 15), "barrel": (90, 0, 11)}
    start = time.perf_counter()
    surfaces = find_surfaces(body, outside)
    print(f"find_surfaces {time.perf_counter() - start:6.2f} s  {len(surfaces)} surfaces")
    for name, at in places.items():
        start = time.perf_counter()
        region = grow_region(body, name, at, outside=outside, bridge=1.5)
        grown = time.perf_counter()
        patch = make_patch(region, bridge=1.5)
        done = time.perf_counter()
        print(
            f"{name:12s} grow {grown - start:6.2f} s  patch {done - grown:6.2f} s  "
            f"{len(region.faces)} faces, {len(patch.details)} details"
        )
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


if __name__ == "__main__":
    main()
