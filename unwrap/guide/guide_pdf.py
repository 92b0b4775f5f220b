"""The guide as an A4 PDF."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from html import escape

from PIL import Image as Picture
from reportlab import rl_config
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    Image,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from unwrap.guide.advice import Advice
from unwrap.guide.bench_text import BEFORE, CAUTIONS, LAYING
from unwrap.guide.content import Guide, lead_in, sayings, sentence
from unwrap.guide.lettering import font_file
from unwrap.guide.order import Step
from unwrap.guide.pens import PdfPen
from unwrap.guide.piece_drawing import draw_piece, drawing_size
from unwrap.sheet.piece import Piece

PAGE = (210 * mm, 297 * mm)
MARGIN = 15 * mm
# The page frame keeps six points free on either side of what stands in it.
WIDE = PAGE[0] - 2 * MARGIN - 12

FACE, BOLD = "Guide", "Guide-Bold"
INK, QUIET, RULE, WASH, MARK = (HexColor(c) for c in ("#26262a", "#66666e", "#d5d2ca", "#f5f3ee", "#8a3b12"))

TEXT = ParagraphStyle("text", fontName=FACE, fontSize=9, leading=12.6, textColor=INK)
SMALL = ParagraphStyle("small", parent=TEXT, fontSize=7.6, leading=10, textColor=QUIET)
TITLE = ParagraphStyle("title", parent=TEXT, fontName=BOLD, fontSize=21, leading=26)
HEADING = ParagraphStyle(
    "heading", parent=TEXT, fontName=BOLD, fontSize=13, leading=17, spaceBefore=16, spaceAfter=5
)
NAME = ParagraphStyle("name", parent=TEXT, fontName=BOLD, fontSize=10.5, leading=14)
HERE = ParagraphStyle("here", parent=TEXT, textColor=MARK)
MIDDLE = ParagraphStyle("middle", parent=SMALL, alignment=1)


def guide_pdf(guide: Guide) -> bytes:
    """Set a guide as an A4 PDF, its typeface embedded; the same bytes for the same guide."""
    for name, bold in ((FACE, False), (BOLD, True)):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(font_file(bold))))
    story = [
        *_head(guide),
        *_views(guide),
        *_order(guide),
        *_list_section("Take care", CAUTIONS),
        *_list_section("Before you cut", BEFORE),
        *_list_section("Laying a piece", LAYING, numbered=True),
        *_pieces(guide),
        *_risks(guide),
        *_strain(guide),
    ]
    # Pictures as plain bytes: written as text they take seconds more, and a quarter more room.
    rl_config.useA85 = 0
    kept = io.BytesIO()
    document = SimpleDocTemplate(
        kept,
        pagesize=PAGE,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
        title=f"Decals for {guide.title}",
        author="",
        invariant=1,
    )
    foot = _foot(guide.title)
    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return kept.getvalue()


class _Drawn(Flowable):
    """A piece's drawing at its own size on paper."""

    def __init__(self, piece: Piece) -> None:
        super().__init__()
        self._piece = piece
        wide, tall, _ = drawing_size(piece)
        self.width, self.height = wide * mm, tall * mm

    def wrap(self, *available: float) -> tuple[float, float]:
        """Its size, points."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it with the origin at its lower left corner."""
        self.canv.saveState()
        draw_piece(self._piece, PdfPen(self.canv, mm, FACE))
        self.canv.restoreState()


def _foot(title: str) -> Callable[[Canvas, object], None]:
    def draw(canvas: Canvas, document: object) -> None:
        canvas.setFont(FACE, 7.5)
        canvas.setFillColor(QUIET)
        canvas.drawString(MARGIN, 9 * mm, title)
        canvas.drawRightString(PAGE[0] - MARGIN, 9 * mm, str(canvas.getPageNumber()))

    return draw


def _say(text: str, style: ParagraphStyle = TEXT) -> Paragraph:
    return Paragraph(escape(text, quote=False), style)


def _heading(text: str) -> list[Flowable]:
    rule = Table([[""]], colWidths=[WIDE], rowHeights=[2])
    rule.setStyle(TableStyle([("LINEABOVE", (0, 0), (-1, -1), 0.9, INK)]))
    # A heading never ends a page.
    return [CondPageBreak(45 * mm), _say(text, HEADING), rule, Spacer(1, 4)]


def _head(guide: Guide) -> list[Flowable]:
    names = [_say(name, SMALL) for name in guide.facts]
    values = [_say(value) for value in guide.facts.values()]
    facts = Table([names, values], colWidths=[WIDE / len(names)] * len(names))
    facts.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("BOTTOMPADDING", (0, 0), (-1, 0), 0),
            ]
        )
    )
    found: list[Flowable] = [_say("Laying the decals", SMALL), _say(guide.title, TITLE), Spacer(1, 4), facts]
    if guide.warnings:
        said = [_say("Look at this first", NAME), *(_bullet(warning) for warning in guide.warnings)]
        box = Table([[said]], colWidths=[WIDE])
        box.setStyle(
            TableStyle(
                [
                    ("BACKGROUND", (0, 0), (-1, -1), WASH),
                    ("LINEBEFORE", (0, 0), (0, -1), 3, MARK),
                    ("LEFTPADDING", (0, 0), (-1, -1), 12),
                    ("TOPPADDING", (0, 0), (-1, -1), 7),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 8),
                ]
            )
        )
        found += [Spacer(1, 8), box]
    return found


