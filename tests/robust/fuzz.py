"""Break files at random and load them: a body or a sentence, quickly, in little memory.

Run as ``python fuzz.py COUNT SEED``; prints a line of counts, ends with status 1 and the
trace on anything else than a Body or BadInput.
"""

import io
import sys
import tempfile
import time
import warnings
import zipfile
from pathlib import Path

import numpy as np
import trimesh

from unwrap.body import load_body
from unwrap.errors import BadInput

KINDS = ("stl", "ascii.stl", "obj", "3mf", "ply", "ascii.ply", "off", "glb")
LONGEST = 20.0


def originals():
    """One small sound file of each kind."""
    mesh = trimesh.creation.annulus(r_min=6, r_max=10, height=7, sections=24)
    made = {}
    for kind in KINDS:
        if kind == "ascii.stl":
            data = mesh.export(file_type="stl_ascii")
        elif kind == "ascii.ply":
            data = mesh.export(file_type="ply", encoding="ascii")
        else:
            data = mesh.export(file_type=kind)
        made[kind] = data.encode() if isinstance(data, str) else bytes(data)
    return made


def broken(data, random):
    """The file with bytes flipped, cut out, doubled, filled in, or cut off."""
    data = bytearray(data)
    for _ in range(random.integers(1, 3)):
        at = int(random.integers(len(data) or 1))
        span = int(random.integers(1, 60))
        match random.choice([0, 0, 0, 7, 7, 7, 7, 1, 2, 3, 4, 5, 6]):
            case 0:
                for place in random.integers(0, len(data) or 1, span % 8 + 1):
                    if data:
                        data[place] ^= 1 << int(random.integers(8))
            case 1:
                data[at : at + span] = b""
            case 2:
                data[at:at] = data[at : at + span]
            case 3:
                data[at : at + span] = random.bytes(span)
            case 4:
                data = data[:at]
            case 5:
                data[at : at + 4] = random.choice(
                    [b"\xff\xff\xff\xff", b"\0\0\0\0", b"9999", b"-1 1", b"nan ", b"1e38"]
                )
            case 7:
                digits = [k for k in range(at, min(at + 400, len(data))) if chr(data[k]).isdigit()]
                for place in digits[: span % 5 + 1]:
                    data[place] = ord("0") + int(random.integers(10))
            case 6:
                # The head of a file holds its counts.
                place = int(random.integers(min(len(data), 300) or 1))
                data[place : place + 1] = random.bytes(1)
    return bytes(data)


def broken_inside(data, random):
    """A package whose model is broken, packed anew: its checksums hold."""
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            part = old.read(name)
            new.writestr(name, broken(part, random) if name.endswith(".model") else part)
    return made.getvalue()


def main():
    """Load many broken files."""
    warnings.simplefilter("error")
    count, seed = int(sys.argv[1]), int(sys.argv[2])
    random = np.random.default_rng(seed)
    made = originals()
    tally = {kind: [0, 0] for kind in KINDS}
    slowest = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for number in range(count):
            kind = KINDS[number % len(KINDS)]
            path = Path(folder) / f"shell.{kind.split('.')[-1]}"
            inside = kind == "3mf" and random.random() < 0.8
            data = (broken_inside if inside else broken)(made[kind], random)
            path.write_bytes(data)
            start = time.perf_counter()
            try:
                body = load_body(path)
                assert len(body.faces) and np.isfinite(body.vertices).all()
                tally[kind][0] += 1
            except BadInput as refusal:
                assert "\n" not in str(refusal) and str(refusal).startswith(path.name), str(refusal)
                tally[kind][1] += 1
            except BaseException:
                Path(f"{tempfile.gettempdir()}/fuzz-{kind}").write_bytes(data)
                print(f"case {number} of seed {seed}, {kind}", file=sys.stderr)
                raise
            slowest = max(slowest, time.perf_counter() - start)
    assert slowest < LONGEST, f"{slowest:.1f} s"
    said = ", ".join(f"{kind} {good} read {bad} refused" for kind, (good, bad) in tally.items())
    print(f"{said}; slowest {slowest:.2f} s")


if __name__ == "__main__":
    main()
