"""The shipped example, made as a user makes it, and its sheet read back onto the body."""

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely

from unwrap.bench import Result
from unwrap.livery.carry import Carry
from unwrap.make import make
from unwrap.sheet.outline import outline_of

JOB = Path(__file__).parents[2] / "examples" / "tank_engine" / "job.toml"
SVG = "{http://www.w3.org/2000/svg}"
REACH = 0.05  # how far lining may lie from where it was asked for, mm


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    out = tmp_path_factory.mktemp("tank_engine") / "out"
    return make(JOB, out), out


def points_of(d: str) -> np.ndarray:
    """Points along an SVG path of absolute M, L, C and Z, many on every span."""
    points: list[np.ndarray] = []
    here = np.zeros(2)
    for letter, numbers in re.findall(r"([MLCZHV])([^MLCZHV]*)", d):
        values = [float(v) for v in re.findall(r"-?\d*\.?\d+(?:e-?\d+)?", numbers)]
        if letter == "C":
            for b, c, e in np.array(values).reshape(-1, 3, 2):
                t = np.linspace(0.0, 1.0, 33)[1:, None]
                points.extend(
                    (1 - t) ** 3 * here + 3 * t * (1 - t) ** 2 * b + 3 * t**2 * (1 - t) * c + t**3 * e
                )
                here = e
        elif letter in "ML":
            for there in np.array(values).reshape(-1, 2):
                if letter == "L":
                    points.extend(here + np.linspace(0.0, 1.0, 33)[1:, None] * (there - here))
                here = there
                points.append(here)
        elif letter in "HV":
            raise AssertionError("the reader knows no H and V")
    return np.array(points)


def lines_on_body(made: tuple[Result, Path], region: str, title: str) -> list[tuple[np.ndarray, float]]:
    """Places on the body (n, 3) of the edges of all lines with such a title, and the half width of a stroke.

    The sheet is read as anybody would: turned back from its mirror image, taken off its place
    on the sheet, and laid on the body through the piece's faces.
    """
    result, out = made
    found = []
    for sheet in result.sheets:
        root = ElementTree.parse(out / f"sheet-{sheet.number}.svg").getroot()
        width, height = (float(root.get(side, "").removesuffix("mm")) for side in ("width", "height"))
        colour = next(g for g in root.iter(f"{SVG}g") if g.get("id") == "colour")
        for place in sheet.placements:
            if place.piece.region != region or place.copy:
                continue
            group = next(g for g in colour.iter(f"{SVG}g") if g.get("id") == f"piece-{place.piece.name}")
            carry = Carry(place.piece.patch, place.piece.flat)
            for path in group.iter(f"{SVG}path"):
                if not (path.findtext(f"{SVG}title") or "").startswith(title):
                    continue
                on_sheet = points_of(path.get("d", ""))
                upright = np.column_stack([width - on_sheet[:, 0], height - on_sheet[:, 1]])
                flat = (upright - place.matrix[:, 2]) @ place.matrix[:, :2]
                # Without the bleed, and without what runs on under the other side of a joint.
                laid = place.piece.flat
                inside = shapely.contains_xy(outline_of(laid.points, laid.faces)[0], flat)
                found.append((carry.to_surface(flat[inside]), 0.5 * float(path.get("stroke-width", 0.0))))
    assert found, f"no {title!r} on {region}"
    return found


def test_every_file_is_written_and_the_example_is_all_well(made: tuple[Result, Path]) -> None:
    result, out = made
    names = {path.name for path in out.iterdir()}
    assert names >= {
        "sheet-1.svg",
        "sheet-1-white.svg",
        "sheet-1.pdf",
        "trial-1.svg",
        "proof.png",
        "strain.png",
        "guide.html",
        "report.json",
    }
    assert {path.name for path in result.files} == names
    report = json.loads((out / "report.json").read_text())
    assert result.status == 0, report["warnings"]
    for piece in report["pieces"]:
        low = 1.0 - piece["compression"]["worst"]
        high = 1.0 + piece["stretch"]["worst"]
        if not piece["relief_cuts"]["count"]:
            assert high / low >= piece["bound"] - 1e-9
        assert piece["within_film"]


