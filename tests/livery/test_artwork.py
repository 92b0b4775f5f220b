"""Artwork drawn on views: what is read, where it lands, what is refused."""

import numpy as np
import pytest
import shapely
import trimesh
from livery_patches import barrel, flat_side, make_carry

from unwrap.body.body import Body
from unwrap.body.views import draw_view, write_view_svg
from unwrap.errors import BadInput
from unwrap.livery.artwork import lay_artwork
from unwrap.livery.fit import printed_area
from unwrap.livery.svg_read import read_drawing


def box_body(width=60.0, depth=10.0, height=25.0):
    """A box whose right side is the flat side of livery_patches."""
    mesh = trimesh.creation.box((width, depth, height))
    return Body(mesh.vertices + np.array([width / 2, depth / 2, height / 2]), np.array(mesh.faces))


def barrel_body(sides=48):
    mesh = trimesh.creation.cylinder(12.0, 50.0, sections=sides)
    turn = trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0])
    mesh.apply_transform(turn)
    return Body(np.array(mesh.vertices) + np.array([25.0, 0, 0]), np.array(mesh.faces))


def drawn(tmp_path, body, inside, side="right", before=""):
    """A view drawing with something in its livery group, and its view."""
    view = draw_view(body, side)
    path = tmp_path / f"{side}.svg"
    write_view_svg(view, path)
    text = path.read_text()
    assert '<g id="livery"/>' in text
    path.write_text(text.replace('<g id="livery"/>', f'{before}<g id="livery">{inside}</g>'))
    return view, path


def test_a_rectangle_on_a_flat_side_lands_where_it_was_drawn(tmp_path):
    view, path = drawn(tmp_path, box_body(), '<rect x="10" y="-20" width="8" height="5" fill="#aa0000"/>')
    ((paint,),), remarks = lay_artwork(box_body(), [flat_side()], view, path)
    assert remarks == ()
    assert paint.colour == "#aa0000"
    assert paint.area.symmetric_difference(shapely.box(10, 15, 18, 20)).area < 1e-6
    assert len(paint.curves[0].spans) == 4


def test_a_circle_on_the_side_view_is_a_circle_seen_from_the_side(tmp_path):
    # On a barrel of radius R a circle of radius r about its axis height becomes, on the
    # sheet, x = r cos t, y = R asin(r sin t / R): taller than wide.
    body, boiler = barrel_body(), barrel()
    view, path = drawn(tmp_path, body, '<circle cx="25" cy="0" r="8"/>')
    ((paint,),), _ = lay_artwork(body, [boiler], view, path)
    left, low, right, high = paint.area.bounds
    assert right - left == pytest.approx(16.0, abs=0.01)
    # The barrel has 48 sides, which lie inside its radius by up to 12 (1 - cos(pi / 48)).
    inside = 2 * 12 * (np.arcsin(8 / (12 * np.cos(np.pi / 48))) - np.arcsin(8 / 12))
    assert high - low == pytest.approx(2 * 12 * np.arcsin(8 / 12), abs=inside)
    seen = view.to_view(boiler.to_surface(np.asarray(printed_area(paint).exterior.coords)))
    assert np.abs(np.linalg.norm(seen - [25.0, 0.0], axis=1) - 8.0).max() < 0.05
    assert len(paint.curves[0].spans) <= 2 * 4


def test_measured_over_the_surface_a_circle_keeps_its_size(tmp_path):
    body, boiler = barrel_body(), barrel()
    view, path = drawn(tmp_path, body, '<circle cx="25" cy="0" r="8"/>')
    ((paint,),), remarks = lay_artwork(body, [boiler], view, path, measure="surface")
    assert remarks == ()
    radius = np.linalg.norm(
        np.asarray(paint.area.exterior.coords) - np.array(paint.area.centroid.coords[0]), axis=1
    )
    assert np.abs(radius - 8.0).max() < 0.01
    assert len(paint.curves[0].spans) == 4


def test_measured_over_the_surface_regions_that_stand_apart_keep_what_is_drawn_on_them(tmp_path):
    rear = flat_side(20.0, 25.0, 4, 5, name="rear")
    flat = rear.flat
    front = make_carry(flat.surface + np.array([40.0, 0, 0]), flat.points, flat.faces, "front")
    # The middle of the drawing is on neither.
    inside = '<circle cx="10" cy="-12" r="5"/><circle cx="50" cy="-12" r="4"/>'
    view, path = drawn(tmp_path, box_body(), inside)
    ((one,), (two,)), remarks = lay_artwork(box_body(), [rear, front], view, path, measure="surface")
    assert remarks == ()
    for paint, radius in ((one, 5.0), (two, 4.0)):
        circle = shapely.Point(10, 12).buffer(radius, quad_segs=64)
        assert paint.area.symmetric_difference(circle).area < 0.01 * circle.area


