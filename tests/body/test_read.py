"""Reading: every format against trimesh's own writers, units, axes, and refusals."""

import struct
import zipfile

import numpy as np
import pytest
import trimesh

from unwrap.body import load_body
from unwrap.errors import BadInput


def volume(body):
    a, b, c = np.moveaxis(body.corners, 1, 0)
    return float(np.einsum("md,md->", a, np.cross(b, c)) / 6)


def ring():
    return trimesh.creation.annulus(r_min=6, r_max=10, height=7, sections=32)


@pytest.mark.parametrize("ending", ["stl", "obj", "ply", "off", "glb", "3mf"])
def test_what_another_library_wrote_is_read_back(tmp_path, ending):
    mesh = ring()
    path = tmp_path / f"ring.{ending}"
    path.write_bytes(export(mesh, ending))
    body = load_body(path)
    assert len(body.faces) == len(mesh.faces)
    assert len(body.vertices) == len(mesh.vertices)
    assert volume(body) == pytest.approx(mesh.volume, rel=1e-5)
    assert body.areas.sum() == pytest.approx(mesh.area, rel=1e-5)
    assert body.size == pytest.approx(mesh.extents, rel=1e-5)


def export(mesh, ending):
    data = mesh.export(file_type=ending)
    return data.encode() if isinstance(data, str) else data


@pytest.mark.parametrize("encoding", ["ascii", "binary"])
def test_ply_of_both_kinds(tmp_path, encoding):
    path = tmp_path / "ring.ply"
    path.write_bytes(ring().export(file_type="ply", encoding=encoding))
    assert volume(load_body(path)) == pytest.approx(ring().volume, rel=1e-5)


def test_ascii_stl(tmp_path):
    path = tmp_path / "ring.stl"
    path.write_text(ring().export(file_type="stl_ascii"))
    assert volume(load_body(path)) == pytest.approx(ring().volume, rel=1e-5)


@pytest.mark.parametrize("ends", ["\r", "\r\n"])
def test_other_line_ends(tmp_path, ends):
    path = tmp_path / "ring.stl"
    path.write_bytes(ring().export(file_type="stl_ascii").replace("\n", ends).encode())
    assert len(load_body(path).faces) == len(ring().faces)


def test_ascii_stl_with_words_in_its_name_and_in_capitals(tmp_path):
    text = ring().export(file_type="stl_ascii")
    body = text[text.index("\n") : text.rindex("endsolid")].upper().replace("E-", "e-")
    path = tmp_path / "ring.stl"
    path.write_text(f"solid my facet vertex ring{body}endsolid my facet\nsolid second facet{body}endsolid\n")
    assert len(load_body(path).faces) == len(ring().faces)  # the second one repeats the first
    # All in one line is as good.
    path.write_text(" ".join(text.split()))
    assert len(load_body(path).faces) == len(ring().faces)


def test_binary_stl_with_a_solid_header_and_a_stray_byte(tmp_path):
    data = bytearray(ring().export(file_type="stl"))
    data[:80] = b"solid facet vertex".ljust(80)
    path = tmp_path / "ring.stl"
    path.write_bytes(data + b"\n")
    body = load_body(path)
    assert len(body.faces) == len(ring().faces)
    assert any("1 stray byte" in repair for repair in body.repairs)


def test_a_count_that_differs_from_the_content_is_an_error_with_both(tmp_path):
    data = bytearray(ring().export(file_type="stl"))
    path = tmp_path / "ring.stl"
    path.write_bytes(data[: 84 + 50 * 100 + 10])
    with pytest.raises(BadInput, match=f"declares {len(ring().faces)} faces but holds 100"):
        load_body(path)
    data[80:84] = struct.pack("<I", 4_000_000_000)
    path.write_bytes(data)
    with pytest.raises(BadInput, match=f"but holds {len(ring().faces)}"):
        load_body(path)


def test_units_scale(tmp_path):
    path = tmp_path / "ring.stl"
    path.write_bytes(ring().export(file_type="stl"))
    plain = load_body(path).size
    for units, factor in (("cm", 10), ("m", 1000), ("in", 25.4)):
        assert load_body(path, units=units).size == pytest.approx(factor * plain)
    with pytest.raises(BadInput, match="units"):
        load_body(path, units="furlong")


@pytest.mark.parametrize(
    ("front", "up"), [(f, u) for f in ("+x", "-x", "+y", "-y", "+z", "-z") for u in ("+x", "-y", "+z", "-z")]
)
def test_axes_turn_without_reflecting(tmp_path, front, up):
    mesh = trimesh.creation.box((1, 2, 3))
    mesh.apply_translation((10, 20, 30))
    path = tmp_path / "box.stl"
    path.write_bytes(mesh.export(file_type="stl"))
    if front[1] == up[1]:
        with pytest.raises(BadInput, match="same axis"):
            load_body(path, front=front, up=up)
        return
    body = load_body(path, front=front, up=up)
    axis, sign = "xyz".index(front[1]), -1 if front[0] == "-" else 1
    assert body.bounds.mean(axis=0)[0] == pytest.approx(sign * 10 * (axis + 1))
    axis, sign = "xyz".index(up[1]), -1 if up[0] == "-" else 1
    assert body.bounds.mean(axis=0)[2] == pytest.approx(sign * 10 * (axis + 1))
    assert volume(body) == pytest.approx(6.0, rel=1e-6)
    assert not any("turned" in repair for repair in body.repairs)


