"""View drawings against shapes whose projections are known."""

import io
import re
from xml.etree import ElementTree

import numpy as np
import pytest
import resvg_py
import shapely
import trimesh
from PIL import Image

from unwrap.body.body import Body
from unwrap.body.views import SIDES, draw_view, write_view_svg

SVG = "{http://www.w3.org/2000/svg}"


def body_of(mesh):
    return Body(np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64), "sample")


def stepped():
    """A 40 x 20 x 10 block with a 10 x 10 x 10 one on its front top left."""
    low = trimesh.creation.box((40, 20, 10))
    top = trimesh.creation.box((10, 10, 10))
    top.apply_translation((15, 5, 10))
    return body_of(trimesh.boolean.union([low, top], engine="manifold"))


def lines_of(view):
    return shapely.union_all([shapely.linestrings(line) for line in view.creases])


@pytest.mark.parametrize(
    ("side", "corners"),
    [
        ("left", [(-20, -5), (20, -5), (20, 5), (-10, 5), (-10, 15), (-20, 15)]),
        ("right", [(-20, -5), (20, -5), (20, 15), (10, 15), (10, 5), (-20, 5)]),
        ("front", [(-10, -5), (10, -5), (10, 15), (0, 15), (0, 5), (-10, 5)]),
        ("rear", [(-10, -5), (10, -5), (10, 5), (0, 5), (0, 15), (-10, 15)]),
        ("top", [(-20, -10), (20, -10), (20, 10), (-20, 10)]),
    ],
)
def test_each_side_is_drawn_as_one_sees_it(side, corners):
    view = draw_view(stepped(), side)
    assert view.outline.symmetric_difference(shapely.Polygon(corners)).area < 0.02


def test_sharp_edges_are_drawn_and_hidden_ones_are_not():
    top = draw_view(stepped(), "top")
    # Seen from above, the small block's foot shows two edges; the others lie on the outline.
    asked = shapely.MultiLineString([[(10, 0), (20, 0)], [(10, 0), (10, 10)]])
    assert lines_of(top).hausdorff_distance(asked) < 0.05
    left, right = draw_view(stepped(), "left"), draw_view(stepped(), "right")
    assert not left.creases or lines_of(left).length < 10.1
    # From the right the small block stands behind the large one's top edge.
    assert lines_of(right).hausdorff_distance(shapely.LineString([(10, 5), (20, 5)])) < 0.05


def test_a_ball_is_a_circle_and_a_window_a_hole():
    ball = body_of(trimesh.creation.icosphere(5, radius=8))
    for side in SIDES:
        # The outline is a polygon inscribed in the circle.
        assert draw_view(ball, side).outline.area == pytest.approx(np.pi * 64, rel=2e-3)
    ring = body_of(trimesh.creation.annulus(r_min=4, r_max=8, height=5, sections=128))
    outline = draw_view(ring, "top").outline
    assert len(outline.interiors) == 1
    assert outline.area == pytest.approx(np.pi * 48, rel=1e-3)


def test_places_come_back_from_the_drawing():
    points = np.random.default_rng(0).normal(size=(50, 3))
    for side in SIDES:
        view = draw_view(stepped(), side)
        drawn = view.to_view(points)
        depth = points @ view.ahead
        assert view.to_body(drawn) + depth[:, None] * view.ahead == pytest.approx(points)
        # Right-handed: to the right, to the top and towards the eye.
        assert np.cross(view.across, view.upward) == pytest.approx(-view.ahead)


def test_the_file_is_in_true_millimetres(tmp_path):
    view = draw_view(stepped(), "left")
    write_view_svg(view, tmp_path / "left.svg")
    root = ElementTree.parse(tmp_path / "left.svg").getroot()
    width, height = (float(root.get(key).removesuffix("mm")) for key in ("width", "height"))
    box = [float(number) for number in root.get("viewBox").split()]
    assert box[2:] == [width, height]
    groups = {group.get("id"): group for group in root.iter(SVG + "g")}
    assert {"outline", "creases", "scale", "livery"} <= set(groups)
    assert len(groups["livery"]) == 0
    assert "front to the left" in "".join(groups["scale"].itertext())
    # An independent renderer at 10 dots per mm: the outline's black is 40 mm wide.
    text = (tmp_path / "left.svg").read_text()
    text = re.sub(r'<g [^>]*id="scale".*?</g>', "", text, flags=re.DOTALL)
    picture = bytes(resvg_py.svg_to_bytes(svg_string=text, dpi=254, background="#ffffff"))
    dark = np.asarray(Image.open(io.BytesIO(picture)).convert("L")) < 100
    columns, rows = np.flatnonzero(dark.any(axis=0)), np.flatnonzero(dark.any(axis=1))
    assert (columns[-1] - columns[0]) / 10 == pytest.approx(40.0 + 0.25, abs=0.15)
    assert (rows[-1] - rows[0]) / 10 == pytest.approx(20.0 + 0.25, abs=0.15)
    assert columns[0] / 10 + box[0] == pytest.approx(-20.0, abs=0.3)
    assert rows[0] / 10 + box[1] == pytest.approx(-15.0, abs=0.3)