def test_artwork_runs_on_over_two_regions(tmp_path):
    rear = flat_side(30.0, 25.0, 6, 5, name="rear")
    flat = rear.flat
    front = make_carry(flat.surface + np.array([30.0, 0, 0]), flat.points, flat.faces, "front")
    view, path = drawn(tmp_path, box_body(), '<rect x="25" y="-20" width="20" height="5"/>')
    ((one,), (two,)), remarks = lay_artwork(box_body(), [rear, front], view, path)
    assert remarks == ()
    assert one.area.area == pytest.approx(25.0) and two.area.area == pytest.approx(75.0)


def test_nothing_is_painted_on_what_is_hidden(tmp_path):
    # A block 10 mm in front of the side hides x from 20 to 40.
    block = trimesh.creation.box((20.0, 5.0, 25.0))
    box = box_body()
    faces = np.vstack([box.faces, np.asarray(block.faces) + len(box.vertices)])
    body = Body(np.vstack([box.vertices, block.vertices + np.array([30.0, -12.5, 12.5])]), faces)
    view, path = drawn(tmp_path, body, '<rect id="stripe" x="10" y="-15" width="40" height="5"/>')
    ((paint,),), (said,) = lay_artwork(body, [flat_side()], view, path)
    expected = shapely.union(shapely.box(10, 10, 20, 15), shapely.box(40, 10, 50, 15))
    assert paint.area.symmetric_difference(expected).area < 1e-2
    assert "50 % of stripe" in said and "hides" in said


def test_steep_faces_and_the_air_beside_the_body_take_nothing_and_are_named(tmp_path):
    body, boiler = barrel_body(), barrel()
    view, path = drawn(tmp_path, body, '<rect id="post" x="20" y="-14" width="4" height="14"/>')
    ((paint,),), remarks = lay_artwork(body, [boiler], view, path)
    # Facets turned by more than 75 degrees: those above 12 sin 75 = 11.59 mm.
    assert view.to_view(boiler.to_surface(np.asarray(paint.area.exterior.coords)))[:, 1].max() < 11.7
    beside, steep = sorted(remarks, key=lambda said: "turned" in said)
    assert "lies beside the body" in beside
    assert "post" in steep and "75 degrees" in steep


@pytest.mark.parametrize(
    ("inside", "sentence"),
    [
        ("<script>1</script>", "has a script"),
        ('<rect onclick="x()" width="1" height="1"/>', "has a script"),
        ('<image href="http://example.org/a.png"/>', "refers to another file"),
        ('<use href="other.svg#a"/>', "refers to another file"),
        ('<rect width="1" height="1" fill="url(http://example.org/#a)"/>', "refers to another file"),
        ('<path d="M0 0 L5"/>', "too few numbers"),
        ('<path d="M0 0 X5 5"/>', "in the path data"),
        ('<path d="L5 5"/>', "does not begin with a move"),
        ('<rect width="1" height="1" fill="reddish"/>', "which is no colour"),
        ('<rect width="1 foo" height="1"/>', "unknown unit"),
        ('<rect width="1" height="1" transform="spin(3)"/>', "cannot be read: transform"),
        ('<g id="a"><use href="#a"/></g>', "nested too deeply"),
        ('<text y="5" font-family="No Such Face">7</text>', "is not installed"),
    ],
)
def test_dangerous_or_broken_drawings_are_refused(tmp_path, inside, sentence):
    body = box_body()
    view, path = drawn(tmp_path, body, inside)
    with pytest.raises(BadInput, match=sentence):
        lay_artwork(body, [flat_side()], view, path)


def test_drawings_that_are_not_drawings_are_refused(tmp_path):
    body = box_body()
    view = draw_view(body, "right")
    path = tmp_path / "a.svg"
    for text, sentence in [
        ("", "not well-formed"),
        ("<svg xmlns='http://www.w3.org/2000/svg'><g>", "not well-formed"),
        ("<html/>", "is no SVG"),
        ("<!DOCTYPE svg [<!ENTITY a 'b'>]><svg xmlns='http://www.w3.org/2000/svg'>&a;</svg>", "entities"),
        ("<svg xmlns='http://www.w3.org/2000/svg'/>", "no group called livery"),
    ]:
        path.write_text(text)
        with pytest.raises(BadInput, match=sentence):
            lay_artwork(body, [flat_side()], view, path)
    with pytest.raises(BadInput, match="no such file"):
        lay_artwork(body, [flat_side()], view, tmp_path / "b.svg")


def test_a_drawing_of_another_body_is_refused_and_a_moved_page_is_not(tmp_path):
    body = box_body()
    view, path = drawn(tmp_path, body, '<rect x="10" y="-20" width="8" height="5"/>')
    text = path.read_text()
    # A program that moves the page's origin wraps everything in a moved group.
    head, tail = text.index("<g "), text.rindex("</svg>")
    path.write_text(f'{text[:head]}<g transform="translate(31,7)">{text[head:tail]}</g></svg>')
    ((paint,),), _ = lay_artwork(body, [flat_side()], view, path)
    assert paint.area.symmetric_difference(shapely.box(10, 15, 18, 20)).area < 1e-4
    other = draw_view(box_body(width=80.0), "right")
    with pytest.raises(BadInput, match="scaled, or drawn for another"):
        lay_artwork(body, [flat_side()], other, path)


