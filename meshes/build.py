"""Build the sample bodies: `python meshes/build.py`, or `--places` for points that a job can name.

Needs manifold3d (in the `test` extra). The same script gives the same files.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import railcar
import road_tanker
import tank_engine
from manifold3d import Manifold
from shapes import union

HERE = Path(__file__).resolve().parent


FINEST = 1e-3  # mm; finer features would fall together in a file of single-precision numbers
INCH = 25.4


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


def write_obj(parts: dict[str, Manifold], path: Path) -> None:
    """OBJ in inches, +y up and +z to the front, a group for each part."""
    lines = [f"# {path.stem}, inches, z to the front, y up"]
    first = 1
    for group, solid in parts.items():
        vertices, faces = triangles(solid)
        lines.append(f"g {group}")
        lines += [f"v {y:.6f} {z:.6f} {x:.6f}" for x, y, z in vertices / INCH]
        lines += [
            "f " + " ".join(str(corner + first) for corner in ring) for ring in polygons(vertices, faces)
        ]
        first += len(vertices)
    path.write_text("\n".join(lines) + "\n")


def polygons(vertices: np.ndarray, faces: np.ndarray) -> list[list[int]]:
    """Pairs of triangles that lie in one plane as convex quadrilaterals, longest common edge first."""
    corners = vertices[faces].astype(float)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
    ring = [list(map(int, face)) for face in faces]
    face_at = {(face[k], face[(k + 1) % 3]): i for i, face in enumerate(ring) for k in range(3)}
    pairs = [(a, b, i, face_at[b, a]) for (a, b), i in face_at.items() if a < b and (b, a) in face_at]
    pairs.sort(key=lambda pair: -float(np.linalg.norm(vertices[pair[0]] - vertices[pair[1]])))
    joined: set[int] = set()
    quads = []
    for a, b, i, j in pairs:
        if i in joined or j in joined or normal[i] @ normal[j] < 1 - 1e-9:
            continue
        (c,), (d,) = set(ring[i]) - {a, b}, set(ring[j]) - {a, b}
        quad = [a, d, b, c]
        side = np.roll(vertices[quad], -1, axis=0).astype(float) - vertices[quad]
        turn = np.cross(side, np.roll(side, -1, axis=0)) @ normal[i]
        if (turn > 1e-6).all():
            quads.append(quad)
            joined |= {i, j}
    return quads + [face for i, face in enumerate(ring) if i not in joined]


SAMPLES = {"tank_engine": tank_engine, "road_tanker": road_tanker, "railcar": railcar}


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
        made = sample.build()
        if isinstance(made, dict):
            path = HERE / f"{name}.obj"
            write_obj(made, path)
        else:
            path = HERE / f"{name}.stl"
            write_stl(made, path)
        whole = union(made.values()) if isinstance(made, dict) else made
        low, high = np.array(whole.bounding_box()).reshape(2, 3)
        size = " x ".join(f"{value:.1f}" for value in high - low)
        print(f"{path.name}: {whole.num_tri()} faces, {size} mm, {path.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
