"""Bridged regions against the same body built without its details."""

from __future__ import annotations

import igl
import numpy as np
import pytest
from bridged_bodies import CONE, DRUM, LOW, ROUND
from bridged_bodies import head as stud
from conftest import all_faces, body_of_solid, box, cylinder_x, union
from manifold3d import CrossSection, JoinType, Manifold

from unwrap.film import Film
from unwrap.regions import Patch, advise, grow_region, make_patch
from unwrap.regions.edges import boundary_loops, face_normals

BRIDGE = 1.5
SHEET = box((-30, 30), (-10, 10), (-15, 15))
BARREL = cylinder_x(10.0, -30.0, 30.0)


def patch_of(solid: Manifold, at, within=None, bridge: float = BRIDGE) -> Patch:
    body = body_of_solid(solid)
    region = grow_region(body, "side", at, within=within, outside=all_faces(body), bridge=bridge)
    return make_patch(region, bridge=bridge)


def largest_stretch(patch: Patch) -> float:
    """Largest |stretch - 1| of libigl's least-squares conformal map, scaled to the patch's area.

    On a developable surface the conformal map is the true development, so any stretch
    is the surface's own fault.
    """
    vertices, faces = patch.vertices, patch.faces
    fixed = np.array([vertices[:, 0].argmin(), vertices[:, 0].argmax()])
    flat = igl.lscm(vertices, faces, fixed, np.array([[0.0, 0.0], [1.0, 0.0]]))[0]
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    length = np.linalg.norm(b - a, axis=1)
    along = (b - a) / length[:, None]
    x = ((c - a) * along).sum(1)
    y = np.linalg.norm(c - a - x[:, None] * along, axis=1)
    u, v = flat[faces[:, 1]] - flat[faces[:, 0]], flat[faces[:, 2]] - flat[faces[:, 0]]
    first = u / length[:, None]
    jacobian = np.stack([first, (v - x[:, None] * first) / y[:, None]], axis=2)
    sigma = np.linalg.svd(jacobian, compute_uv=False)
    area = 0.5 * length * y
    scale = np.sqrt((sigma.prod(axis=1) * area).sum() / area.sum())
    worth = area > 1e-6  # the map of a sliver is mostly rounding
    return float(np.abs(sigma[worth] / scale - 1).max())


def check_against_plain(bridged: Patch, plain: Patch) -> None:
    """Outline within 0.05 mm, area within 0.2 %, stretch at most 0.1 %: the smooth body is the truth."""
    check_outline(bridged, plain)
    assert largest_stretch(bridged) <= 1e-3


def check_outline(bridged: Patch, plain: Patch) -> None:
    area = [face_normals(patch.vertices, patch.faces)[1].sum() for patch in (bridged, plain)]
    assert area[0] == pytest.approx(area[1], rel=2e-3)
    edge = [patch.vertices[np.concatenate(boundary_loops(patch.faces))] for patch in (bridged, plain)]
    segments = []
    for patch in (bridged, plain):
        loops = boundary_loops(patch.faces)
        segments.append(
            np.concatenate(
                [np.stack([patch.vertices[k], patch.vertices[np.roll(k, -1)]], axis=1) for k in loops]
            )
        )
    assert to_segments(edge[0], segments[1]).max() < 0.05
    assert to_segments(edge[1], segments[0]).max() < 0.05


def to_segments(points: np.ndarray, segments: np.ndarray) -> np.ndarray:
    start, along = segments[:, 0], segments[:, 1] - segments[:, 0]
    offset = points[:, None] - start[None]
    share = np.clip((offset * along).sum(-1) / (along * along).sum(-1), 0, 1)
    return np.linalg.norm(offset - share[..., None] * along, axis=2).min(axis=1)