def test_concave_polygon_has_its_true_area(tmp_path):
    # A comb of 20 teeth: its area is known, a fan from the first corner would give far more.
    teeth = 20
    corners = [(0.0, 0.0), (2.0 * teeth, 0.0)]
    for k in reversed(range(teeth)):
        corners += [(2 * k + 1.5, 5.0), (2 * k + 1.0, 5.0), (2 * k + 1.0, 1.0), (2 * k + 0.5, 1.0)]
    area = 0.5 * sum(
        x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True)
    )
    path = tmp_path / "comb.obj"
    lines = [f"v {x} {0.3 * x + 0.7 * y} {y}" for x, y in corners]
    path.write_text("\n".join(lines) + "\nf " + " ".join(str(k + 1) for k in range(len(corners))) + "\n")
    body = load_body(path)
    # The plane z = ..., tilted: area grows by the length of its normal (0.3, -1, 0.7).
    assert body.areas.sum() == pytest.approx(area * np.sqrt(1 + 0.3**2 + 0.7**2), rel=1e-9)


def test_a_concave_quadrilateral_takes_the_diagonal_inside(tmp_path):
    path = tmp_path / "dart.obj"
    path.write_text("v 0 0 0\nv 4 0 0\nv 1 1 0\nv 0 4 0\nf 1 2 3 4\n")
    assert load_body(path).areas.sum() == pytest.approx(4.0)


def test_obj_groups_negative_numbers_and_continued_lines(tmp_path):
    path = tmp_path / "two.obj"
    path.write_text(
        "mtllib ../../etc/passwd\no first\nv 0 0 0\nv 1 0 0\nv 0 1 0\nusemtl x\nf 1/1/1 2/2/2 3//3\n"
        "g second\nv 0 0 1 0.5 0.5 0.5\nv 1 0 1 0.5 0.5 0.5\nv 1 1 1 1 1 1\nv 0 1 1 1 1 1\n"
        "f -4 -3 \\\n -2 -1\n"
    )
    body = load_body(path)
    assert len(body.faces) == 3
    assert body.areas.sum() == pytest.approx(1.5)


def test_off_in_free_format(tmp_path):
    path = tmp_path / "free.off"
    path.write_text("OFF 4 4 6 0 0 0 1\n0 0 0 1\n0 0 0 1 # a comment\n3 0 2 1 3 0 1\n3 3 1 2 3 3 0 3 2\n")
    body = load_body(path)
    assert len(body.faces) == 4
    assert volume(body) == pytest.approx(1 / 6)


def three_mf(parts, unit="inch"):
    head = (
        f'<?xml version="1.0"?><model unit="{unit}" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" '
        'xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06">'
    )
    return {name: head + body + "</model>" for name, body in parts.items()}


def mesh_xml(mesh):
    points = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in mesh.vertices)
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces)
    return f"<mesh><vertices>{points}</vertices><triangles>{faces}</triangles></mesh>"


def write_zip(path, parts):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in parts.items():
            package.writestr(name, content)


def test_3mf_with_its_mesh_in_a_second_part_placed_twice(tmp_path):
    box = trimesh.creation.box((1, 2, 3))
    parts = three_mf(
        {
            "3D/3dmodel.model": '<resources><object id="1"><components>'
            '<component objectid="7" p:path="/3D/other.model" transform="1 0 0 0 1 0 0 0 1 10 0 0"/>'
            '<component objectid="7" p:path="/3D/other.model" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>'
            "</components></object></resources>"
            '<build><item objectid="1" transform="2 0 0 0 2 0 0 0 2 0 0 0"/></build>',
            "3D/other.model": f'<resources><object id="7">{mesh_xml(box)}</object></resources><build/>',
        }
    )
    write_zip(tmp_path / "two.3mf", parts)
    body = load_body(tmp_path / "two.3mf")
    # Two boxes of 2 x 4 x 6 in, 20 in apart; the second is reflected and stays outward.
    assert body.size == pytest.approx(25.4 * np.array([22.0, 4.0, 6.0]))
    assert volume(body) == pytest.approx(2 * 48 * 25.4**3)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("empty.stl", b"", "is empty"),
        ("short.stl", b"abc", "too short"),
        ("words.obj", b"hello\nworld\n", "no faces"),
        ("points.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "no faces"),
        ("nan.obj", b"v 0 0 nan\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "not finite"),
        ("inf.obj", b"v 0 0 1e999\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "not finite"),
        ("far.obj", b"v 0 0 3e38\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "beyond 1 km"),
        ("missing.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 4\n", "not among"),
        ("flat.obj", b"v 0 0 0\nv 1 0 0\nv 2 0 0\nf 1 2 2\n", "without area"),
        ("points.ply", b"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\n"
         b"property float z\nend_header\n0 0 0\n", "points but no faces"),
        ("huge.ply", b"ply\nformat binary_little_endian 1.0\nelement vertex 99999999999\nproperty float x\n"
         b"property float y\nproperty float z\nelement face 9\nproperty list uchar int vertex_indices\n"
         b"end_header\n0000", "declares 99 999 999 999 vertices but holds 0"),
        ("huge.off", b"OFF\n999999999 999999999 0\n0 0 0\n", "declares"),
        ("body.step", b"ISO-10303-21;", "none of the kinds"),
        ("not.3mf", b"PK no zip", "no sound 3MF"),
        ("not.glb", b"glTF....", "GLB"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_refused_in_a_sentence(tmp_path, name, content, says):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(BadInput, match=says) as refusal:
        load_body(path)
    assert str(refusal.value).startswith(name)
    assert "\n" not in str(refusal.value)


def test_limits_are_said(tmp_path):
    path = tmp_path / "ring.stl"
    path.write_bytes(ring().export(file_type="stl"))
    with pytest.raises(BadInput, match="at most 100 faces"):
        load_body(path, max_faces=100)
    with pytest.raises(BadInput, match="MB"):
        load_body(path, max_bytes=1000)
    with pytest.raises(BadInput, match="no such file"):
        load_body(tmp_path / "gone.stl")
