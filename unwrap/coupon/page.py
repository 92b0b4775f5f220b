"""A page of the test print: shapes in mm, each in one ink, written as SVG and as PDF."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from html import escape

import numpy as np
import pikepdf
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath
from pikepdf import Array, Dictionary, Name

from unwrap.arrays import FloatArray
from unwrap.sheet.inks import Press, Tints
from unwrap.sheet.lettering import FACE

POINT = 25.4 / 72.0

# Type is outlined at this size and then reduced, so that its curves stay smooth.
TYPE_SIZE = 40.0

Rings = tuple[FloatArray, ...]


@dataclass(frozen=True)
class Ink:
    """What a shape is printed with.

    Parameters
    ----------
    kind : str
        "colour", "white" or "cut".
    screen : str
        "#rrggbb" for SVG.
    tints : tuple of four floats
        Cyan, magenta, yellow and black for PDF.
    tint : float
        Share of the white ink.
    """

    kind: str
    screen: str
    tints: Tints = (0.0, 0.0, 0.0, 0.0)
    tint: float = 1.0


WHITE = Ink("white", "#e4e4ea")
CUT = Ink("cut", "#7a4a00")


@dataclass
class Page:
    """One page under way; the origin is its lower left corner, y up, not mirrored.

    Parameters
    ----------
    name : str
        The file's stem.
    width, height : float
        mm.
    shapes : list of (ink, rings)
        What is printed so far; each ring (n, 2) is closed, even-odd.
    """

    name: str
    width: float
    height: float
    shapes: list[tuple[Ink, Rings]] = field(default_factory=list)

    def fill(self, ink: Ink, area: shapely.Geometry) -> None:
        """Print an area."""
        rings = [
            np.asarray(ring.coords)[:-1, :2]
            for part in shapely.get_parts(area)
            if isinstance(part, shapely.Polygon) and not part.is_empty
            for ring in (part.exterior, *part.interiors)
        ]
        if rings:
            self.shapes.append((ink, tuple(rings)))

    def bar(self, ink: Ink, x: float, y: float, width: float, height: float) -> None:
        """Print a bar by its lower left corner."""
        corners = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])
        self.shapes.append((ink, (corners,)))

    def text(
        self,
        ink: Ink,
        x: float,
        y: float,
        text: str,
        size: float = 2.4,
        *,
        upright: bool = False,
        anchor: float = 0.0,
    ) -> None:
        """Print one line of text; `anchor` 0 starts it at x, y, 0.5 centres it, 1 ends it there."""
        shift = np.array([anchor * text_width(text, size), 0.0])
        turn = np.array([[0.0, 1.0], [-1.0, 0.0]]) if upright else np.eye(2)
        scale = size / TYPE_SIZE
        rings = tuple((scale * ring - shift) @ turn + (x, y) for ring in _outlines(text))
        if rings:
            self.shapes.append((ink, rings))

    def paragraph(self, ink: Ink, x: float, y: float, text: str, width: float, size: float = 2.4) -> float:
        """Print text in lines no wider than `width`; where the next line would stand, mm."""
        line = ""
        for word in text.split():
            longer = f"{line} {word}".strip()
            if line and text_width(longer, size) > width:
                self.text(ink, x, y, line, size)
                y -= 1.45 * size
                line = word
            else:
                line = longer
        self.text(ink, x, y, line, size)
        return y - 1.45 * size


def text_width(text: str, size: float) -> float:
    """How far a line of text reaches, mm."""
    return size / TYPE_SIZE * max((float(ring[:, 0].max()) for ring in _outlines(text)), default=0.0)


def page_svg(page: Page, *, mirrored: bool, white: bool) -> str:
    """One page as SVG: the colour and cutting layers, or the white plate alone.

    Width and height are in mm, and so is the viewBox.
    """
    groups = []
    for layer in ("white",) if white else ("colour", "cut"):
        paths = []
        for ink, rings in page.shapes:
            if ink.kind != layer:
                continue
            if layer == "cut":
                paint = f'fill="none" stroke="{ink.screen}" stroke-width="0.1"'
            elif layer == "white":
                paint = f'fill="#000000" fill-opacity="{ink.tint:g}" fill-rule="evenodd"'
            else:
                paint = f'fill="{ink.screen}" fill-rule="evenodd"'
            data = "".join(_ring_data(ring, page, mirrored) for ring in rings)
            paths.append(f'<path d="{data}" {paint}/>')
        groups.append(f'<g id="{layer}">\n' + "\n".join(paths) + "\n</g>")
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{page.width:g}mm" height="{page.height:g}mm" '
        f'viewBox="0 0 {page.width:g} {page.height:g}">\n<title>{escape(page.name)}</title>\n'
        + "\n".join(groups)
        + "\n</svg>\n"
    )


def pages_pdf(pages: Sequence[Page], press: Press, *, title: str) -> bytes:
    """All pages as one PDF, white and the cutting line as Separations.

    Everything overprints, and colour replaces colour but leaves the white plate alone
    (overprint mode 0; ISO 32000-2, 8.6.7). White stands first for viewers that ignore
    overprint; plates do not depend on the order.
    """
    pdf = pikepdf.new()
    spaces = Dictionary(
        White=_separation(pdf, press.white_name, (0.08, 0.05, 0.0, 0.05)),
        Cut=_separation(pdf, press.cut_name, (0.0, 0.4, 0.8, 0.3)),
    )
    states = Dictionary(
        Paint=Dictionary(Type=Name.ExtGState, OP=True, op=True, OPM=0),
        Plate=Dictionary(Type=Name.ExtGState, OP=True, op=True, OPM=1),
    )
    for page in pages:
        wide, high = page.width / POINT, page.height / POINT
        frame = f"{-1 / POINT:.9f} 0 0 {1 / POINT:.9f} {wide:.6f} 0"
        if not press.face_down:
            frame = f"{1 / POINT:.9f} 0 0 {1 / POINT:.9f} 0 0"
        words = [f"q {frame} cm 0.1 w"]
        for layer in ("white", "colour", "cut"):
            words.append("/Paint gs" if layer == "colour" else "/Plate gs")
            for ink, rings in page.shapes:
                if ink.kind == layer:
                    words.append(_ink_words(ink))
                    words += [_ring_words(ring) for ring in rings]
                    words.append("S" if layer == "cut" else "f*")
        words.append("Q")
        content = pdf.make_stream("\n".join(words).encode("ascii"))
        box = Array([0, 0, round(wide, 5), round(high, 5)])
        leaf = Dictionary(Type=Name.Page, MediaBox=box, TrimBox=box, BleedBox=box, Contents=content)
        leaf.Resources = Dictionary(ColorSpace=spaces, ExtGState=states)
        pdf.pages.append(pikepdf.Page(pdf.make_indirect(leaf)))
    pdf.docinfo["/Title"] = title
    kept = io.BytesIO()
    pdf.save(kept, deterministic_id=True, compress_streams=True, min_version="1.4")
    return kept.getvalue()


@lru_cache(maxsize=1024)
def _outlines(text: str) -> Rings:
    path = TextPath((0, 0), text, size=TYPE_SIZE, prop=FontProperties(family=FACE), usetex=False)
    rings = (np.asarray(ring) for ring in path.to_polygons())
    return tuple(ring[:-1] for ring in rings if len(ring) > 3)


def _ring_data(ring: FloatArray, page: Page, mirrored: bool) -> str:
    x = page.width - ring[:, 0] if mirrored else ring[:, 0]
    pairs = np.column_stack([x, page.height - ring[:, 1]]).round(4).tolist()
    return "M" + "L".join(f"{a:.7g},{b:.7g}" for a, b in pairs) + "Z"


def _ring_words(ring: FloatArray) -> str:
    pairs = [f"{a:.7g} {b:.7g}" for a, b in ring.round(4).tolist()]
    return f"{pairs[0]} m " + " ".join(f"{pair} l" for pair in pairs[1:]) + " h"


def _ink_words(ink: Ink) -> str:
    if ink.kind == "cut":
        return "/Cut CS 1 SCN"
    if ink.kind == "white":
        return f"/White cs {ink.tint:.4g} scn"
    return " ".join(f"{tint:.4f}" for tint in ink.tints) + " k"


def _separation(pdf: pikepdf.Pdf, name: str, shown: Tints) -> pikepdf.Object:
    """An ink of its own; `shown` is what a viewer without it shows."""
    tint = Dictionary(
        FunctionType=2,
        Domain=Array([0, 1]),
        C0=Array([0, 0, 0, 0]),
        C1=Array([float(t) for t in shown]),
        N=1,
    )
    return pdf.make_indirect(Array([Name.Separation, Name("/" + name), Name.DeviceCMYK, tint]))
