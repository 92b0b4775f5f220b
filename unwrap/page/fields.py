"""The settings of a job that the page shows as plain fields: one table, from which the page builds its forms.

What a setting may be, and what it is where nothing is said, comes from the job's own model, so
that the page, the command and the job file never differ. The job's reader judges what is put in.
"""

from __future__ import annotations

import typing
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from unwrap.job_livery import ArtworkMark, BandMark, FillMark, LetteringMark, LiningMark
from unwrap.job_regions import FittingMark, RegionMark
from unwrap.job_settings import BodySource, PrintSettings


@dataclass(frozen=True)
class Setting:
    """One field.

    Parameters
    ----------
    key : str
        In the job file; "relief.most" is `most` in the table `relief`.
    label : str
    kind : str
        What it is filled in with; `static/fields.js` has a control for each.
    help : str
        A sentence below it.
    unit : str
        Shown behind it.
    start : mapping, optional
        Of a table that may be left out: what it holds when it is switched on.
    parts : tuple of Setting
        Of such a table: what is in it.
    """

    key: str
    label: str
    kind: str
    help: str = ""
    unit: str = ""
    start: dict[str, Any] | None = None
    parts: tuple[Setting, ...] = ()


Headed = dict[str, tuple[Setting, ...]]  # by the heading that they stay closed under; "" is open

MM = "mm"
REGION: Headed = {
    "Edges and details": (
        Setting("at", "Grown from x, y, z", "place", "Any place on it."),
        Setting("joint", "Joint at", "choice", "Where a region that closes on itself is opened."),
        Setting("openings", "Openings", "choice", "Cut out, or covered with film."),
        Setting("bridge", "Carry over details to", "number", "Rivets and beads up to this size.", MM),
        Setting("edge", "Print past the edge", "number", "", MM),
    ),
    "Relief cuts": (
        Setting("relief.most", "At most", "number", "As few as the film needs, if empty.", "cuts"),
        Setting("relief.prefer", "Rather here", "places"),
        Setting("relief.avoid", "Rather not here", "places"),
        Setting("relief.keep_clear", "Never here", "places"),
        Setting("relief.reach", "Round such places", "number", "How far each of them reaches.", MM),
        Setting("relief.lap", "Lap at a cut", "number", "How far one lip runs on under the other.", MM),
        Setting("relief.part", "Several pieces", "answer", "Where no cut brings it within the film."),
    ),
}
FILL: Headed = {"": (Setting("colour", "Colour", "colour"),)}
LINING: Headed = {
    "": (
        Setting("inset", "In from the edge", "number", "", MM),
        Setting("corner", "Corners", "choice"),
        Setting("radius", "Size of corners", "number", "", MM),
    ),
    "Where it runs, single corners, dashes": (
        Setting("edges", "Only along", "several", "All round where none is ticked."),
        Setting("within", "Panel within", "limits", "A panel of its own inside the region."),
        Setting("corners", "Single corners", "corners", "Named by the edges that meet there: top front."),
        Setting("clear", "Keep clear of", "rounds", "Places such as rivets that the lines spare."),
        Setting("dashes", "Dashes and gaps", "numbers", "In turn, such as 4, 1.5; none for whole lines.", MM),
        Setting("together", "Round them all", "flag", "One line round all its regions, none between."),
    ),
}
BAND: Headed = {"": (Setting("at_x", "Middle at x", "station", "", MM),)}
LETTERING: Headed = {
    "": (
        Setting("text", "Text", "text"),
        Setting("height", "Height", "number", "Of a capital letter.", MM),
        Setting("at", "At x, y, z", "place"),
        Setting("colour", "Colour", "colour"),
        Setting("font", "Font", "text"),
        Setting("weight", "Weight", "choice"),
    ),
    "Numbers, arc, outline, shadow": (
        Setting("numbers", "Numbers", "words", "A set of sheets for each, where the text has {number}."),
        Setting("anchor", "Its place is the", "choice", "Of the text."),
        Setting("turn", "Turned by", "number", "", "°"),
        Setting("spacing", "Between letters", "number", "More than the font has.", MM),
        Setting("arc", "On an arc of", "number", "Its radius; below 0 it hangs instead of standing.", MM),
        Setting(
            "outline",
            "Outline",
            "part",
            start={"width": 0.3, "colour": "#1b1f23"},
            parts=(
                Setting("width", "Outline's width", "number", "", MM),
                Setting("colour", "Outline's colour", "colour"),
            ),
        ),
        Setting(
            "shadow",
            "Shadow",
            "part",
            start={"right": 0.4, "up": -0.4, "colour": "#1b1f23"},
            parts=(
                Setting("right", "To the right", "number", "", MM),
                Setting("up", "Up", "number", "Below 0 it falls downwards.", MM),
                Setting("colour", "Shadow's colour", "colour"),
            ),
        ),
    ),
}
ARTWORK: Headed = {
    "": (
        Setting("view", "Drawn on the view", "choice"),
        Setting("measure", "Lengths hold on the", "choice", "View: seen straight on; surface: on the film."),
    )
}
FITTING: Headed = {
    "": (Setting("at", "At x, y, z", "place"), Setting("diameter", "Diameter", "number", "", MM))
}
BODY: Headed = {
    "": (
        Setting("units", "Unit of the file", "choice"),
        Setting("front", "Its front", "choice", "The axis of the file that points forward."),
        Setting("up", "Its top", "choice", "The axis of the file that points up."),
    )
}
PRINT: Headed = {
    "Margin, sheets in hand": (
        Setting("margin", "Margin", "number", "", MM),
        Setting("gap", "Between pieces", "number", "", MM),
        Setting("grain", "Keep the grain", "flag", "All pieces the same way round on the sheet."),
        Setting("in_hand", "Part sheets in hand", "sizes", "Used first; such as 100 x 60, 80 x 50.", MM),
    ),
    "Printer": (
        Setting("inks", "Inks", "several"),
        Setting("face_down", "Printed mirrored", "flag", "For film that is turned over on the model."),
        Setting("min_line", "Thinnest line", "number", "Thinner ones are thickened, and named.", MM),
        Setting("min_gap", "Narrowest gap", "number", "", MM),
        Setting(
            "scale_x",
            "Correct across by",
            "number",
            "As the test print says: 1.002 is 0.2 % larger.",
        ),
        Setting("scale_y", "Correct along by", "number"),
        Setting("resolution", "Dots to the inch", "number"),
        Setting("coverage_limit", "Toner at most", "number", "Of all inks together; 2.6 is 260 %."),
    ),
    "White, bleed and plates": (
        Setting("white_choke", "White drawn in by", "number", "", MM),
        Setting("white_hits", "White laid", "choice", "", "times"),
        Setting("bleed", "Print past edges", "number", "", MM),
        Setting("registration", "Plates may shift by", "number", "", MM),
        Setting("bare", "No white behind", "words", "fill, line, band, lettering, artwork, or a colour."),
        Setting("plates", "A file for each ink", "flag"),
        Setting("white_name", "White is called", "text", "The name of that ink in the PDF."),
        Setting("cut_name", "Cutting line is called", "text"),
    ),
}
TABLE: dict[str, tuple[type[BaseModel], Headed]] = {
    "region": (RegionMark, REGION),
    "fill": (FillMark, FILL),
    "lining": (LiningMark, LINING),
    "band": (BandMark, BAND),
    "lettering": (LetteringMark, LETTERING),
    "artwork": (ArtworkMark, ARTWORK),
    "fitting": (FittingMark, FITTING),
    "body": (BodySource, BODY),
    "print": (PrintSettings, PRINT),
}


