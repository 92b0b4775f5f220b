import numpy as np
import pytest
import shapely
import trimesh
from PIL import Image

from unwrap.body.body import Body
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.guide.body_pictures import lettered_views
from unwrap.guide.camera import aim
from unwrap.guide.normals import smooth_normals
from unwrap.guide.order import application_order
from unwrap.guide.printed import print_dots, rgb
from unwrap.guide.proof import draw_proof
from unwrap.guide.scene import Scene
from unwrap.guide.srgb import to_linear, to_srgb
from unwrap.livery.paint import Paint
from unwrap.regions.region import Detail, Patch
from unwrap.sheet.piece import Piece


@pytest.fixture(scope="module")
def scene(body, pieces):
    return Scene(body, pieces, per_mm=12)


def test_print_has_each_paint_where_it_lies():
    ring = shapely.box(0, 0, 20, 10).difference(shapely.box(8, 3, 12, 7))
    spot = shapely.box(9, 4, 11, 6)
    paints = [Paint("fill", "#204060", ring), Paint("fill", "#ff8000", spot)]
    printed = print_dots(paints, np.array([[0.0, 0.0], [20.0, 10.0]]), per_mm=20)
    found = printed.at(np.array([[1.0, 1.0], [8.5, 3.5], [10.0, 5.0], [-5.0, 0.0]]))
    assert found.tolist() == [[32, 64, 96, 255], [0, 0, 0, 0], [255, 128, 0, 255], [0, 0, 0, 0]]
    covered = (printed.dots[..., 3] > 0).sum() / 20**2
    assert covered == pytest.approx(ring.area + spot.area, rel=0.01)


def test_side_view_shows_the_print_at_its_place(scene, body, pieces):
    """A point of the barrel's side shows the colour of the paint that was laid there."""
    camera = aim(body.vertices, 90, 0, lens=None, air=2)
    width = 640
    picture = scene.picture(camera, width)
    left, _, right, top = camera.frame
    scale = width / (right - left)

    def look(point):
        x, y = camera.onto(np.array([point], dtype=float))[0]
        return int((x - left) * scale), int((top - y) * scale)

    for place, piece, colour in (
        ((0.0, 12.0, -2.0), 0, pieces[0].paints[0].colour),
        ((15.0, 12.0, -2.0), 0, pieces[0].paints[2].colour),
        ((32.0, 12.0, 0.0), -1, None),
        ((8.0, 4.0, 21.0), 1, pieces[1].paints[0].colour),
    ):
        column, row = look(place)
        assert picture.piece[row, column] == piece
        if colour is not None:
            shown = to_linear(picture.colours[row, column])
            asked = to_linear(np.array(rgb(colour), dtype=np.uint8))
            # Light changes brightness, not hue.
            assert np.allclose(shown / shown.sum(), asked / asked.sum(), atol=0.06)


def test_front_of_the_left_view_is_on_the_left(body):
    camera = aim(body.vertices, 90, 0, lens=None)
    front, rear = camera.onto(np.array([[30.0, 0, 0], [-30.0, 0, 0]]))
    assert front[0] < rear[0]


def test_picture_is_the_same_every_time(scene, body):
    camera = aim(body.vertices, 38, 20, foot=3)
    first, second = (scene.picture(camera, 200).colours for _ in range(2))
    assert np.array_equal(first, second)


def test_contact_shadow_is_soft_and_the_ground_white(scene, body):
    camera = aim(body.vertices, 38, 25, air=15, foot=5)
    picture = scene.picture(camera, 300)
    ground = picture.colours[~picture.body].min(axis=1)
    assert ground.max() == 255
    assert 120 < ground.min() < 225


def test_camera_frames_every_point(body):
    for azimuth, elevation, lens in ((38, 20, 18.0), (218, 35, 30.0), (90, 90, None)):
        camera = aim(body.vertices, azimuth, elevation, lens=lens, air=1.0)
        flat = camera.onto(body.vertices)
        left, bottom, right, top = camera.frame
        assert flat[:, 0].min() == pytest.approx(left + 1.0)
        assert flat[:, 0].max() == pytest.approx(right - 1.0)
        assert flat[:, 1].min() == pytest.approx(bottom + 1.0)
        assert flat[:, 1].max() == pytest.approx(top - 1.0)


def test_rays_go_where_points_are_drawn(body):
    camera = aim(body.vertices, 38, 20, lens=24.0)
    points = body.vertices[::37]
    flat = camera.onto(points)
    origins, directions = camera.rays(flat[:, 0], flat[:, 1])
    off = np.cross(points - origins, directions)
    assert np.abs(np.linalg.norm(off, axis=1)).max() < 1e-9


