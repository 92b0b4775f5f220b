"""Sheets as PDF: process colours, white and the cutting line each as an ink of its own."""

from __future__ import annotations

import io
from collections.abc import Iterable

import numpy as np
import pikepdf
from pikepdf import Array, Dictionary, Name

from unwrap.arrays import FloatArray
from unwrap.livery.fit import curves_of_area
from unwrap.livery.paint import Curve, Paint, Picture
from unwrap.sheet.curves import is_straight, ring_curves
from unwrap.sheet.foot import RULE
from unwrap.sheet.inks import Press, Tints, tints_of
from unwrap.sheet.marks import crop_curves, sheet_marks
from unwrap.sheet.pictures import tints_of_dots
from unwrap.sheet.plates import white_curves
from unwrap.sheet.sheet import Placement, Sheet
from unwrap.sheet.trap import traps_of

POINT = 25.4 / 72.0
CUT_WIDTH = 0.1


def sheet_pdf(sheet: Sheet, press: Press | None = None, *, title: str = "") -> bytes:
    """The sheet as a PDF of one page.

    Parameters
    ----------
    sheet : Sheet
        What to print.
    press : Press
        Inks, face up or down, names of white and cutting line, scale corrections.
    title : str
        A line for the sheet's foot and the document's title.

    Returns
    -------
    bytes
        The same for the same input.

    Notes
    -----
    White is a Separation of its own. Everything is painted with overprint on, and
    colour in overprint mode 0: a later paint then replaces the process inks below it,
    zeros included, as paint does, and leaves the white plate alone (ISO 32000-2,
    8.6.7). Mode 1 would let a lining's missing inks show the fill through it, and
    colour without overprint would knock the white out.

    White stands first in the page although a face-down sheet gets it last: viewers that
    ignore overprint would otherwise hide the colour behind it. Plates do not depend on
    the order, and the printer lays its inks in the order of its drums.

    Layers carry the processing-step marks of ISO 19593-1: White, and Structural with
    Cutting.
    """
    press = press or Press()
    writer = _Page(sheet, press)
    if press.has_white:
        for hit in range(press.white_hits):
            writer.white_layer(hit)
    writer.colour_layer()
    writer.cut_layer()
    writer.notes_layer(title)
    return writer.finish(title)