def told() -> dict[str, list[dict[str, Any]]]:
    """The table as the page gets it: for each section its headings with their settings in order."""
    return {
        section: [
            {"heading": heading, "settings": [_told(setting, model) for setting in settings]}
            for heading, settings in headed.items()
        ]
        for section, (model, headed) in TABLE.items()
    }


def _told(setting: Setting, model: type[BaseModel]) -> dict[str, Any]:
    found: Any = model
    default: Any = None
    for key in setting.key.split("."):
        field = found.model_fields[key]
        default = None if field.default is PydanticUndefined else field.default
        found = next(_models_in(field.annotation), None)
    answer: dict[str, Any] = {
        "key": setting.key,
        "label": setting.label,
        "kind": setting.kind,
        "help": setting.help,
        "unit": setting.unit,
        "usual": None if isinstance(default, BaseModel) else default,
        "options": list(_options_in(field.annotation)),
    }
    if setting.parts:
        answer |= {"start": setting.start, "parts": [_told(part, found) for part in setting.parts]}
    if setting.kind == "corners":
        answer["options"] = list(_options_in(found.model_fields["style"].annotation))
    return answer


def _options_in(annotation: Any) -> Iterator[Any]:
    """The words that a setting may be, through lists and what may be left out."""
    if typing.get_origin(annotation) is typing.Literal:
        yield from typing.get_args(annotation)
        return
    for inner in typing.get_args(annotation):
        yield from _options_in(inner)


def _models_in(annotation: Any) -> Iterator[Any]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in typing.get_args(annotation):
        yield from _models_in(inner)