@pytest.mark.parametrize("head", [ROUND, CONE, DRUM, LOW], ids=["round", "conical", "sharp sides", "low"])
def test_rivets_in_rows_up_to_the_edge(head):
    rows = [
        stud(head).translate((x, 0, z)) for x in np.arange(-29.2, 29.5, 1.6) for z in (-14.6, -12, 12, 14.8)
    ]
    patch = patch_of(union([SHEET, *rows]), (0.8, 10, 1))
    check_against_plain(patch, patch_of(SHEET, (0.8, 10, 1)))
    rivets = [detail for detail in patch.details if detail.kind == "rivet"]
    assert len(rivets) == len(rows)
    inner = [detail for detail in rivets if abs(detail.at[2]) < 13]
    assert {round(detail.height, 3) for detail in inner} == {round(max(h for _, h in head), 3)}
    assert all(detail.width == pytest.approx(2 * head[0][0], rel=0.05) for detail in inner)


def test_a_rivet_over_the_corner_leaves_the_corner():
    rivets = [stud(DRUM).translate((x, 0, z)) for x in (-29.8, 29.8) for z in (-14.8, 14.8)]
    check_against_plain(patch_of(union([SHEET, *rivets]), (0, 10, 0)), patch_of(SHEET, (0, 10, 0)))


def test_two_thousand_rivets_on_one_side():
    one = stud(DRUM, 8)
    rivets = [one.translate((x, 0, z)) for x in np.arange(-29, 29.1, 0.92) for z in np.arange(-14, 14.1, 0.9)]
    assert len(rivets) >= 2000
    patch = patch_of(union([SHEET, *rivets]), (0.46, 10, 0.45))
    assert len(patch.details) == len(rivets)
    assert np.allclose(patch.vertices[:, 1], 10)  # a plane develops without stretch
    check_outline(patch, patch_of(SHEET, (0.46, 10, 0.45)))


@pytest.mark.parametrize(
    "limits", [{"x": (-25, 25)}, {"x": (-25, 25), "z": (2, 20)}], ids=["all round", "upper half"]
)
def test_bands_that_cut_a_barrel_in_four(limits):
    bands = [cylinder_x(10.3, x - 0.5, x + 0.5) for x in (-12, 5, 18)]
    patch = patch_of(union([BARREL, *bands]), (0, 0, 10), limits)
    check_against_plain(patch, patch_of(BARREL, (0, 0, 10), limits))
    assert [detail.kind for detail in patch.details] == ["bead"] * 3
    # a square band's profile: its width and both its sides (the top runs round a little further out)
    assert all(detail.height == pytest.approx(0.3, abs=0.01) for detail in patch.details)
    assert all(detail.width == pytest.approx(1.0, abs=0.01) for detail in patch.details)
    assert all(detail.profile == pytest.approx(1.6, abs=0.05) for detail in patch.details)


def test_rivets_on_a_barrel_leave_its_facets_as_they_were():
    angle = np.radians(np.arange(3.0, 360.0, 11.0))
    head = Manifold.cylinder(0.8, 0.35, 0.35, 10).translate((0, 0, 9.6))
    rivets = [head.rotate((np.degrees(a), 0, 0)).translate((x, 0, 0)) for a in angle for x in (-20.0, 3.0)]
    limits = {"x": (-25, 25)}
    patch = patch_of(union([BARREL, *rivets]), (0, 0, 10), limits)
    check_against_plain(patch, patch_of(BARREL, (0, 0, 10), limits))
    assert len(patch.details) == len(rivets)


@pytest.mark.parametrize("bridge", [1.0, 3.0], ids=["planks broader", "planks narrower than the bridge"])
def test_planks(bridge):
    grooves = [box((-40, 40), (9.8, 11), (z - 0.15, z + 0.15)) for z in np.arange(-12.6, 14, 2.3)]
    uprights = [box((x - 0.15, x + 0.15), (9.8, 11), (-20, 20)) for x in (-12.0, 9.0)]
    patch = patch_of(SHEET - union(grooves) - union(uprights), (0.8, 10, 1), bridge=bridge)
    check_against_plain(patch, patch_of(SHEET, (0.8, 10, 1)))
    assert {detail.kind for detail in patch.details} == {"groove"}


