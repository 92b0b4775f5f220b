"""How long a look at a million-face shell takes, stage by stage, and how much memory it needs.

Run as ``python tests/bench/look.py [faces] [file]``. The shell is the sample tank engine (or
the file named), refined without changing its shape until it has so many faces.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import manifold3d
import numpy as np
import trimesh

from unwrap.body import load_body
from unwrap.body.body import Body
from unwrap.body.health import check_health
from unwrap.body.picture import draw_body, take_shots
from unwrap.body.sense import likely_mistakes
from unwrap.body.skin import outside_faces
from unwrap.body.thin import thin_flat
from unwrap.body.views import draw_views
from unwrap.look import look_at
from unwrap.regions.surfaces import find_surfaces

SAMPLE = Path(__file__).parents[2] / "meshes" / "tank_engine.stl"


def refined(body: Body, faces: int) -> trimesh.Trimesh:
    """The body with the least number of faces that is not below the one asked for.

    The longest edge allowed is sought by halving: the number of faces grows in steps as it shrinks.
    """
    mesh = manifold3d.Mesh(body.vertices.astype(np.float32), body.faces.astype(np.uint32))
    solid = manifold3d.Manifold(mesh)
    enough = float(np.sqrt(4 * body.areas.sum() / faces))
    while solid.refine_to_length(enough).num_tri() < faces:
        enough *= 0.8
    few = 1.25 * enough
    while solid.refine_to_length(few).num_tri() >= faces:
        enough, few = few, 1.25 * few
    for _ in range(9):
        middle = 0.5 * (enough + few)
        if solid.refine_to_length(middle).num_tri() < faces:
            few = middle
        else:
            enough = middle
    made = solid.refine_to_length(enough).to_mesh()
    return trimesh.Trimesh(made.vert_properties[:, :3], made.tri_verts, process=False)


def main() -> None:
    """Measure and print."""
    faces = int(float(sys.argv[1])) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shell.stl"
        mesh = refined(load_body(sys.argv[2] if len(sys.argv) > 2 else SAMPLE), faces)
        path.write_bytes(mesh.export(file_type="stl"))
        del mesh
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        seconds: dict[str, tuple[float, float, float]] = {}

        def timed(stage, work):
            wall, cpu = time.perf_counter(), time.process_time()
            result = work()
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            seconds[stage] = time.perf_counter() - wall, time.process_time() - cpu, peak
            print(f"  {stage} done", file=sys.stderr, flush=True)
            return result

        body = timed("read", lambda: load_body(path))
        bare = timed("thin", lambda: thin_flat(body))
        timed("health", lambda: check_health(body, bare))
        outside = timed("outside", lambda: outside_faces(bare))
        timed("sense", lambda: likely_mistakes(bare))
        surfaces = timed("surfaces", lambda: find_surfaces(bare, outside))
        labels = np.full(len(bare.faces), -1)
        for k, surface in enumerate(surfaces):
            labels[surface.faces] = k
        names = {k: surface.letter for k, surface in enumerate(surfaces)}
        picture = Path(folder) / "look.png"
        timed("picture", lambda: draw_body(body, take_shots(bare), picture, labels=labels, names=names))
        timed("views", lambda: draw_views(bare))
        look = [sum(column) for column in list(zip(*seconds.values(), strict=True))[:2]]
        wall = time.perf_counter()
        look_at(path, Path(folder) / "look", "mm", "+x", "+z")
        wall = time.perf_counter() - wall
        print(
            f"{len(body.faces)} faces, {len(bare.faces)} of them needed, {int(outside.sum())} outside, {len(surfaces)} surfaces"
        )
        print(f"one stage after another: {look[0]:.1f} s ({look[1]:.1f} s of processor)")
        print(f"the command, stages beside each other: {wall:.1f} s; before it {before:.0f} MB")
        for stage, (wall, cpu, peak) in seconds.items():
            share = 100 * wall / look[0]
            print(f"  {stage:9s} {wall:6.2f} s {cpu:6.2f} s cpu {share:5.1f} %  peak {peak:5.0f} MB")


if __name__ == "__main__":
    main()
