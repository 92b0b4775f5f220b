"""Build the sample bodies: `python meshes/build.py`, or `--places` for points that a job can name.

Needs manifold3d (in the `test` extra). The same script gives the same files.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import tank_engine
from manifold3d import Manifold

HERE = Path(__file__).resolve().parent


FINEST = 2e-4  # mm; finer features would fall together in a file of single-precision numbers


def triangles(solid: Manifold) -> tuple[np.ndarray, np.ndarray]:
    mesh = solid.set_tolerance(FINEST).to_mesh64()
    places, corner = np.unique(mesh.vert_properties[:, :3].astype(np.float32), axis=0, return_inverse=True)
    faces = corner[np.asarray(mesh.tri_verts)]
    distinct = (faces != np.roll(faces, 1, axis=1)).all(axis=1)
    return places, faces[distinct]


def write_stl(solid: Manifold, path: Path) -> None:
    """Binary STL, in mm."""
    vertices, faces = triangles(solid)
    corners = vertices[faces].astype("<f4")
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    record = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    record["normal"] = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
    record["corners"] = corners
    header = f"{path.stem}, mm, x to the front, z up".encode().ljust(80)
    path.write_bytes(header + np.uint32(len(faces)).tobytes() + record.tobytes())


SAMPLES = {"tank_engine": tank_engine}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--places", action="store_true", help="print points that name the parts in a job")
    parser.add_argument("names", nargs="*", help="which to build; all when none is given")
    asked = parser.parse_args()
    for name in asked.names or SAMPLES:
        sample = SAMPLES[name]
        if asked.places:
            print(name)
            for place, at in sample.PLACES.items():
                print(f"  {place}: {', '.join(f'{value:g}' for value in at)}")
            continue
        solid = sample.build()
        path = HERE / f"{name}.stl"
        write_stl(solid, path)
        low, high = np.array(solid.bounding_box()).reshape(2, 3)
        print(f"{path.name}: {solid.num_tri()} faces, {' x '.join(f'{v:.1f}' for v in high - low)} mm")


if __name__ == "__main__":
    main()