def _bullet(text: str, mark: str = "•") -> Paragraph:
    word, rest = lead_in(text)
    start = f'<font name="{BOLD}">{escape(word, quote=False)}</font> ' if word else ""
    style = ParagraphStyle("bullet", parent=TEXT, leftIndent=14, bulletIndent=2, spaceAfter=3)
    return Paragraph(start + escape(rest, quote=False), style, bulletText=mark)


def _views(guide: Guide) -> list[Flowable]:
    cells = [
        [_picture(view.picture, WIDE / 2 - 8, 80 * mm), _say(view.title, MIDDLE)] for view in guide.views
    ]
    rows = [cells[k : k + 2] for k in range(0, len(cells), 2)]
    if rows and len(rows[-1]) < 2:
        rows[-1].append([])
    if not rows:
        return []
    table = Table(rows, colWidths=[WIDE / 2] * 2)
    table.setStyle(
        TableStyle([("VALIGN", (0, 0), (-1, -1), "BOTTOM"), ("ALIGN", (0, 0), (-1, -1), "CENTER")])
    )
    return [*_heading("Where each piece goes"), table]


def _picture(picture: Picture.Image, wide: float, high: float) -> Image:
    kept = io.BytesIO()
    picture.save(kept, format="JPEG", quality=90, subsampling=0)
    kept.seek(0)
    scale = min(wide / picture.width, high / picture.height)
    return Image(kept, width=picture.width * scale, height=picture.height * scale)


def _order(guide: Guide) -> list[Flowable]:
    rows: list[list[Flowable | str]] = [
        ["", _say("Piece", SMALL), _say("Goes on", SMALL), _say("Why now", SMALL)]
    ]
    for step in guide.steps:
        if step.dry_before:
            rows.append(["", _say("let everything so far dry", HERE), "", ""])
        letter, piece = _say(step.letter, NAME), _say(step.piece.name)
        rows.append([letter, piece, _say(step.side), _say(sentence(step.reason))])
    table = Table(rows, colWidths=[WIDE * share for share in (0.06, 0.22, 0.17, 0.55)], repeatRows=1)
    style: list[tuple] = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.5, RULE)]
    style += [("SPAN", (1, k), (3, k)) for k, row in enumerate(rows) if k and row[2] == ""]
    table.setStyle(
        TableStyle([*style, ("TOPPADDING", (0, 0), (-1, -1), 2), ("LEFTPADDING", (0, 0), (-1, -1), 0)])
    )
    return [*_heading("In this order"), table]


def _list_section(title: str, items: Sequence[str], *, numbered: bool = False) -> list[Flowable]:
    marks = [f"{k}." if numbered else "•" for k in range(1, len(items) + 1)]
    return [*_heading(title), *(_bullet(item, mark) for item, mark in zip(items, marks, strict=True))]


def _pieces(guide: Guide) -> list[Flowable]:
    found: list[Flowable] = _heading("Piece by piece")
    for step, advice, where in zip(guide.steps, guide.advice, guide.printed_on, strict=True):
        found += [KeepTogether(_piece(step, advice, where)), Spacer(1, 9)]
    return found


def _piece(step: Step, advice: Advice, printed_on: str) -> list[Flowable]:
    drawn = _Drawn(step.piece)
    where = f"{step.side}, {printed_on}" if printed_on else step.side
    said: list[Flowable] = [
        Paragraph(
            f'{step.letter}  {escape(step.piece.name)} <font name="{FACE}" size="8" color="#66666e">'
            f"{escape(where)}</font>",
            NAME,
        )
    ]
    for name, sentences in sayings(advice):
        said += [Spacer(1, 3), _say(name, SMALL), *(_say(line) for line in sentences)]
    left = drawn.width + 10
    if left > 0.6 * WIDE:
        # A long piece stands above its advice, at full width.
        card = Table([[[drawn, *said]]], colWidths=[WIDE])
    else:
        card = Table([[drawn, said]], colWidths=[left, WIDE - left])
    card.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("BOX", (0, 0), (-1, -1), 0.7, RULE),
                ("LEFTPADDING", (0, 0), (0, 0), 4),
                ("TOPPADDING", (0, 0), (-1, -1), 7),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 8),
            ]
        )
    )
    return [card]


def _risks(guide: Guide) -> list[Flowable]:
    cells: list[list[Flowable]] = []
    for risk in guide.risks:
        cell: list[Flowable] = [_say(risk.name, NAME), _say(risk.cure)]
        if risk.here:
            cell.append(_say(f"At risk here: {'; '.join(risk.here)}.", HERE))
        cells.append(cell)
    rows = [cells[k : k + 2] for k in range(0, len(cells), 2)]
    if len(rows[-1]) < 2:
        rows[-1].append([])
    table = Table(rows, colWidths=[WIDE / 2] * 2)
    table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    return [*_heading("What usually goes wrong"), table]


def _strain(guide: Guide) -> list[Flowable]:
    if guide.strain is None:
        return []
    with Picture.open(io.BytesIO(guide.strain)) as picture:
        wide, high = picture.size
    scale = min(WIDE / wide, 225 * mm / high)
    picture = Image(io.BytesIO(guide.strain), wide * scale, high * scale)
    return [CondPageBreak(high * scale + 22 * mm), *_heading("What the film must do"), picture]
