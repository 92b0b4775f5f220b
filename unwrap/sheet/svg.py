"""Sheets as SVG: true millimetres, one group per piece in each layer."""

from __future__ import annotations

import base64

import numpy as np
import svgwrite
from svgwrite.container import Group

from unwrap.arrays import FloatArray
from unwrap.livery.fit import curves_of_area
from unwrap.livery.paint import Curve, Paint, Picture
from unwrap.sheet.curves import path_data
from unwrap.sheet.foot import RULE, Mark
from unwrap.sheet.inks import Press
from unwrap.sheet.marks import crop_curves, sheet_marks
from unwrap.sheet.pictures import png_of
from unwrap.sheet.plates import white_curves
from unwrap.sheet.sheet import Placement, Sheet

CROP_GREY = "#9a9a9a"
NOTE_GREY = "#4a4a4a"
CROP_WIDTH = 0.1


def sheet_svg(sheet: Sheet, mirrored: bool = True, *, press: Press | None = None, title: str = "") -> str:
    """The sheet as it is printed.

    Parameters
    ----------
    sheet : Sheet
        What to draw.
    mirrored : bool
        True for face-down decals: the whole sheet, notes and all, is reflected left
        to right, and reads right again once the decal is turned over.
    press : Press
        The printer: whether it has white, how far that is choked, scale corrections.
    title : str
        A line for the sheet's foot.

    Returns
    -------
    str
        SVG in mm: groups `white`, `colour`, `cut` and `notes`, each with one
        `piece-NAME` group per copy. The white is drawn first so that the picture
        shows the colour; which ink the printer lays first is the printer's affair.
    """
    press = press or Press()
    drawing, frame = _drawing(sheet, mirrored, press)
    drawing.add(_white_layer(sheet, frame, press, "#ffffff"))
    drawing.add(_colour_layer(sheet, frame, drawing))
    drawing.add(_cut_layer(sheet, frame))
    drawing.add(_notes_layer(sheet, frame, title))
    return drawing.tostring()


def white_svg(sheet: Sheet, mirrored: bool = True, *, press: Press | None = None) -> str:
    """The white plate of a sheet, drawn in black: black is where white is printed."""
    press = press or Press()
    drawing, frame = _drawing(sheet, mirrored, press)
    drawing.add(_white_layer(sheet, frame, press, "#000000"))
    return drawing.tostring()


def trial_svg(sheet: Sheet, *, press: Press | None = None, title: str = "") -> str:
    """The sheet for plain paper, not mirrored, to try the fit before any film is used."""
    drawing, frame = _drawing(sheet, False, press or Press())
    drawing.add(_colour_layer(sheet, frame, drawing))
    drawing.add(_cut_layer(sheet, frame))
    trial = f"{title}, trial on paper" if title else "trial on paper"
    drawing.add(_notes_layer(sheet, frame, trial))
    return drawing.tostring()


def sheet_frame(sheet: Sheet, mirrored: bool, press: Press | None = None) -> FloatArray:
    """From the sheet's frame (y up) to the page's (y down), mm.

    Returns
    -------
    (2, 3) float64
        Affine matrix: reflected left to right if `mirrored`, and stretched about the
        sheet's middle by the press's scale corrections.
    """
    press = press or Press()
    scale = np.array([-press.scale_x if mirrored else press.scale_x, -press.scale_y])
    middle = np.array([sheet.width, sheet.height]) / 2
    return np.column_stack([np.diag(scale), middle - scale * middle])


def _drawing(sheet: Sheet, mirrored: bool, press: Press) -> tuple[svgwrite.Drawing, FloatArray]:
    drawing = svgwrite.Drawing(
        size=(f"{sheet.width:g}mm", f"{sheet.height:g}mm"),
        viewBox=f"0 0 {sheet.width:g} {sheet.height:g}",
        profile="full",
        debug=False,
    )
    return drawing, sheet_frame(sheet, mirrored, press)


def _whole(placement: Placement, frame: FloatArray) -> FloatArray:
    """From the piece's plane straight to the page, so that no reader has to follow transforms."""
    linear = frame[:, :2] @ placement.matrix[:, :2]
    return np.column_stack([linear, frame[:, :2] @ placement.matrix[:, 2] + frame[:, 2]])


def _piece_group(placement: Placement) -> Group:
    """A copy's group: the same id in every layer, so that a layer can be taken out and read by itself."""
    return Group(id="piece-" + "_".join(placement.name.split()), debug=False)