def bead(height: float, width: float, z: float, length: float = 80.0) -> Manifold:
    """A bead along x with a circular profile on the plane y = 10."""
    radius = (width * width / 4 + height * height) / (2 * height)
    half = np.arcsin(min(1.0, width / 2 / radius))
    arc = [(radius * np.sin(t), radius * np.cos(t) - radius + height) for t in np.linspace(half, -half, 9)]
    solid = Manifold.extrude(CrossSection([np.array([*arc, (-width / 2, -0.3), (width / 2, -0.3)])]), length)
    place = np.array([[0, 0, 1, -length / 2], [0, 1, 0, 10], [-1, 0, 0, z]], dtype=float)
    return solid.transform(place)


@pytest.mark.parametrize(
    ("height", "width", "z", "length"),
    [(0.3, 0.6, 3, 40), (0.3, 0.6, 3, 80), (0.1, 0.6, -7, 80), (0.3, 0.6, 14.7, 80)],
    ids=["bead that ends", "bead right across", "weld line", "half-round edging at the top"],
)
def test_beads(height, width, z, length):
    solid = union([SHEET, bead(height, width, z, length)]) ^ box((-30, 30), (-20, 20), (-20, 20))
    patch = patch_of(solid, (0.8, 10, 1))
    check_against_plain(patch, patch_of(SHEET, (0.8, 10, 1)))
    (detail,) = patch.details
    assert detail.kind == ("edging" if z > 14 else "bead")
    assert detail.height == pytest.approx(height, abs=0.01)
    assert detail.width == pytest.approx(width, abs=0.02)
    arc_radius = (width * width / 4 + height * height) / (2 * height)
    arc = 2 * arc_radius * np.arcsin(min(1.0, width / 2 / arc_radius))
    if length > 60:
        assert detail.profile == pytest.approx(arc / width, rel=0.05)


@pytest.mark.parametrize("with_what", ["rivets", "band"])
def test_a_dome_is_carried_over_too(with_what):
    dome = Manifold.sphere(12, 96)
    head = Manifold.cylinder(1.2, 0.35, 0.35, 12).translate((0, 0, 11.2))
    if with_what == "rivets":
        extra = [head.rotate((0, t, 0)).rotate((0, 0, f)) for t in (20, 45) for f in range(0, 360, 20)]
    else:
        extra = [Manifold.sphere(12.3, 96) ^ box((-20, 20), (-20, 20), (5.5, 6.3))]
    limits = {"z": (3, 20)}
    patch = patch_of(union([dome, *extra]), (0, 0, 12), limits)
    check_outline(patch, patch_of(dome, (0, 0, 12), limits))
    assert len(patch.details) == len(extra)
    away = np.abs(np.linalg.norm(patch.vertices, axis=1) - 12)
    assert away.max() < 0.02


def test_a_point_on_a_rivet_means_the_sheet_under_it():
    rivets = [stud(DRUM).translate((x, 0, 5)) for x in np.arange(-20, 21, 4.0)]
    patch = patch_of(union([SHEET, *rivets]), (-8, 10.3, 5))
    check_outline(patch, patch_of(SHEET, (-8, 10, 5)))


def test_a_louvre_panel_is_carried_over_and_a_window_is_not():
    slats = [box((-4, 4), (9.6, 10.4), (z - 0.5, z + 0.5)).rotate((0, 0, 0)) for z in np.arange(-9, -1, 2.0)]
    window = box((10, 20), (-20, 20), (0, 8))
    patch = patch_of(union([SHEET, *slats]) - window, (0.8, 10, 1))
    check_against_plain(patch, patch_of(SHEET - window, (0.8, 10, 1)))
    assert len(patch.details) == 4