def test_only_the_dome_is_cut_and_flats_are_exact(made: tuple[Result, Path]) -> None:
    report = made[0].report
    cut = {piece["name"] for piece in report["pieces"] if piece["relief_cuts"]["count"]}
    assert cut == {"dome"}
    exact = {"tank_left", "tank_right", "cab_left", "cab_right"}
    for piece in report["pieces"]:
        if piece["name"] in exact:
            assert max(piece["stretch"]["worst"], piece["compression"]["worst"]) <= 1e-6


def test_bands_lie_at_their_stations(made: tuple[Result, Path]) -> None:
    # Band 2 of each set is 0.9 mm wide and its middle is the station itself.
    for station in (3.5, 18.0, 30.5):
        for places, half in lines_on_body(made, "boiler", f"band 2 at x = {station:g}:"):
            off = np.abs(places[:, 0] - station)
            assert np.abs(off - (0.45 - half)).max() <= REACH


@pytest.mark.parametrize("region", ["cab_left", "cab_right"])
@pytest.mark.parametrize(("title", "near", "far"), [("lining 2", 1.8, 2.1), ("lining 4", 2.65, 2.9)])
def test_lining_keeps_its_distance_from_the_edge(
    made: tuple[Result, Path], region: str, title: str, near: float, far: float
) -> None:
    # The cab side is a plane, so the distance over the surface is that in the plane: from
    # the region's own outline in x and z, with no flattening between.
    piece = next(p for p in made[0].pieces if p.region == region)
    loops = shapely.polygonize(
        [
            shapely.LineString(piece.patch.vertices[list(edge)][:, [0, 2]])
            for edge in _free_edges(piece.patch.faces)
        ]
    )
    outer = max(loops.geoms, key=lambda loop: loop.area).exterior
    checked = 0
    for places, half in lines_on_body(made, region, title):
        assert np.ptp(places[:, 1]) < 0.01
        flat = shapely.points(places[:, [0, 2]])
        # Along the straight bottom and rear, clear of the corners' own shapes.
        x, z = places[:, 0], places[:, 2]
        low, left = outer.bounds[1], outer.bounds[0]
        runs = ((z < low + 5.0) & (x > left + 6.0) & (x < outer.bounds[2] - 6.0)) | (
            (x < left + 5.0) & (z > low + 6.0) & (z < low + 14.0)
        )
        distance = shapely.distance(flat[runs], outer)
        off = np.minimum(np.abs(distance - (near + half)), np.abs(distance - (far - half)))
        # Lines end square where a run ends, so points between the two edges belong to ends.
        assert (off <= REACH).mean() > 0.95
        assert distance.min() >= near - REACH
        assert distance.max() <= far + REACH
        checked += int(runs.sum())
    assert checked > 10


def _free_edges(faces: np.ndarray) -> np.ndarray:
    edges = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    unique, count = np.unique(edges, axis=0, return_counts=True)
    return unique[count == 1]


def test_lettering_reads_the_right_way_round_on_both_sides(made: tuple[Result, Path]) -> None:
    # "3" has its openings on the left as it is read. The left side is read with the front (+x)
    # to the left, the right side with the front to the right.
    for region, read_right in (("cab_left", -1.0), ("cab_right", 1.0)):
        piece = next(p for p in made[0].pieces if p.region == region)
        three = next(paint for paint in piece.paints if paint.kind == "lettering")
        carry = Carry(piece.patch, piece.flat)
        middle = np.array([[three.area.envelope.centroid.x, three.area.envelope.centroid.y]])
        weight = np.array([[three.area.centroid.x, three.area.centroid.y]])
        lean = (carry.to_surface(weight) - carry.to_surface(middle))[0, 0]
        assert lean * read_right > 0.0