class _Page:
    """The page under way: its content and the inks and layers that it names."""

    def __init__(self, sheet: Sheet, press: Press) -> None:
        self.sheet = sheet
        self.press = press
        self.pdf = pikepdf.new()
        self.words: list[str] = []
        self.layers: list[tuple[str, Dictionary]] = []
        self.inks: dict[str, pikepdf.Object] = {}
        self.images: dict[int, pikepdf.Object] = {}

    def white_layer(self, hit: int) -> None:
        name = self.press.white_name if hit == 0 else f"{self.press.white_name} {hit + 1}"
        self._begin_layer(name, Dictionary(GTS_ProcStepsGroup=Name.White))
        self._use_ink(name, (0.0, 0.0, 0.0, 0.0))
        for placement in self.sheet.placements:
            curves = white_curves(placement.piece, self.press.choke_of(hit), self.press.bare)
            self._fill(curves, placement.matrix)
        self._end_layer()

    def colour_layer(self) -> None:
        self._begin_layer("Colour", None)
        self.words.append("/Paint gs")
        for placement in self.sheet.placements:
            for paint in placement.piece.paints:
                self._paint(paint, placement)
            for trap in traps_of(placement.piece, self.press):
                self.words.append(self._process(trap.tints))
                self._fill(ring_curves(trap.area), placement.matrix)
        self._end_layer()

    def cut_layer(self) -> None:
        step = Dictionary(GTS_ProcStepsGroup=Name.Structural, GTS_ProcStepsType=Name.Cutting)
        self._begin_layer(self.press.cut_name, step)
        self._use_ink(self.press.cut_name, self._one_ink(0.4))
        self.words.append(f"{CUT_WIDTH} w 1 j")
        for placement in self.sheet.placements:
            self._path(crop_curves(placement.piece), placement.matrix)
            self.words.append("S")
        self._end_layer()

    def notes_layer(self, title: str) -> None:
        self._begin_layer("Notes", Dictionary(GTS_ProcStepsGroup=Name.Legend))
        self.words += ["/Paint gs", self._process(self._one_ink(0.9)), f"{RULE} w"]
        here = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
        for mark in sheet_marks(self.sheet, title):
            self._path(mark.curves, here)
            self.words.append("S" if mark.kind == "rule" else "f")
        self._end_layer()

    def finish(self, title: str) -> bytes:
        box = Array([0, 0, *(_points(side) for side in (self.sheet.width, self.sheet.height))])
        resources = Dictionary(
            ColorSpace=Dictionary({f"/Ink{k}": ink for k, ink in enumerate(self.inks.values())}),
            ExtGState=Dictionary(
                Paint=Dictionary(Type=Name.ExtGState, OP=True, op=True, OPM=0),
                Plate=Dictionary(Type=Name.ExtGState, OP=True, op=True, OPM=1),
            ),
            XObject=Dictionary({f"/Picture{k}": image for k, image in enumerate(self.images.values())}),
            Properties=Dictionary({f"/Layer{k}": layer for k, (_, layer) in enumerate(self.layers)}),
        )
        content = self.pdf.make_stream(f"q {self._frame()} cm\n{self._joined()}\nQ".encode("ascii"))
        page = Dictionary(
            Type=Name.Page,
            MediaBox=box,
            CropBox=box,
            TrimBox=box,
            BleedBox=box,
            Resources=resources,
            Contents=content,
        )
        self.pdf.pages.append(pikepdf.Page(self.pdf.make_indirect(page)))
        groups = Array([layer for _, layer in self.layers])
        self.pdf.Root.OCProperties = Dictionary(
            OCGs=groups, D=Dictionary(Name="Layers", BaseState=Name.ON, ON=groups, Order=groups)
        )
        order = ", ".join(self.press.order)
        self.pdf.docinfo["/Title"] = title or f"Sheet {self.sheet.number}"
        self.pdf.docinfo["/Subject"] = f"Inks in the order of printing: {order}"
        out = io.BytesIO()
        self.pdf.save(out, deterministic_id=True, min_version="1.6")
        return out.getvalue()

    def _frame(self) -> str:
        """From the sheet's millimetres to the page's points, corrected about the sheet's middle."""
        wide, high = self.press.scale_x / POINT, self.press.scale_y / POINT
        if self.press.face_down:
            wide = -wide
        middle = np.array([self.sheet.width, self.sheet.height]) / 2
        shift = middle / POINT - middle * np.array([wide, high])
        return f"{wide:.9f} 0 0 {high:.9f} {shift[0]:.6f} {shift[1]:.6f}"

    def _joined(self) -> str:
        return "\n".join(self.words)

    def _begin_layer(self, name: str, step: Dictionary | None) -> None:
        layer = Dictionary(Type=Name.OCG, Name=name)
        if step is not None:
            layer.GTS_Metadata = step
        self.words.append(f"/OC /Layer{len(self.layers)} BDC q")
        self.layers.append((name, self.pdf.make_indirect(layer)))

    def _end_layer(self) -> None:
        self.words.append("Q EMC")

    def _use_ink(self, name: str, shown: Tints) -> None:
        """Paint with an ink of its own; `shown` is what a viewer without it shows."""
        tint = Dictionary(
            FunctionType=2,
            Domain=Array([0, 1]),
            C0=Array([0, 0, 0, 0]),
            C1=Array([float(t) for t in shown]),
            N=1,
        )
        self.inks[name] = self.pdf.make_indirect(
            Array([Name.Separation, Name("/" + name), Name.DeviceCMYK, tint])
        )
        key = f"/Ink{len(self.inks) - 1}"
        self.words.append(f"/Plate gs {key} cs 1 scn {key} CS 1 SCN")

    def _process(self, tints: Iterable[float]) -> str:
        inks = " ".join(f"{tint:.4f}" for tint in tints)
        return f"{inks} k {inks} K"

    def _one_ink(self, tint: float) -> Tints:
        """What fine marks are printed with: one ink, or a misprint would blur them."""
        return (0.0, 0.0, 0.0, tint) if self.press.has_black else (tint, 0.0, 0.0, 0.0)

    def _picture(self, paint: Paint, picture: Picture, placement: Placement) -> None:
        """Dots in process inks, cut off at the shape's outline."""
        height, width = picture.dots.shape[:2]
        # The unit square of an image stands upright; rows are counted from the top.
        upright = np.array([[width, 0.0, 0.0], [0.0, -height, height]])
        whole = picture.placed(placement.matrix)
        linear = whole[:, :2] @ upright[:, :2]
        shift = whole[:, :2] @ upright[:, 2] + whole[:, 2]
        key = self._image_of(picture)
        self.words.append("q")
        self._path(paint.curves or curves_of_area(paint.area), placement.matrix)
        numbers = " ".join(f"{value:.6f}" for value in (*linear.T.ravel(), *shift))
        self.words.append(f"W* n {numbers} cm {key} Do Q")

    def _image_of(self, picture: Picture) -> str:
        """The name of a picture on the page; copies share it."""
        if id(picture.dots) not in self.images:
            height, width = picture.dots.shape[:2]
            stream = self.pdf.make_stream(tints_of_dots(picture.dots, self.press).tobytes())
            stream.Type, stream.Subtype = Name.XObject, Name.Image
            stream.Width, stream.Height = width, height
            stream.ColorSpace, stream.BitsPerComponent = Name.DeviceCMYK, 8
            self.images[id(picture.dots)] = stream
        return f"/Picture{list(self.images).index(id(picture.dots))}"

    def _paint(self, paint: Paint, placement: Placement) -> None:
        if paint.picture is not None:
            self._picture(paint, paint.picture, placement)
            return
        self.words.append(self._process(tints_of(paint.colour, self.press)))
        if paint.stroke is not None and paint.curves:
            ends, joins = ("butt", "round", "square"), ("miter", "round", "bevel")
            # Mitres as long as SVG has them.
            self.words.append(
                f"{paint.stroke:.4f} w {ends.index(paint.cap)} J {joins.index(paint.join)} j 4 M"
            )
            self._path(paint.curves, placement.matrix)
            self.words.append("S")
        else:
            self._fill(paint.curves or curves_of_area(paint.area), placement.matrix)

    def _fill(self, curves: Iterable[Curve], matrix: FloatArray) -> None:
        curves = tuple(curves)
        if curves:
            self._path(curves, matrix)
            self.words.append("f*")

    def _path(self, curves: Iterable[Curve], matrix: FloatArray) -> None:
        for curve in curves:
            spans = curve.moved(matrix).spans
            straight = is_straight(curve.spans)
            self.words.append(_pair(spans[0, 0]) + " m")
            for k, span in enumerate(spans):
                if straight[k]:
                    self.words.append(_pair(span[3]) + " l")
                else:
                    self.words.append(" ".join(_pair(point) for point in span[1:]) + " c")
            if curve.closed:
                self.words.append("h")


def _pair(point: FloatArray) -> str:
    return f"{point[0]:.5f} {point[1]:.5f}"


def _points(length: float) -> float:
    return round(length / POINT, 6)