def test_small_holes_are_covered_and_marked_large_ones_stay_open():
    bore = Manifold.cylinder(40, 0.4, 0.4, 16).rotate((-90, 0, 0)).translate((0, -20, 0))
    blind = Manifold.cylinder(3, 0.3, 0.3, 16).rotate((-90, 0, 0)).translate((5, 8, 0))
    port = Manifold.cylinder(40, 2, 2, 32).rotate((-90, 0, 0)).translate((-9, -20, 0))
    patch = patch_of(SHEET - bore - blind - port, (0.8, 10, 3))
    check_against_plain(patch, patch_of(SHEET - port, (0.8, 10, 3)))
    found = patch.holes[np.argsort(patch.holes[:, 0])]
    assert np.allclose(found, [[0, 10, 0, 0.8], [5, 10, 0, 0.6]], atol=0.02)


def test_a_rounded_corner_is_ground_however_tight():
    corner = CrossSection([np.array([(-30, -10), (30, -10), (30, 10), (-30, 10)], dtype=float)])
    rounded = corner.offset(-1, JoinType.Round, circular_segments=24).offset(
        1, JoinType.Round, circular_segments=24
    )
    patch = patch_of(Manifold.extrude(rounded, 30), (0.8, 10, 12), {"x": (0, 40), "y": (0, 20)})
    quarter = 6 * 2 * np.sin(np.pi / 24)
    assert face_normals(patch.vertices, patch.faces)[1].sum() == pytest.approx(
        30 * (29 + 9 + quarter), rel=1e-6
    )
    assert not patch.details


def test_a_window_reveal_and_the_inside_stay_out():
    shell = SHEET - box((-29, 29), (-9, 9), (-14, 14)) - box((-5, 5), (0, 20), (-4, 4))
    patch = patch_of(shell, (0.8, 10, 12))
    assert np.allclose(patch.vertices[:, 1], 10)
    assert face_normals(patch.vertices, patch.faces)[1].sum() == pytest.approx(60 * 30 - 80)


def test_advice_names_sorts_and_weighs_them_against_the_film():
    rivets = [stud(DRUM).translate((x, 0, 5)) for x in np.arange(-20, 21, 4.0)]
    low = [stud(LOW).translate((x, 0, -5)) for x in np.arange(-20, 5, 4.0)]
    groove = box((-40, 40), (9.8, 11), (-0.15, 0.15))
    patch = patch_of(union([SHEET, *rivets, *low]) - groove, (0.8, 10, 1))
    lines = advise(patch.details, Film(stretch=0.05, compression=0.01))
    assert lines[0].startswith("11 rivet heads, 0.70 mm across and 0.30 mm high")
    assert "prick" in lines[0]
    assert lines[1].startswith("7 rivet heads, 0.90 mm across and 0.10 mm high")
    assert "takes up by itself" in lines[1]
    assert "slit it along" in lines[2]


def test_a_flaw_too_small_to_see_is_no_detail():
    parts = [box((-30, 30), (-10, 10), (-15, 15)), box((0, 1), (9, 10.008), (0, 1))]
    patch = patch_of(union(parts), (-20, 10, 0))
    assert patch.details == ()
    assert face_normals(patch.vertices, patch.faces)[1].sum() == pytest.approx(1800, rel=1e-6)


def test_louvres_that_lean_out_of_the_side_are_bridged():
    slats = [
        Manifold.extrude(CrossSection([[(9.5, z), (10.7, z), (10.0, z + 1.2), (9.5, z + 1.2)]]), 12)
        .rotate((90, 0, 90))
        .translate((-6, 0, 0))
        for z in np.arange(-6, 6, 1.3)
    ]
    patch = patch_of(union([SHEET, *slats]), (-20, 10, 0))
    assert face_normals(patch.vertices, patch.faces)[1].sum() == pytest.approx(1800, rel=1e-9)
    assert len(patch.details) == len(slats)
    assert {round(detail.height, 2) for detail in patch.details} == {0.7}
    assert largest_stretch(patch) < 1e-3


@pytest.mark.parametrize("thick", [0.4, 1.2])
def test_a_fin_right_across_ends_the_region(thick):
    fin = box((-thick, 0), (9, 16), (-15, 15))
    patch = patch_of(union([SHEET, fin]), (-20, 10, 0))
    assert face_normals(patch.vertices, patch.faces)[1].sum() == pytest.approx((30 - thick) * 30, rel=1e-6)
