"""Pieces built by hand from closed forms: a barrel strip and a dome cap on one small body."""

import numpy as np
import pytest
import shapely
import trimesh

from unwrap import Film
from unwrap.body.body import Body
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.livery.paint import Curve, Paint
from unwrap.regions.region import Detail, Joint, Patch
from unwrap.sheet.piece import Piece

BARREL_RADIUS, BARREL_LENGTH = 12.0, 60.0
DOME_RADIUS, DOME_ANGLE = 9.0, np.radians(55.0)
DOME_AT = np.array([8.0, 0.0, BARREL_RADIUS + 1.0])


def film_stretch(points, surface, faces):
    """Principal film stretches (flat -> surface) by singular values, larger first."""
    flat = points[faces]
    lifted = surface[faces]
    e = np.stack([flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]], axis=2)
    s = np.stack([lifted[:, 1] - lifted[:, 0], lifted[:, 2] - lifted[:, 0]], axis=2)
    return np.linalg.svd(s @ np.linalg.inv(e), compute_uv=False)


def straight(corners, closed):
    points = np.vstack([corners, corners[:1]]) if closed else np.asarray(corners)
    a, b = points[:-1], points[1:]
    return Curve(np.stack([a, a + (b - a) / 3, a + 2 * (b - a) / 3, b], axis=1), closed)


def grid_faces(rows, columns):
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(columns - 1), indexing="ij")
    a = (i * columns + j).ravel()
    return np.vstack(
        [np.column_stack([a, a + 1, a + columns + 1]), np.column_stack([a, a + columns + 1, a + columns])]
    )


def barrel_piece(film):
    """The barrel all round, its joint underneath, laid flat as a rectangle."""
    sections = 96
    chord = 2 * BARREL_RADIUS * np.sin(np.pi / sections)
    angle = -np.pi / 2 + np.linspace(0, 2 * np.pi, sections + 1)  # 0 points to +y, from underneath round
    x = np.linspace(-BARREL_LENGTH / 2, BARREL_LENGTH / 2, 13)
    grid_x, grid_k = np.meshgrid(x, np.arange(sections + 1))
    surface = np.column_stack(
        [
            grid_x.ravel(),
            BARREL_RADIUS * np.cos(angle)[grid_k.ravel()],
            BARREL_RADIUS * np.sin(angle)[grid_k.ravel()],
        ]
    )
    # Seen from outside on the left (+y) with z up, the front (+x) lies to the left.
    points = np.column_stack([-grid_x.ravel(), chord * grid_k.ravel()])
    faces = grid_faces(sections + 1, 13)[:, ::-1]
    stretch = film_stretch(points, surface, faces)
    n = len(points)
    flat = FlatPiece(points, faces, np.arange(n), surface, np.arange(len(faces)), stretch, film)
    joint = Joint(np.arange(13), np.arange(n - 13, n))
    details = tuple(
        Detail("rivet", (float(xx), BARREL_RADIUS, 0.0), 0.2, 0.6, 1.04) for xx in np.linspace(-25, 25, 11)
    )
    patch = Patch(
        "barrel", surface, faces, joints=(joint,), details=details, holes=np.array([[20.0, 0, 12.0, 1.2]])
    )
    height = chord * sections
    box = shapely.box(-BARREL_LENGTH / 2, 0, BARREL_LENGTH / 2, height)
    paints = [Paint("fill", "#1f4d3a", box, label="fill: green")]
    ring = box.buffer(-2.0, join_style="mitre").boundary
    corners = np.asarray(ring.coords)[:-1]
    line = ring.buffer(0.2, join_style="mitre")
    paints.append(
        Paint("line", "#f2e6c8", line, (straight(corners, True),), 0.4, "lining 1: cream 0.40 mm", 0.4)
    )
    for at in (-15.0, 15.0):
        ends = np.array([[at, 0.0], [at, height]])
        band = shapely.LineString(ends).buffer(0.6, cap_style="flat")
        paints.append(Paint("band", "#c8442c", band, (straight(ends, False),), 1.2, "band: red 1.2 mm", 1.2))
    return Piece(
        name="barrel",
        region="barrel",
        patch=patch,
        flat=flat,
        outline=box,
        outline_curves=(straight(np.asarray(box.exterior.coords)[:-1], True),),
        paints=tuple(paints),
        pierce=np.array([[-20.0, height / 2, 1.2]]),
        front=np.array([-1.0, 0.0]),
        up=np.array([0.0, 0.0]),
    )


def dome_piece(film):
    """A spherical cap in the azimuthal equidistant map: stretch 1 along, sin c / c round."""
    rings, sectors = 24, 96
    c = np.linspace(0, DOME_ANGLE, rings + 1)[1:]
    theta = np.linspace(0, 2 * np.pi, sectors, endpoint=False)
    grid_c, grid_t = (g.ravel() for g in np.meshgrid(c, theta, indexing="ij"))

    def both(cc, tt):
        up = np.column_stack([np.sin(cc) * np.cos(tt), np.sin(cc) * np.sin(tt), np.cos(cc)])
        return DOME_AT + DOME_RADIUS * up, DOME_RADIUS * cc[:, None] * np.column_stack(
            [np.cos(tt), np.sin(tt)]
        )

    surface, points = both(np.concatenate([[0.0], grid_c]), np.concatenate([[0.0], grid_t]))
    k = np.arange(sectors)
    first = np.column_stack([np.zeros(sectors, int), 1 + k, 1 + (k + 1) % sectors])
    a = (1 + np.arange(rings - 1)[:, None] * sectors + k).ravel()
    b = (1 + np.arange(rings - 1)[:, None] * sectors + (k + 1) % sectors).ravel()
    faces = np.vstack(
        [first, np.column_stack([a, a + sectors, b]), np.column_stack([b, a + sectors, b + sectors])]
    )
    flat = FlatPiece(
        points,
        faces,
        np.arange(len(points)),
        surface,
        np.arange(len(faces)),
        film_stretch(points, surface, faces),
        film,
        bound=DOME_ANGLE / np.sin(DOME_ANGLE),
    )
    disc = shapely.Point(0, 0).buffer(DOME_RADIUS * DOME_ANGLE, 64)
    return Piece(
        name="dome",
        region="dome",
        patch=Patch("dome", surface, faces),
        flat=flat,
        outline=disc,
        paints=(Paint("fill", "#1f4d3a", disc, label="fill: green"),),
        front=np.array([1.0, 0.0]),
        spares=1,
    )


@pytest.fixture(scope="session")
def body():
    barrel = trimesh.creation.cylinder(radius=BARREL_RADIUS, height=BARREL_LENGTH + 6, sections=96)
    barrel.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0]))
    frame = trimesh.creation.box(extents=(74, 18, 5))
    frame.apply_translation([0, 0, -13.5])
    dome = trimesh.creation.icosphere(subdivisions=4, radius=DOME_RADIUS)
    dome.apply_translation(DOME_AT)
    whole = trimesh.util.concatenate([barrel, frame, dome])
    return Body(np.asarray(whole.vertices), np.asarray(whole.faces, dtype=np.int64), name="milk tank")


@pytest.fixture(scope="session")
def film():
    return Film(stretch=0.04, compression=0.03)


@pytest.fixture(scope="session")
def pieces(film):
    return (barrel_piece(film), dome_piece(film))
