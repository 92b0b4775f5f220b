"""How a job marks what is printed: fills, lining, bands, lettering and artwork."""

from __future__ import annotations

from typing import Literal, Self, TypeVar

from pydantic import (
    Field,
    model_validator,
)

from unwrap.job_regions import FittingMark, Within
from unwrap.job_values import (
    Colour,
    CornerStyle,
    Length,
    Names,
    Part,
    Place,
    Side,
    Thickness,
    View,
    Width,
)


class CornerChoice(Part):
    """A corner that differs from the others of its line set."""

    style: CornerStyle
    size: Width = 0.0


class TextOutline(Part):
    """An edge round the letters."""

    width: Thickness
    colour: Colour


class TextShadow(Part):
    """A solid shadow, this far to the right and up (below 0: to the left, down)."""

    right: Length
    up: Length
    colour: Colour


class Line(Part):
    """One line or one gap of a line set."""

    width: Thickness | None = None
    colour: Colour | None = None
    gap: Thickness | None = None

    @model_validator(mode="after")
    def _line_or_gap(self) -> Self:
        if (self.gap is None) == (self.width is None):
            raise ValueError("each entry is a line {width, colour} or a gap {gap}")
        if self.width is not None and self.colour is None:
            raise ValueError("a line needs a colour")
        return self

    @property
    def pair(self) -> tuple[float, str | None]:
        """Width in mm and colour; no colour for a gap."""
        return (self.width, self.colour) if self.width is not None else (self.gap or 0.0, None)


class OnRegions(Part):
    region: Names


Mark = TypeVar("Mark", bound=OnRegions)


class LineSet(OnRegions):
    lines: list[Line] = Field(min_length=1)

    @property
    def pairs(self) -> list[tuple[float, str | None]]:
        """Widths and colours, the outer edge first."""
        return [line.pair for line in self.lines]


class FillMark(OnRegions):
    """``[[fill]]``: a colour over whole regions."""

    colour: Colour


class LiningMark(LineSet):
    """``[[lining]]``: a line set that follows the edge of a region."""

    inset: Width = 0.0
    corner: CornerStyle = "square"
    radius: Width = 0.0
    edges: list[Side | Literal["openings"]] | None = None
    corners: dict[str, CornerChoice] = Field(default_factory=dict)
    within: Within = Within()
    clear: list[FittingMark] = Field(default_factory=list)
    dashes: list[Thickness] = Field(default_factory=list)
    together: bool = False


class BandMark(LineSet):
    """``[[band]]``: a line set round a barrel at a station along the body."""

    at_x: Length


class LetteringMark(OnRegions):
    """``[[lettering]]``: words or numbers at a place."""

    text: str = Field(default="{number}", min_length=1, max_length=200)
    numbers: list[str] = Field(default_factory=list)
    height: Thickness
    at: Place
    font: str = "DejaVu Sans"
    weight: Literal["normal", "bold"] = "bold"
    colour: Colour
    spacing: Length = 0.0
    anchor: Literal["left", "middle", "right"] = "middle"
    turn: float = Field(default=0.0, ge=-360.0, le=360.0)
    outline: TextOutline | None = None
    shadow: TextShadow | None = None
    arc: Length | None = None

    @model_validator(mode="after")
    def _number_has_a_place(self) -> Self:
        if self.numbers and "{number}" not in self.text:
            raise ValueError('numbers are given but the text has no "{number}" where they go')
        if not self.numbers and self.text == "{number}":
            raise ValueError("no text given; add text, or numbers for a set of sheets each")
        return self

    def text_for(self, number: int) -> str:
        """The words of one set of sheets."""
        return self.text.replace("{number}", self.numbers[number]) if self.numbers else self.text


class ArtworkMark(Part):
    """``[[artwork]]``: a view drawing whose livery group is thrown on the body."""

    view: View
    file: str
    measure: Literal["view", "surface"] = "view"
