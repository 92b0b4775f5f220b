import io
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pikepdf
import pytest

from unwrap.guide.advice import advise
from unwrap.guide.body_pictures import lettered_views
from unwrap.guide.content import gather_guide
from unwrap.guide.guide import guide_html
from unwrap.guide.guide_pdf import guide_pdf
from unwrap.guide.order import application_order, letter_of
from unwrap.guide.piece_drawing import piece_drawing
from unwrap.guide.proof import draw_proof
from unwrap.guide.report import build_report
from unwrap.guide.risks import risks
from unwrap.guide.scene import Scene
from unwrap.guide.strain import draw_strain
from unwrap.guide.upright import upright
from unwrap.guide.whereabouts import heading_in_words, place_in_words, side_in_words, side_of, way_in_words
from unwrap.regions.region import Detail
from unwrap.sheet.sheet import Placement, Sheet

VOID = {"meta", "img", "br", "path", "circle", "link"}


class Balance(HTMLParser):
    """Fails on a tag that is closed out of turn; keeps the visible text and the links."""

    def __init__(self):
        super().__init__()
        self.open, self.text, self.links, self.skip = [], [], [], 0

    def handle_starttag(self, tag, attrs):
        self.links += [value for key, value in attrs if key in ("src", "href")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag in VOID:
            return
        assert self.open and self.open[-1] == tag, f"{tag} closes {self.open[-3:]}"
        self.open.pop()

    def handle_data(self, data):
        if not self.open or self.open[-1] != "style":
            self.text.append(data)


@pytest.fixture(scope="module")
def views(body, pieces):
    steps = application_order(pieces)
    return lettered_views(Scene(body, [step.piece for step in steps], per_mm=5), steps, width=260)


@pytest.fixture(scope="module")
def page(body, pieces, views):
    first, second = pieces
    sheet = Sheet(1, 210.0, 297.0, (Placement(first, 0, (50, 50)), Placement(second, 0, (120, 50))))
    second_sheet = Sheet(2, 210.0, 297.0, (Placement(second, 0, (50, 50), 1),))
    return guide_html(
        body,
        pieces,
        (sheet, second_sheet),
        title='"Milk & <tank>"',
        warnings=["piece dome is beyond the film"],
        views=views,
    )


def test_pdf_is_a4_with_its_typeface_in_it_and_the_same_every_time(body, pieces, views):
    guide = gather_guide(body, pieces, title="Milk <tank>", warnings=["look here"], views=views)
    data = guide_pdf(guide)
    assert data == guide_pdf(guide)
    with pikepdf.open(io.BytesIO(data)) as pdf:
        assert 2 <= len(pdf.pages) <= 8
        for page in pdf.pages:
            # ISO 216: A4 is 210 mm x 297 mm.
            size = [float(v) * 25.4 / 72 for v in page.mediabox[2:]]
            assert size == pytest.approx([210, 297], abs=0.05)
        fonts = [
            o
            for o in pdf.objects
            if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/FontDescriptor"
        ]
        assert fonts and all("/FontFile2" in font for font in fonts)
        pictures = [o for o in pdf.objects if isinstance(o, pikepdf.Stream) and o.get("/Subtype") == "/Image"]
        assert len(pictures) >= 2


def test_page_is_whole_and_needs_no_other_file(page):
    parser = Balance()
    parser.feed(page)
    assert parser.open == []
    assert parser.links and all(link.startswith("data:image/") for link in parser.links)
    assert not re.search(r"url\((?!#)|@import|<script|https?://(?!www\.w3\.org/2000/svg)", page)
    text = " ".join(parser.text)
    assert '"Milk & <tank>"' in text


def test_page_says_what_a_modeller_needs(page):
    parser = Balance()
    parser.feed(page)
    text = " ".join(" ".join(parser.text).split())
    for needed in (
        "Piece dome is beyond the film",
        "trial sheet",
        "Silvering",
        "Wrinkles under lacquer",
        "data sheet",
        "Blades",
        "fuser",
        "Dust",
        "licensed",
        "with 1 spare",
        "let everything so far dry",
    ):
        assert needed in text


def test_order_puts_the_barrel_before_the_dome_that_needs_softening(pieces):
    for given in (pieces, pieces[::-1]):
        steps = application_order(given)
        assert [(s.letter, s.piece.name) for s in steps] == [("A", "barrel"), ("B", "dome")]
        assert steps[1].dry_before
        assert "softening" in steps[1].reason


def test_order_lays_what_is_lapped_over_first(pieces):
    dome = pieces[1]
    small = np.linalg.norm(dome.flat.points[dome.flat.faces].mean(axis=1), axis=1) < 4.0
    flat = replace(
        dome.flat, faces=dome.flat.faces[small], face=dome.flat.face[small], stretch=dome.flat.stretch[small]
    )
    crest = replace(
        dome, name="crest", outline=dome.outline.intersection(dome.outline.centroid.buffer(4)), flat=flat
    )
    plain = replace(dome, flat=replace(dome.flat, stretch=np.ones_like(dome.flat.stretch)))
    steps = application_order([replace(crest, flat=replace(flat, stretch=np.ones_like(flat.stretch))), plain])
    assert [s.piece.name for s in steps] == ["dome", "crest"]
    assert "laps over dome" in steps[1].reason
    assert steps[0].under == ("crest",)


def test_letters():
    assert [letter_of(i) for i in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]


def test_sides_and_places():
    assert side_in_words(np.array([0.1, 0.9, 0.1])) == "left side"
    assert side_in_words(np.array([0.0, -0.7, 0.7])) in ("right side and top", "top and right side")
    assert side_in_words(np.array([0.0, 0.0, -1.0])) == "underside"
    low, high = np.zeros(3), np.array([100.0, 40.0, 30.0])
    assert (
        place_in_words(np.array([95.0, 35.0, 2.0]), low, high) == "towards the front, on the left, low down"
    )
    assert place_in_words(np.array([50.0, 20.0, 15.0]), low, high) == "in the middle"
    assert way_in_words(np.array([-3.0, 0.1, 0.0]), np.zeros(3)) == "fore and aft"
    assert heading_in_words(np.array([-1.0, 0.0])) == "to the left"
    assert heading_in_words(np.array([0.0, 1.0])) == "upwards"
    assert heading_in_words(np.array([0.7, 0.7])) == "to the upper right"


def test_advice_for_a_barrel(pieces):
    assert side_of(pieces[0]) == "all round"
    advice = advise(pieces[0])
    assert "front lies to the left" in advice.facing
    assert "low down" in advice.joint[0] and "fore and aft" in advice.joint[0] and "60 mm" in advice.joint[0]
    assert "lies flat" in advice.strain[0]
    assert "1 of 1.2 mm" in advice.holes[0]
    assert advice.details[0].startswith("11 rivet heads, 0.60 mm across and 0.20 mm high")


def test_advice_for_a_dome_names_the_shrinking_rim(pieces):
    advice = advise(pieces[1])
    assert len(advice.strain) == 2
    assert "shrink by up to 14" in advice.strain[0] and "low down" in advice.strain[0]
    assert "more than the film was said to take" in advice.strain[1]


def test_risks_name_the_pieces_that_invite_them(pieces):
    found = {risk.name.split(":")[0]: risk.here for risk in risks(application_order(pieces))}
    assert found["Silvering"] == ("A (11 details under the film)",)
    assert found["Bubbles and trapped water"][0].startswith("A (45 cm")
    assert found["Fullness at an edge, and folds"][0].startswith("B (must shrink by 14")
    assert found["Pieces that curl up on themselves"] == ()


def test_drawing_is_true_to_size_and_has_every_colour(pieces):
    drawing = piece_drawing(pieces[0])
    for paint in pieces[0].paints:
        assert paint.colour in drawing
    assert "true size" in drawing
    wide, tall = (float(v) for v in re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', drawing).groups())
    x0, y0, x1, y1 = pieces[0].outline.bounds
    assert wide == pytest.approx(x1 - x0 + 18, abs=0.02)
    assert tall == pytest.approx(y1 - y0 + 18, abs=0.02)
    assert "stroke-dasharray" in drawing  # the joint
    assert ">front<" in drawing


def test_details_say_what_to_do(pieces):
    barrel = pieces[0]

    def told(*details):
        return advise(replace(barrel, patch=replace(barrel.patch, details=details))).details

    low = Detail("rivet", (0.0, 0.0, 0.0), 0.1, 0.5, 1.03)
    high = Detail("bead", (0.0, 0.0, 0.0), 0.5, 1.0, 1.2)
    deep = Detail("groove", (0.0, 0.0, 0.0), -1.7, 1.0, 20.0)
    assert told() == ()
    assert told(Detail("hole", (0, 0, 0), -1.0, 0.6), Detail("edging", (0, 0, 0), 0.001, 9.0, 40.0)) == ()
    (said,) = told(low, low)
    assert said.startswith("2 rivet heads, 0.50 mm across and 0.10 mm high: to follow them")
    assert "the film must stretch 3 % there, which it takes up by itself" in said
    (said,) = told(high)
    assert "stretch 20 % there, more than the" in said and "slit it along the foot" in said
    (said,) = told(deep)
    assert "1.70 mm deep: no film follows it all the way" in said and "slit it along the line" in said
    assert len(told(low, low, high, deep, replace(low, height=0.4, profile=1.5))) == 4


def test_upright_turns_a_piece_and_changes_nothing_else(pieces):
    dome = pieces[1]
    turned = upright(replace(dome, up=np.array([0.6, -0.8]), front=np.array([-0.8, -0.6])))
    assert turned.up == pytest.approx([0.0, 1.0])
    assert turned.front == pytest.approx([1.0, 0.0])
    assert turned.outline.area == pytest.approx(dome.outline.area)
    middle = dome.outline.centroid
    assert turned.flat.points @ turned.up == pytest.approx(dome.flat.points @ [0.6, -0.8])
    assert turned.paints[0].area.centroid.distance(middle) < 1e-9
    only_front = upright(dome)
    assert only_front.front == pytest.approx([-1.0, 0.0])
    nothing = replace(dome, front=np.zeros(2))
    assert upright(nothing) is nothing


def test_a_job_without_pieces_still_has_its_pages(tmp_path, body):
    scene, taken = draw_proof(body, (), tmp_path / "proof.png", width=160)
    page = guide_html(body, (), views=lettered_views(scene, (), taken, width=120))
    assert "Take care" in page and page.count("<img") == 2
    draw_strain((), tmp_path / "strain.png")
    assert {p.name for p in tmp_path.iterdir()} == {"proof.png", "strain.png"}
    assert build_report(())["pieces"] == []


def test_slits_are_to_be_cut_to_their_rings_or_right_through(pieces):
    flat = pieces[1].flat
    order = np.argsort(flat.surface[:, 2])
    to_ring = flat.surface[order[[0, -1]]]
    through = flat.surface[order[[5, -5]]]
    # Where a cut ends on an edge, both lips have a point there.
    twin = order[-5:-4]
    doubled = replace(
        flat,
        points=np.vstack([flat.points, flat.points[twin] + 0.1]),
        surface=np.vstack([flat.surface, flat.surface[twin]]),
        vertex=np.append(flat.vertex, flat.vertex[twin]),
    )

    def said(*cuts):
        return advise(replace(pieces[1], flat=replace(doubled, cuts=cuts))).slits

    assert "each from the edge to the ring at its tip and no further. " in said(to_ring)[-1]
    assert "right through to the next edge" in said(through)[0]
    assert "ring" not in said(through)[-1]
    both = said(to_ring, through)
    assert "right through" not in both[0]
    assert "those without a ring run right through" in both[-1]