STROKES = {
    "straight": ('<path d="M8 -5 H50" {}/>', 2),
    "bent": ('<path d="M8 -5 C20 -5 20 -20 30 -20 S40 -8 52 -8" {}/>', 3),
    "ring": ('<circle cx="30" cy="-12" r="8" {}/>', 4),
    "corners": ('<polyline points="8,-4 30,-4 40,-18 52,-18" {}/>', 4),
    "off the edge": ('<path d="M8 -5 H70" {}/>', 2),
}


@pytest.mark.parametrize("cap", ["butt", "round", "square"])
@pytest.mark.parametrize("name", STROKES)
def test_strokes_stay_strokes_with_few_nodes(tmp_path, name, cap):
    text, nodes = STROKES[name]
    join = "miter" if cap == "butt" else "round"
    paint_it = (
        f'fill="none" stroke="#aa0000" stroke-width="0.8" stroke-linecap="{cap}" stroke-linejoin="{join}"'
    )
    view, path = drawn(tmp_path, box_body(), text.format(paint_it))
    ((paint,),), _ = lay_artwork(box_body(), [flat_side()], view, path)
    assert paint.stroke == pytest.approx(0.8, abs=2e-3)
    assert (paint.cap, paint.join) == (cap, join)
    assert sum(len(curve.spans) for curve in paint.curves) <= 2 * nodes
    printed = shapely.intersection(printed_area(paint), flat_side().outline)
    assert printed.buffer(0.02).covers(paint.area) and paint.area.buffer(0.02).covers(printed)


def test_a_stroke_that_the_view_widens_is_no_stroke(tmp_path):
    # Seen from the side a line along the barrel, high up, is wider on the body than it is drawn.
    body, boiler = barrel_body(), barrel()
    line = '<path d="M10 -10 L40 4" fill="none" stroke="#aa0000" stroke-width="1"/>'
    view, path = drawn(tmp_path, body, line)
    ((paint,),), _ = lay_artwork(body, [boiler], view, path)
    assert paint.stroke is None
    ((paint,),), _ = lay_artwork(body, [boiler], view, path, measure="surface")
    assert paint.stroke == pytest.approx(1.0, abs=5e-3) and len(paint.curves[0].spans) == 1


def test_what_is_drawn_comes_back_to_the_view(tmp_path):
    body, boiler = barrel_body(), barrel()
    shapes = (
        '<path id="leaf" d="M12 0 C16 -9 26 -9 30 0 S20 9 12 0Z"/><circle cx="38" cy="3" r="5"/>'
        '<path d="M33 -10 h8 v4 h-8z" fill="#aa0000"/>'
    )
    view, path = drawn(tmp_path, body, shapes)
    (paints,), _ = lay_artwork(body, [boiler], view, path)
    for paint, shape in zip(paints, read_drawing(path, view.outline.bounds).shapes, strict=True):
        rim = np.concatenate(
            [np.asarray(ring.segmentize(0.05).coords) for ring in (printed_area(paint).exterior,)]
        )
        back = shapely.points(view.to_view(boiler.to_surface(rim)))
        assert shapely.distance(back, shape.area.boundary).max() < 0.05
        assert sum(len(curve.spans) for curve in paint.curves) <= 2 * shape.nodes


def test_a_gradient_on_a_barrel_has_everywhere_the_colour_seen_from_the_side(tmp_path):
    # From z = -10 (black) to z = 10 (red 200): on the body the red at a height z is 10 z + 100.
    body, boiler = barrel_body(), barrel()
    gradient = (
        '<linearGradient id="g" gradientUnits="userSpaceOnUse" x1="0" y1="10" x2="0" y2="-10">'
        '<stop stop-color="#000000"/><stop offset="1" stop-color="#c80000"/></linearGradient>'
        '<rect x="10" y="-9" width="20" height="18" fill="url(#g)"/>'
    )
    view, path = drawn(tmp_path, body, gradient)
    ((paint,),), remarks = lay_artwork(body, [boiler], view, path)
    assert remarks == ()
    assert len(paint.curves[0].spans) <= 8
    rng = np.random.default_rng(5)
    low, high = np.array(paint.area.bounds).reshape(2, 2)
    places = low + rng.random((500, 2)) * (high - low)
    places = places[shapely.contains_xy(paint.area, *places.T)]
    red = paint.picture.at(places)[:, 0].astype(float)
    # Half a level of rounding, and half a dot of 1/24 mm at 10 levels a millimetre.
    assert np.abs(red - (10.0 * boiler.to_surface(places)[:, 2] + 100.0)).max() < 0.5 + 10.0 / 48 + 0.05
    dot = np.linalg.norm(paint.picture.matrix[:, 0])
    assert dot <= 25.4 / 600
    # The same when the piece is turned and moved.
    turn = np.array([[0.6, -0.8, 3.0], [0.8, 0.6, -7.0]])
    moved = paint.moved(turn)
    assert (moved.picture.at(places @ turn[:, :2].T + turn[:, 2]) == paint.picture.at(places)).mean() > 0.99
