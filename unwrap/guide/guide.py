"""The guide: one self-contained page that gets the pieces onto the model."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable, Mapping, Sequence
from html import escape

from PIL import Image

from unwrap.body.body import Body
from unwrap.guide.advice import Advice, advise
from unwrap.guide.bench_text import BEFORE, CAUTIONS, LAYING
from unwrap.guide.body_pictures import LetteredView, lettered_views
from unwrap.guide.order import Step, application_order
from unwrap.guide.page_style import STYLE
from unwrap.guide.piece_drawing import piece_drawing
from unwrap.guide.risks import Risk, risks
from unwrap.guide.whereabouts import counted
from unwrap.sheet.piece import Piece
from unwrap.sheet.sheet import Sheet


def guide_html(
    body: Body,
    pieces: Sequence[Piece],
    sheets: Sequence[Sheet] = (),
    *,
    title: str = "",
    warnings: Sequence[str] = (),
    strain: bytes | None = None,
    facts: Mapping[str, str] | None = None,
    width: int = 900,
) -> str:
    """The guide as one HTML page that needs no other file.

    Parameters
    ----------
    body : Body
        The model.
    pieces : sequence of Piece
        What was made.
    sheets : sequence of Sheet
        Where the copies lie.
    title : str
        The job's name; the body's where it is empty.
    warnings : sequence of str
        What needs the user, from the report.
    strain : bytes, optional
        The strain picture as PNG, to be printed with the guide.
    facts : mapping of str to str, optional
        More lines for the table at the head (scale, film, printer).
    width : int
        Pixels across each picture of the body.

    Returns
    -------
    str
    """
    title = title or body.name
    steps = application_order(pieces)
    sections = [
        _head(title, body, steps, sheets, facts or {}),
        _warnings(warnings),
        _views(lettered_views(body, steps, width)),
        _order(steps, sheets),
        _list_section("Take care", CAUTIONS, kind="care"),
        _list_section("Before you cut", BEFORE),
        _list_section("Laying a piece", LAYING, ordered=True),
        _pieces(steps, sheets),
        _risks(risks(steps)),
        _strain(strain),
    ]
    content = "\n".join(section for section in sections if section)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Decals for {escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n"
        f"<body>\n<main>\n{content}\n</main>\n</body>\n</html>\n"
    )


def _head(
    title: str, body: Body, steps: Sequence[Step], sheets: Sequence[Sheet], facts: Mapping[str, str]
) -> str:
    length, width, height = body.size
    rows = {
        "Model": f"{length:.1f} × {width:.1f} × {height:.1f} mm",
        "Pieces": f"{len(steps)}, on {counted(len(sheets), 'sheet')}" if sheets else str(len(steps)),
        **facts,
    }
    cells = "".join(f"<div><dt>{escape(k)}</dt><dd>{escape(v)}</dd></div>" for k, v in rows.items())
    return (
        f'<header><p class="kind">Laying the decals</p><h1>{escape(title)}</h1>'
        f'<dl class="facts">{cells}</dl></header>'
    )


def _warnings(warnings: Sequence[str]) -> str:
    if not warnings:
        return ""
    items = "".join(f"<li>{escape(_sentence(w))}</li>" for w in warnings)
    return f'<section class="look"><h2>Look at this first</h2><ul>{items}</ul></section>'


def _views(views: Sequence[LetteredView]) -> str:
    figures = "".join(
        f'<figure><img src="{_inline(view.picture)}" alt="The model {escape(view.title)}">'
        f"<figcaption>{escape(view.title)}</figcaption></figure>"
        for view in views
    )
    return (
        '<section class="views"><h2>Where each piece goes</h2>'
        f'<div class="pictures">{figures}</div></section>'
    )


def _order(steps: Sequence[Step], sheets: Sequence[Sheet]) -> str:
    rows = []
    for step in steps:
        if step.dry_before:
            rows.append('<tr class="dry"><td></td><td colspan="3">let everything so far dry</td></tr>')
        rows.append(
            f'<tr><td><b class="letter">{step.letter}</b></td><td>{escape(step.piece.name)}</td>'
            f"<td>{escape(step.side)}</td><td>{escape(_sentence(step.reason))}</td></tr>"
        )
    head = "<tr><th></th><th>Piece</th><th>Goes on</th><th>Why now</th></tr>"
    return (
        f'<section class="order"><h2>In this order</h2><table><thead>{head}</thead>'
        f"<tbody>{''.join(rows)}</tbody></table></section>"
    )


def _pieces(steps: Sequence[Step], sheets: Sequence[Sheet]) -> str:
    cards = "".join(_piece(step, sheets) for step in steps)
    return f'<section class="pieces"><h2>Piece by piece</h2>{cards}</section>'


def _piece(step: Step, sheets: Sequence[Sheet]) -> str:
    piece = step.piece
    advice = advise(piece)
    lines = "".join(
        f"<dt>{escape(name)}</dt>{''.join(f'<dd>{escape(s)}</dd>' for s in said)}"
        for name, said in _sayings(advice)
    )
    where = _where_printed(piece, sheets)
    return (
        f'<article><h3><b class="letter">{step.letter}</b> {escape(piece.name)}'
        f" <small>{escape(step.side)}{escape(where)}</small></h3>"
        f'<div class="sides"><div class="drawn">{piece_drawing(piece)}</div><dl>{lines}</dl></div></article>'
    )


def _sayings(advice: Advice) -> Iterable[tuple[str, tuple[str, ...]]]:
    named = (
        ("Which way", (advice.facing,)),
        ("Joint", advice.joint),
        ("Film", advice.strain),
        ("Slits, in order", advice.slits),
        ("Holes", advice.holes),
        ("Details under it", advice.details),
    )
    return ((name, said) for name, said in named if said)


def _where_printed(piece: Piece, sheets: Sequence[Sheet]) -> str:
    numbers = [s.number for s in sheets for p in s.placements if p.piece.name == piece.name]
    if not numbers:
        return ""
    spares = len(numbers) - 1
    sheet = f", sheet {min(numbers)}"
    return f"{sheet}, with {counted(spares, 'spare')}" if spares else sheet


def _risks(found: Sequence[Risk]) -> str:
    rows = "".join(
        f"<div><dt>{escape(risk.name)}</dt><dd>{escape(risk.cure)}"
        + (f'<span class="here">At risk here: {escape("; ".join(risk.here))}.</span>' if risk.here else "")
        + "</dd></div>"
        for risk in found
    )
    return f'<section class="risks"><h2>What usually goes wrong</h2><dl>{rows}</dl></section>'


def _strain(picture: bytes | None) -> str:
    if picture is None:
        return ""
    data = base64.b64encode(picture).decode("ascii")
    return (
        '<section class="strain"><h2>What the film must do</h2>'
        f'<img src="data:image/png;base64,{data}" alt="Strain of each piece"></section>'
    )


def _list_section(title: str, items: Sequence[str], *, ordered: bool = False, kind: str = "") -> str:
    tag = "ol" if ordered else "ul"
    rows = "".join(f"<li>{_lead_in(item)}</li>" for item in items)
    return f'<section class="{kind}"><h2>{escape(title)}</h2><{tag}>{rows}</{tag}></section>'


def _lead_in(item: str) -> str:
    """Set a leading catchword ("Blades.") in bold."""
    word, dot, rest = item.partition(". ")
    if dot and len(word) < 14 and rest:
        return f"<b>{escape(word)}.</b> {escape(rest)}"
    return escape(item)


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."


def _inline(picture: Image.Image) -> str:
    kept = io.BytesIO()
    # Photographs of a lit model compress far better this way than as PNG.
    picture.save(kept, format="JPEG", quality=90, subsampling=0)
    return "data:image/jpeg;base64," + base64.b64encode(kept.getvalue()).decode("ascii")
