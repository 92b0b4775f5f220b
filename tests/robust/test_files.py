"""Files made to do harm, and files broken at random."""

import builtins
import json
import os
import pathlib
import re
import struct
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from unwrap.body import load_body, threemf
from unwrap.body.health import check_health
from unwrap.body.skin import outside_faces
from unwrap.errors import BadInput

HEAD = '<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'


def refused(path, says):
    with pytest.raises(BadInput, match=says) as refusal:
        load_body(path)
    assert "\n" not in str(refusal.value)


def package(path, content):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("3D/3dmodel.model", content)


def test_a_zip_bomb(tmp_path, monkeypatch):
    monkeypatch.setattr(threemf, "MOST_UNPACKED", 20_000_000)
    path = tmp_path / "bomb.3mf"
    package(path, b" " * 60_000_000)
    assert path.stat().st_size < 100_000
    refused(path, "unpacks to more than")


def test_xml_entities(tmp_path):
    levels = "".join(f'<!ENTITY e{k} "{f"&e{k - 1};" * 10}">' for k in range(1, 10))
    path = tmp_path / "laughs.3mf"
    package(path, f'<!DOCTYPE m [<!ENTITY e0 "ha">{levels}]>{HEAD}&e9;</model>')
    refused(path, "entities")
    package(path, f'<!DOCTYPE m [<!ENTITY e SYSTEM "file:///etc/hostname">]>{HEAD}&e;</model>')
    refused(path, "entities")


def test_parts_that_contain_themselves(tmp_path):
    twice = "".join('<component objectid="1"/>' for _ in range(9))
    path = tmp_path / "self.3mf"
    package(
        path,
        f'{HEAD}<resources><object id="1"><components>{twice}</components></object></resources>'
        '<build><item objectid="1"/></build></model>',
    )
    refused(path, "contains itself|repeats its parts")


def glb(tree, content=b""):
    text = json.dumps(tree).encode() if isinstance(tree, dict) else tree
    text += b" " * (-len(text) % 4)
    chunks = (
        struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(content), b"BIN\0") + content
    )
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


@pytest.mark.parametrize(
    "tree",
    [
        b"[" * 100_000,
        {"nodes": [{"children": [0, 0]}], "scenes": [{"nodes": [0]}], "scene": 0},
        {"nodes": "none", "meshes": 5},
        {
            "nodes": [{"mesh": 0}],
            "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
            "accessors": [{"bufferView": 0, "componentType": 5126, "type": "VEC3", "count": 10**12}],
            "bufferViews": [{"buffer": 0, "byteLength": 12}],
            "buffers": [{"byteLength": 12}],
        },
        {
            "nodes": [{"mesh": 0}],
            "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
            "accessors": [{"bufferView": 0, "componentType": 5126, "type": "VEC3", "count": 3}],
            "bufferViews": [{"buffer": 0}],
            "buffers": [{"uri": "../secret.bin", "byteLength": 36}],
        },
    ],
    ids=["deep", "loop", "wrong types", "absurd count", "other file"],
)
def test_glb_that_means_harm(tmp_path, tree):
    path = tmp_path / "harm.glb"
    path.write_bytes(glb(tree, bytes(12)))
    refused(path, "harm.glb")


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("count.stl", bytes(80) + b"\xff\xff\xff\xff" + bytes(50)),
        ("count.off", b"OFF\n2000000000 2000000000 0\n"),
        ("count.ply", b"ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty float x\n"
         b"property float y\nproperty float z\nelement face 1\n"
         b"property list uint int vertex_indices\nend_header\n"
         + bytes(36) + b"\xff\xff\xff\xff"),
        ("minus.ply", b"ply\nformat ascii 1.0\nelement vertex -5\nend_header\n"),
        ("numbers.obj", b"v 0 0 0\nf " + b"1 " * 50_000 + b"\n"),
        ("index.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 99999999999999999999999\n"),
    ],
)  # fmt: skip
def test_absurd_counts(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content)
    refused(path, name)


def test_material_lines_open_nothing(tmp_path, monkeypatch):
    path = tmp_path / "shell.obj"
    path.write_text("mtllib /etc/passwd\nmtllib ../../other.mtl\nv 0 0 0\nv 9 0 0\nv 0 9 0\nv 0 0 9\n"
                    "usemtl ../x\nf 1 3 2\nf 1 2 4\nf 2 3 4\nf 3 1 4\n")  # fmt: skip
    opened = []
    plain, by_path, by_number = builtins.open, pathlib.Path.open, os.open

    def watch(original):
        def watched(first, *rest, **more):
            opened.append(os.fspath(first) if not isinstance(first, int) else first)
            return original(first, *rest, **more)

        return watched

    monkeypatch.setattr(builtins, "open", watch(plain))
    monkeypatch.setattr(pathlib.Path, "open", watch(by_path))
    monkeypatch.setattr(os, "open", watch(by_number))
    body = load_body(path)
    monkeypatch.undo()
    assert len(body.faces) == 4
    assert set(opened) == {os.fspath(path)}


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux keeps any bytes as a name")
def test_names_that_are_no_text(tmp_path):
    path = os.fsencode(tmp_path) + b"/sh\xff\xfell.obj"
    with Path(os.fsdecode(path)).open("w") as file:
        file.write("v 0 0 0\nv 9 0 0\nv 0 9 0\nf 1 2 3\n")
    body = load_body(os.fsdecode(path))
    body.name.encode("utf-8")
    with Path(os.fsdecode(path)).open("w") as file:
        file.write("v 0 0 0\n")
    with pytest.raises(BadInput) as refusal:
        load_body(os.fsdecode(path))
    str(refusal.value).encode("utf-8")
    with pytest.raises(BadInput):
        load_body("null\0byte.stl")


def test_a_folder_is_no_file(tmp_path):
    (tmp_path / "folder.stl").mkdir()
    refused(tmp_path / "folder.stl", "no such file")


@pytest.mark.skipif(sys.platform != "linux", reason="peak memory of a child is read the Linux way")
def test_broken_at_random():
    import resource

    run = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("fuzz.py")), "400", "1"],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    assert sum(int(number) for number in re.findall(r"(\d+) read", run.stdout)) > 20
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss < 2_000_000  # kilobytes


numbers = st.one_of(
    st.integers(-3, 3).map(float),
    st.floats(-50, 50, width=32),
    st.floats(allow_nan=True, allow_infinity=True),
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    places=st.lists(st.tuples(numbers, numbers, numbers), min_size=1, max_size=12),
    faces=st.lists(st.lists(st.integers(-3, 14), min_size=1, max_size=6), min_size=1, max_size=25),
)
def test_any_mesh_is_a_body_or_a_sentence(tmp_path, places, faces):
    path = tmp_path / "any.obj"
    path.write_text(
        "".join(f"v {x!r} {y!r} {z!r}\n" for x, y, z in places)
        + "".join(f"f {' '.join(map(str, face))}\n" for face in faces)
    )
    try:
        body = load_body(path)
    except BadInput as refusal:
        assert "\n" not in str(refusal)
        return
    assert np.isfinite(body.vertices).all()
    assert body.faces.min() >= 0 and body.faces.max() < len(body.vertices)
    a, b, c = body.faces.T
    assert ((a != b) & (b != c) & (c != a)).all()
    assert len(np.unique(np.sort(body.faces, axis=1), axis=0)) == len(body.faces)
    assert len(outside_faces(body)) == len(body.faces)
    assert check_health(body).lines()
