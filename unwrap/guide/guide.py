"""The guide as one self-contained page that gets the pieces onto the model."""

from __future__ import annotations

import base64
import io
from collections.abc import Mapping, Sequence
from html import escape

from PIL import Image

from unwrap.body.body import Body
from unwrap.guide.advice import Advice
from unwrap.guide.bench_text import BEFORE, CAUTIONS, LAYING
from unwrap.guide.body_pictures import LetteredView
from unwrap.guide.content import Guide, gather_guide, lead_in, sayings, sentence
from unwrap.guide.order import Step
from unwrap.guide.page_style import STYLE
from unwrap.guide.piece_drawing import piece_drawing
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
    views: Sequence[LetteredView] = (),
) -> str:
    """The guide as one HTML page that needs no other file; parameters as in `gather_guide`."""
    guide = gather_guide(
        body, pieces, sheets, title=title, warnings=warnings, strain=strain, facts=facts, views=views
    )
    return html_of(guide)


def html_of(guide: Guide) -> str:
    """A guide as one HTML page that needs no other file."""
    sections = (
        _head(guide),
        _warnings(guide),
        _views(guide),
        _order(guide),
        _list_section("Take care", CAUTIONS, kind="care"),
        _list_section("Before you cut", BEFORE),
        _list_section("Laying a piece", LAYING, ordered=True),
        _pieces(guide),
        _risks(guide),
        _strain(guide),
    )
    content = "\n".join(section for section in sections if section)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Decals for {escape(guide.title)}</title>\n<style>{STYLE}</style>\n</head>\n"
        f"<body>\n<main>\n{content}\n</main>\n</body>\n</html>\n"
    )


def _head(guide: Guide) -> str:
    cells = "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>" for name, value in guide.facts.items()
    )
    return (
        f'<header><p class="kind">Laying the decals</p><h1>{escape(guide.title)}</h1>'
        f'<dl class="facts">{cells}</dl></header>'
    )


def _warnings(guide: Guide) -> str:
    if not guide.warnings:
        return ""
    items = "".join(f"<li>{escape(warning)}</li>" for warning in guide.warnings)
    return f'<section class="look"><h2>Look at this first</h2><ul>{items}</ul></section>'


def _views(guide: Guide) -> str:
    figures = "".join(
        f'<figure><img src="{_inline(view.picture)}" alt="The model {escape(view.title)}">'
        f"<figcaption>{escape(view.title)}</figcaption></figure>"
        for view in guide.views
    )
    return (
        '<section class="views"><h2>Where each piece goes</h2>'
        f'<div class="pictures">{figures}</div></section>'
    )


def _order(guide: Guide) -> str:
    rows = []
    for step in guide.steps:
        if step.dry_before:
            rows.append('<tr class="dry"><td></td><td colspan="3">let everything so far dry</td></tr>')
        rows.append(
            f'<tr><td><b class="letter">{step.letter}</b></td><td>{escape(step.piece.name)}</td>'
            f"<td>{escape(step.side)}</td><td>{escape(sentence(step.reason))}</td></tr>"
        )
    head = "<tr><th></th><th>Piece</th><th>Goes on</th><th>Why now</th></tr>"
    return (
        f'<section class="order"><h2>In this order</h2><table><thead>{head}</thead>'
        f"<tbody>{''.join(rows)}</tbody></table></section>"
    )


def _pieces(guide: Guide) -> str:
    cards = "".join(
        _piece(step, advice, where)
        for step, advice, where in zip(guide.steps, guide.advice, guide.printed_on, strict=True)
    )
    return f'<section class="pieces"><h2>Piece by piece</h2>{cards}</section>'


def _piece(step: Step, advice: Advice, printed_on: str) -> str:
    lines = "".join(
        f"<dt>{escape(name)}</dt>{''.join(f'<dd>{escape(s)}</dd>' for s in said)}"
        for name, said in sayings(advice)
    )
    where = f"{step.side}, {printed_on}" if printed_on else step.side
    return (
        f'<article><h3><b class="letter">{step.letter}</b> {escape(step.piece.name)}'
        f" <small>{escape(where)}</small></h3>"
        f'<div class="sides"><div class="drawn">{piece_drawing(step.piece)}</div>'
        f"<dl>{lines}</dl></div></article>"
    )


def _risks(guide: Guide) -> str:
    rows = "".join(
        f"<div><dt>{escape(risk.name)}</dt><dd>{escape(risk.cure)}"
        + (f'<span class="here">At risk here: {escape("; ".join(risk.here))}.</span>' if risk.here else "")
        + "</dd></div>"
        for risk in guide.risks
    )
    return f'<section class="risks"><h2>What usually goes wrong</h2><dl>{rows}</dl></section>'


def _strain(guide: Guide) -> str:
    if guide.strain is None:
        return ""
    data = base64.b64encode(guide.strain).decode("ascii")
    return (
        '<section class="strain"><h2>What the film must do</h2>'
        f'<img src="data:image/png;base64,{data}" alt="Strain of each piece"></section>'
    )


def _list_section(title: str, items: Sequence[str], *, ordered: bool = False, kind: str = "") -> str:
    tag = "ol" if ordered else "ul"
    rows = "".join(f"<li>{_marked(item)}</li>" for item in items)
    return f'<section class="{kind}"><h2>{escape(title)}</h2><{tag}>{rows}</{tag}></section>'


def _marked(item: str) -> str:
    word, rest = lead_in(item)
    return f"<b>{escape(word)}</b> {escape(rest)}" if word else escape(rest)


def _inline(picture: Image.Image) -> str:
    kept = io.BytesIO()
    # Photographs of a lit model compress far better this way than as PNG.
    picture.save(kept, format="JPEG", quality=90, subsampling=0)
    return "data:image/jpeg;base64," + base64.b64encode(kept.getvalue()).decode("ascii")