def test_normals_of_a_barrel_are_radial_and_of_its_ends_flat(body):
    barrel = np.abs(np.abs(body.corners[..., 0]).max(axis=1) - 33.0) < 0.01
    radial = np.hypot(body.corners[..., 1], body.corners[..., 2])
    barrel &= (radial > 11.99).all(axis=1) & (np.abs(body.normals[:, 0]) < 0.1) & (body.areas > 1)
    normals = smooth_normals(body)
    place = body.corners[barrel] * (0, 1, 1)
    place /= np.linalg.norm(place, axis=2, keepdims=True)
    assert barrel.sum() > 50
    assert np.einsum("mcd,mcd->mc", normals[barrel], place).min() > 0.999
    ends = (np.abs(body.normals[:, 0]) > 0.999) & (np.abs(body.corners[..., 0]).min(axis=1) > 32.9)
    assert np.abs(normals[ends][..., 0]).min() > 0.999


def test_srgb_round_trip():
    # IEC 61966-2-1: mid grey 188 is half the light.
    assert to_linear(np.array([188], dtype=np.uint8))[0] == pytest.approx(0.5029, abs=1e-4)
    every = np.arange(256, dtype=np.uint8)
    assert np.array_equal(to_srgb(to_linear(every)), every)


def test_proof_is_a_picture_with_every_colour(tmp_path, body, pieces):
    draw_proof(body, pieces, tmp_path / "proof.png", width=500)
    with Image.open(tmp_path / "proof.png") as opened:
        picture = np.asarray(opened.convert("RGB")).astype(int)
    assert picture.shape[1] == 500
    red, green, blue = np.moveaxis(picture, -1, 0)
    assert ((green > red + 15) & (green > blue + 5)).mean() > 0.04
    assert ((red > green + 60) & (red > blue + 60)).mean() > 0.002
    assert (picture.min(axis=2) > 250).mean() > 0.3


def test_a_picture_that_was_taken_for_the_proof_serves_the_guide(tmp_path, body, pieces):
    """Nothing is drawn twice, and the smaller picture shows what one taken at its size does."""
    steps = application_order(pieces)
    scene, taken = draw_proof(body, [step.piece for step in steps], tmp_path / "proof.png", width=900)
    shared, own = lettered_views(scene, steps, taken, width=300), lettered_views(scene, steps, width=300)
    assert [view.title for view in shared] == [view.title for view in own]
    for one, other in zip(shared, own, strict=True):
        assert one.picture.size == other.picture.size
        apart = np.abs(np.asarray(one.picture, float) - np.asarray(other.picture, float)).max(axis=2)
        # Edges are softened otherwise, and a letter may stand elsewhere.
        assert (apart < 8).mean() > 0.85


def test_film_covers_what_it_was_carried_over_and_nothing_that_stands_before_it(film):
    """A rivet 0.3 mm high shows the print; a ledge 0.6 mm proud of the side does not."""
    side = trimesh.creation.box(extents=(40, 10, 20))
    rivet = trimesh.creation.box(extents=(2, 0.6, 2))
    rivet.apply_translation([-10, 5, 0])
    ledge = trimesh.creation.box(extents=(4, 1.2, 20))
    ledge.apply_translation([10, 5, 0])
    whole = trimesh.util.concatenate([side, rivet, ledge])
    body = Body(np.asarray(whole.vertices), np.asarray(whole.faces, dtype=np.int64))
    # Seen from the left (+y) the front (+x) lies to the left, z up.
    surface = np.array([[20.0, 5, -10], [-20, 5, -10], [-20, 5, 10], [20, 5, 10]])
    points = np.array([[-20.0, -10], [20, -10], [20, 10], [-20, 10]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    flat = FlatPiece(points, faces, np.arange(4), surface, np.arange(2), np.ones((2, 2)), film)
    detail = Detail("rivet", (-10.0, 5.0, 0.0), 0.3, 2.0, 1.1)
    box = shapely.box(-20, -10, 20, 10)
    patch = Patch("side", surface, faces, details=(detail,))
    piece = Piece("side", "side", patch, flat, box, paints=(Paint("fill", "#804020", box),))
    camera = aim(body.vertices, 90, 0, lens=None, air=1)
    shown = Scene(body, [piece], per_mm=5).index(camera, 420)
    left, _, _, top = camera.frame
    assert camera.aspect == pytest.approx(42 / 22)

    def at(x, z):
        return shown[int((top - z) * 10), int((-x - left) * 10)]

    assert at(0, 0) == 0
    assert at(-10, 0) == 0
    assert at(10, 0) == -1
    assert at(20.5, 0) == -1
    from_rear = aim(body.vertices, -90, 0, lens=None, air=1)
    assert (Scene(body, [piece], per_mm=5).index(from_rear, 200) == -1).all()
