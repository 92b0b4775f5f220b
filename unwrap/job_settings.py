"""What a job says once for the whole: its scale, the body's file, the film, the sheet and the printer."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import (
    Field,
    field_validator,
    model_validator,
)

from unwrap.film import Film
from unwrap.job_values import (
    Axis,
    Bare,
    Part,
    Thickness,
    Width,
)
from unwrap.lengths import read_scale

# ISO 216 for A3 to A6; Letter is 8.5 x 11 in. Upright, mm.
SHEET_SIZES = {
    "A3": (297.0, 420.0),
    "A4": (210.0, 297.0),
    "A5": (148.0, 210.0),
    "A6": (105.0, 148.0),
    "Letter": (215.9, 279.4),
}


class JobHead(Part):
    """``[job]``: a name, and the scale as prototype over model."""

    name: str = Field(min_length=1)
    scale: float

    _scale = field_validator("scale", mode="before")(read_scale)


class BodySource(Part):
    """``[body]``: the file, its unit and which of its axes point forward and up."""

    file: str
    units: Literal["mm", "cm", "m", "in"] = "mm"
    front: Axis = "+x"
    up: Axis = "+z"

    @model_validator(mode="after")
    def _axes_differ(self) -> Self:
        if self.front[1] == self.up[1]:
            raise ValueError(
                f"front {self.front} and up {self.up} lie along one line; give two different axes"
            )
        return self


class FilmChoice(Part):
    """``[film]``: a state by name, or measured limits as fractions."""

    state: Literal["floated", "set", "softened"] | None = None
    stretch: float | None = Field(default=None, ge=0.0, lt=1.0)
    compression: float | None = Field(default=None, ge=0.0, lt=1.0)

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        measured = self.stretch is not None or self.compression is not None
        if self.state and measured:
            raise ValueError("state and stretch/compression exclude each other; keep one of them")
        if measured and (self.stretch is None or self.compression is None):
            raise ValueError(
                "stretch and compression belong together; give both as fractions, such as 0.04 and 0.01"
            )
        return self

    @property
    def film(self) -> Film:
        """The film; drawn down with setting solution where nothing is said."""
        if self.stretch is not None and self.compression is not None:
            return Film(self.stretch, self.compression)
        return {"floated": Film.floated, "set": Film.set, "softened": Film.softened}[self.state or "set"]()


class PrintSettings(Part):
    """``[print]``: the sheet, the printer's limits and its corrections."""

    sheet: Literal["A3", "A4", "A5", "A6", "Letter"] | tuple[Thickness, Thickness] = "A4"
    margin: Width = 8.0
    gap: Width = 2.0
    inks: list[Literal["cyan", "magenta", "yellow", "black", "white"]] = Field(
        default=["cyan", "magenta", "yellow", "white"], min_length=1
    )
    face_down: bool = True
    min_line: Width = 0.15
    min_gap: Width = 0.15
    registration: Width = 0.15
    white_choke: Width = 0.15
    bleed: Width = 0.2
    grain: bool = False
    white_hits: Literal[0, 1, 2] = 1
    coverage_limit: float = Field(default=2.6, gt=0.0, le=5.0)
    scale_x: float = Field(default=1.0, gt=0.9, lt=1.1)
    scale_y: float = Field(default=1.0, gt=0.9, lt=1.1)
    bare: list[Bare] = Field(default_factory=list)
    in_hand: list[tuple[Thickness, Thickness]] = Field(default_factory=list)
    plates: bool = False
    white_name: str = "White"
    cut_name: str = "Cut"
    resolution: int = Field(default=600, ge=72, le=2400)

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the sheet, mm."""
        return SHEET_SIZES[self.sheet] if isinstance(self.sheet, str) else self.sheet

    @model_validator(mode="after")
    def _something_left(self) -> Self:
        if 2 * self.margin >= min(self.size):
            raise ValueError(
                f"margin {self.margin:g} mm leaves nothing of the "
                f"{self.size[0]:g} x {self.size[1]:g} mm sheet"
            )
        return self
