"""Break files at random and take them the whole way: through `look`, and through `make` where they load.

Run as ``python fuzz_way.py COUNT SEED [WRITTEN]``; of WRITTEN files (one in ten otherwise) all
pictures and sheets are drawn as well. Prints a line of counts; ends with status 1 and the trace on
anything else than a result or BadInput.
"""

import contextlib
import resource
import sys
import tempfile
import time
import warnings
from collections import Counter
from pathlib import Path

import numpy as np
import trimesh
from fuzz import KINDS, LONGEST, broken, broken_inside
from manifold3d import Manifold, OpType

from unwrap.body import load_body
from unwrap.errors import BadInput
from unwrap.look import look_at, looked_at, survey
from unwrap.make import make, make_pieces, open_job
from unwrap.progress import Stopwatch

MOST_MEMORY = 2e9
MOST_REGIONS = 4
OLD = "what was there before"
JOB = """
[job]
name = "Broken"
scale = "1:76.2"
[body]
file = "{file}"
[film]
state = "softened"
{regions}
[[fill]]
region = {names}
colour = "#224466"
[[lining]]
region = {names}
inset = 0.8
lines = [{{ width = 0.3, colour = "#ffffff" }}]
"""


def shell() -> trimesh.Trimesh:
    """A small riveted tank with a wall, a window and a barrel: some of all that a body has."""
    parts = [
        Manifold.cube((40, 16, 20)).translate((-20, -8, 0)),
        Manifold.cylinder(12, 7, 6, 24).rotate((0, 90, 0)).translate((19, 0, 10)),
    ]
    head = Manifold.cylinder(0.6, 0.5, 0.3, 8).rotate((-90, 0, 0)).translate((0, 7.7, 0))
    parts += [head.translate((x, 0, z)) for x in np.arange(-18, 19, 4.0) for z in (3.0, 17.0)]
    solid = Manifold.batch_boolean(parts, OpType.Add)
    inside = Manifold.cube((37, 13, 19)).translate((-18.5, -6.5, -1))
    window = Manifold.cube((8, 40, 6)).translate((-4, -20, 8))
    mesh = (solid - inside - window).to_mesh()
    return trimesh.Trimesh(np.array(mesh.vert_properties[:, :3], float), np.array(mesh.tri_verts))


def written(mesh: trimesh.Trimesh) -> dict[str, bytes]:
    """The same shell in each kind of file."""
    made = {}
    for kind in KINDS:
        wanted = {
            "ascii.stl": {"file_type": "stl_ascii"},
            "ascii.ply": {"file_type": "ply", "encoding": "ascii"},
        }
        data = mesh.export(**wanted.get(kind, {"file_type": kind}))
        made[kind] = data.encode() if isinstance(data, str) else bytes(data)
    return made


def job_for(surfaces, path: Path) -> str:
    """A job for the largest of the surfaces that `look` found."""
    names = [f"region {surface.letter}" for surface in surfaces[:MOST_REGIONS]]
    regions = [
        f'[[region]]\nname = "{name}"\nat = [{x:.4f}, {y:.4f}, {z:.4f}]\n'
        for name, (x, y, z) in zip(names, (surface.at for surface in surfaces), strict=False)
    ]
    return JOB.format(file=path.name, regions="".join(regions), names=names)


def take(path: Path, folder: Path, whole: bool) -> str:
    """One file the whole way; what came of it in a word."""
    out = folder / "out"
    with contextlib.suppress(FileExistsError):
        out.mkdir()
    (out / "report.json").write_text(OLD)
    try:
        if whole:
            found = look_at(path, folder / "look", "mm", "+x", "+z")
        else:
            with looked_at(load_body(path), "+x", "+z") as sight:
                found = survey(sight, "mm", "+x", "+z")
    except BadInput as refusal:
        told(refusal)
        return "refused"
    if not found.surfaces:
        return "no surface"
    job = folder / "job.toml"
    job.write_text(job_for(found.surfaces, path), encoding="utf-8")
    try:
        if whole:
            result = make(job, out, processes=1)
        else:
            result = make_pieces(open_job(job), Stopwatch())
    except BadInput as refusal:
        told(refusal)
        assert (out / "report.json").read_text() == OLD, "something was written"
        return "region refused"
    for piece in result.pieces:
        assert np.isfinite(piece.flat.points).all() and piece.outline.is_valid
    said = " ".join(result.report["warnings"])
    if "too broken" in said:
        print(path.name, said, file=sys.stderr)
        return "made but for a region"
    return "made with a warning" if said else "made"


def told(refusal: BadInput) -> None:
    assert str(refusal) and "\n" not in str(refusal), str(refusal)


def main() -> None:
    warnings.simplefilter("error")
    count, seed = int(sys.argv[1]), int(sys.argv[2])
    every = max(1, count // int(sys.argv[3])) if len(sys.argv) > 3 else 10
    random = np.random.default_rng(seed)
    made = written(shell())
    tally: Counter[str] = Counter()
    slowest = {True: 0.0, False: 0.0}  # of those that are drawn, and of the others
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for number in range(count):
            kind = KINDS[number % len(KINDS)]
            path = folder / f"shell.{kind.split('.')[-1]}"
            path.write_bytes((broken_inside if kind == "3mf" else broken)(made[kind], random))
            start = time.process_time()
            try:
                drawn = number // len(KINDS) % every == 0
                came = take(path, folder, drawn)
            except BaseException:
                kept = Path(tempfile.gettempdir()) / f"fuzz-way-{seed}-{number}.{kind.split('.')[-1]}"
                kept.write_bytes(path.read_bytes())
                print(f"case {number} of seed {seed}, {kind}: kept as {kept}", file=sys.stderr)
                raise
            took = time.process_time() - start
            slowest[drawn] = max(slowest[drawn], took)
            assert took < LONGEST, f"case {number}, {kind}: {took:.1f} s"
            tally[came] += 1
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1024 if sys.platform != "darwin" else 1)
    assert peak < MOST_MEMORY, f"{peak / 1e9:.2f} GB"
    said = ", ".join(f"{number} {came}" for came, number in tally.most_common())
    print(f"{said}; slowest {slowest[False]:.1f} CPU s, drawn {slowest[True]:.1f}, {peak / 1e9:.2f} GB")


if __name__ == "__main__":
    main()