def _colour_layer(sheet: Sheet, frame: FloatArray, drawing: svgwrite.Drawing) -> Group:
    layer = Group(id="colour", debug=False)
    clips = 0
    for placement in sheet.placements:
        group, whole = _piece_group(placement), _whole(placement, frame)
        for paint in placement.piece.paints:
            if paint.picture is None:
                group.add(_painted(paint, whole))
                continue
            clips += 1
            clip = drawing.clipPath(id=f"picture-{clips}", debug=False)
            clip.add(
                svgwrite.path.Path(d=path_data(_outline(paint), whole), clip_rule="evenodd", debug=False)
            )
            drawing.defs.add(clip)
            group.add(_picture(paint.picture, paint.label, whole, f"url(#picture-{clips})"))
        layer.add(group)
    return layer


def _picture(picture: Picture, label: str, matrix: FloatArray, clip: str) -> Group:
    """Dots, cut off at a shape's smooth outline."""
    height, width = picture.dots.shape[:2]
    a, b, x, c, d, y = (f"{value:.8g}" for value in picture.placed(matrix).ravel())
    data = base64.b64encode(png_of(picture)).decode("ascii")
    image = svgwrite.image.Image(
        f"data:image/png;base64,{data}",
        insert=(0, 0),
        size=(width, height),
        transform=f"matrix({a} {c} {b} {d} {x} {y})",
        preserveAspectRatio="none",
        debug=False,
    )
    # The clip is in the page's millimetres, the picture in its own dots.
    group = Group(clip_path=clip, debug=False)
    group.add(image)
    if label:
        group.set_desc(title=label)
    return group


def _outline(paint: Paint) -> tuple[Curve, ...]:
    return paint.curves or curves_of_area(paint.area)


def _painted(paint: Paint, matrix: FloatArray) -> svgwrite.path.Path:
    curves = _outline(paint)
    if paint.stroke is not None and paint.curves:
        path = svgwrite.path.Path(
            d=path_data(curves, matrix),
            fill="none",
            stroke=paint.colour,
            stroke_width=f"{paint.stroke:.4f}",
            debug=False,
        )
        if paint.cap != "butt":
            path["stroke-linecap"] = paint.cap
        if paint.join != "miter":
            path["stroke-linejoin"] = paint.join
    else:
        path = svgwrite.path.Path(
            d=path_data(curves, matrix), fill=paint.colour, fill_rule="evenodd", debug=False
        )
    if paint.label:
        path.set_desc(title=paint.label)
    return path


def _white_layer(sheet: Sheet, frame: FloatArray, press: Press, colour: str) -> Group:
    layer = Group(id="white", fill=colour, fill_rule="evenodd", debug=False)
    for placement in sheet.placements if press.has_white else ():
        group = _piece_group(placement)
        curves = white_curves(placement.piece, press.white_choke, press.bare)
        if curves:
            group.add(svgwrite.path.Path(d=path_data(curves, _whole(placement, frame)), debug=False))
        layer.add(group)
    return layer


def _cut_layer(sheet: Sheet, frame: FloatArray) -> Group:
    layer = Group(
        id="cut", fill="none", stroke=CROP_GREY, stroke_width=CROP_WIDTH, stroke_linejoin="round", debug=False
    )
    for placement in sheet.placements:
        group = _piece_group(placement)
        group.add(
            svgwrite.path.Path(
                d=path_data(crop_curves(placement.piece), _whole(placement, frame)), debug=False
            )
        )
        layer.add(group)
    return layer


def _notes_layer(sheet: Sheet, frame: FloatArray, title: str) -> Group:
    layer = Group(id="notes", fill=NOTE_GREY, stroke="none", debug=False)
    groups = {placement.name: _piece_group(placement) for placement in sheet.placements}
    for mark in sheet_marks(sheet, title):
        (groups[mark.piece] if mark.piece else layer).add(_marked(mark, frame))
    for group in groups.values():
        layer.add(group)
    return layer


def _marked(mark: Mark, frame: FloatArray) -> svgwrite.path.Path:
    data = path_data(mark.curves, frame)
    if mark.kind == "rule":
        path = svgwrite.path.Path(d=data, fill="none", stroke=NOTE_GREY, stroke_width=RULE, debug=False)
    else:
        path = svgwrite.path.Path(d=data, debug=False)
    if mark.text:
        path.set_desc(title=mark.text)
    return path
