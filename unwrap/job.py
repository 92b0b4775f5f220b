"""The job file: what the modeller wants, checked, with lengths in mm at model size.

A job is TOML. Every length is a number of millimetres at model size, or a string with
a unit, which may be a length of the prototype: ``0.35``, ``"0.35 mm"``, ``"0.014 in"``,
``"1 in proto"``, ``"25 mm proto"``. Prototype lengths are divided by the job's scale.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal, Self, TypeVar

from PIL import ImageColor
from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from unwrap.errors import BadInput
from unwrap.film import Film
from unwrap.job_messages import first_mistake
from unwrap.lengths import read_length, read_scale

PAINT_KINDS = ("fill", "line", "band", "lettering", "artwork")
LARGEST_JOB_BYTES = 4_000_000

# ISO 216 for A3 to A6; Letter is 8.5 x 11 in. Upright, mm.
SHEET_SIZES = {
    "A3": (297.0, 420.0),
    "A4": (210.0, 297.0),
    "A5": (148.0, 210.0),
    "A6": (105.0, 148.0),
    "Letter": (215.9, 279.4),
}


def _length_in_context(value: object, info: ValidationInfo) -> float:
    return read_length(value, (info.context or {}).get("scale", 1.0))


def _colour(value: object) -> str:
    if isinstance(value, str):
        try:
            red, green, blue = ImageColor.getrgb(value)[:3]
        except ValueError:
            pass
        else:
            return f"#{red:02x}{green:02x}{blue:02x}"
    raise ValueError(f'{value!r} is no colour; write "#7a1f2b" or a CSS colour name')


def _bare(value: object) -> str:
    return str(value) if value in PAINT_KINDS else _colour(value)


def _state_or_limits(value: object) -> object:
    return {"state": value} if isinstance(value, str) else value


def _one_or_many(value: object) -> object:
    return [value] if isinstance(value, str) else value


def _table_or_many(value: object) -> object:
    return [value] if isinstance(value, dict) else value


Length = Annotated[float, BeforeValidator(_length_in_context)]
Width = Annotated[Length, Field(ge=0.0)]
Thickness = Annotated[Length, Field(gt=0.0)]
Place = tuple[Length, Length, Length]
Limits = tuple[Length, Length]
Bare = Annotated[str, BeforeValidator(_bare)]
Colour = Annotated[str, BeforeValidator(_colour)]
Names = Annotated[list[str], BeforeValidator(_one_or_many), Field(min_length=1)]
Axis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Side = Literal["bottom", "top", "front", "rear", "left", "right"]
View = Literal["left", "right", "front", "rear", "top"]
CornerStyle = Literal["square", "rounded", "incurved", "canted", "notched"]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True)


class JobHead(_Part):
    """``[job]``: a name, and the scale as prototype over model."""

    name: str = Field(min_length=1)
    scale: float

    _scale = field_validator("scale", mode="before")(read_scale)


class BodySource(_Part):
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


class FilmChoice(_Part):
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


class PrintSettings(_Part):
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
    bare: list[Bare] = []
    in_hand: list[tuple[Thickness, Thickness]] = []
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


class Within(_Part):
    """Limits along the body's axes that a region is trimmed to, mm."""

    x: Limits | None = None
    y: Limits | None = None
    z: Limits | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        for axis, limits in self.as_dict().items():
            if limits[0] >= limits[1]:
                raise ValueError(
                    f"{axis} goes from {limits[0]:g} to {limits[1]:g}; put the smaller number first"
                )
        return self

    def as_dict(self) -> dict[str, tuple[float, float]]:
        """The limits that are set, by axis."""
        return {axis: limits for axis in "xyz" if (limits := getattr(self, axis)) is not None}


class TrimMark(_Part):
    """A polygon on a view that a region is trimmed by: keep what lies in it, or drop that."""

    view: View
    keep: list[tuple[Length, Length]] | None = Field(default=None, min_length=3, max_length=5000)
    drop: list[tuple[Length, Length]] | None = Field(default=None, min_length=3, max_length=5000)

    @model_validator(mode="after")
    def _one_of_both(self) -> Self:
        if (self.keep is None) == (self.drop is None):
            raise ValueError("a trim needs either keep or drop, the corners of a polygon; write one of them")
        return self

    @property
    def corners(self) -> list[tuple[float, float]]:
        """The polygon's corners in the body's coordinates, mm."""
        return self.keep or self.drop or []


class ReliefWishes(_Part):
    """Where relief cuts should go, how many there may be, and how full one lip of each is left.

    `part` says whether a region that slits cannot bring within the film may become several
    pieces; where nothing is said, it does if the lips of slits would lie over each other.
    """

    avoid: list[Place] = []
    prefer: list[Place] = []
    keep_clear: list[Place] = []
    reach: Thickness = 3.0
    most: int | None = Field(default=None, ge=0, le=64)
    lap: Width = 0.2
    part: bool | None = None


class RegionMark(_Part):
    """``[[region]]``: one part of the outside, marked by a place on it."""

    name: str = Field(min_length=1, max_length=60)
    at: Place | None = None
    also: list[Place] = []
    less: list[Place] = []
    crease: float = Field(default=36.0, gt=0.0, le=180.0)
    within: Within = Within()
    trim: Annotated[list[TrimMark], BeforeValidator(_table_or_many)] = []
    bridge: Width | None = None
    openings: Literal["cut", "cover"] = "cut"
    edge: Width | None = None
    joint: Side = "bottom"
    film: Annotated[FilmChoice | None, BeforeValidator(_state_or_limits)] = None
    mirror_of: str | None = None
    spares: int | None = Field(default=None, ge=0, le=20)
    relief: ReliefWishes = ReliefWishes()

    @field_validator("name")
    @classmethod
    def _printable(cls, name: str) -> str:
        if not re.fullmatch(r"[\w .()-]+", name):
            raise ValueError(
                f"{name!r} has characters that a file or a drawing cannot carry; use letters, digits, - and _"
            )
        return name

    @model_validator(mode="after")
    def _has_a_place(self) -> Self:
        if self.mirror_of is None and self.at is None:
            raise ValueError("no place given; add at = [x, y, z], a point on the part you mean, in mm")
        if self.mirror_of is not None and (self.also or self.less or self.trim or self.film):
            raise ValueError(
                "also, less, trim and film have no say in a reflection, which takes the shape of its "
                "original; remove them, or mark the region by its own at"
            )
        return self


class FittingMark(_Part):
    """``[[fitting]]``: a part already on the model that the film must go round."""

    at: Place
    diameter: Thickness


class CornerChoice(_Part):
    """A corner that differs from the others of its line set."""

    style: CornerStyle
    size: Width = 0.0


class TextOutline(_Part):
    """An edge round the letters."""

    width: Thickness
    colour: Colour


class TextShadow(_Part):
    """A solid shadow, this far to the right and up (below 0: to the left, down)."""

    right: Length
    up: Length
    colour: Colour


class Line(_Part):
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


class _OnRegions(_Part):
    region: Names


Mark = TypeVar("Mark", bound=_OnRegions)


class _LineSet(_OnRegions):
    lines: list[Line] = Field(min_length=1)

    @property
    def pairs(self) -> list[tuple[float, str | None]]:
        """Widths and colours, the outer edge first."""
        return [line.pair for line in self.lines]


class FillMark(_OnRegions):
    """``[[fill]]``: a colour over whole regions."""

    colour: Colour


class LiningMark(_LineSet):
    """``[[lining]]``: a line set that follows the edge of a region."""

    inset: Width = 0.0
    corner: CornerStyle = "square"
    radius: Width = 0.0
    edges: list[Side | Literal["openings"]] | None = None
    corners: dict[str, CornerChoice] = {}
    within: Within = Within()
    clear: list[FittingMark] = []
    dashes: list[Thickness] = []
    together: bool = False


class BandMark(_LineSet):
    """``[[band]]``: a line set round a barrel at a station along the body."""

    at_x: Length


class LetteringMark(_OnRegions):
    """``[[lettering]]``: words or numbers at a place."""

    text: str = Field(default="{number}", min_length=1, max_length=200)
    numbers: list[str] = []
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


class ArtworkMark(_Part):
    """``[[artwork]]``: a view drawing whose livery group is thrown on the body."""

    view: View
    file: str
    measure: Literal["view", "surface"] = "view"


class Job(_Part):
    """A whole job file."""

    job: JobHead
    body: BodySource
    film: FilmChoice = FilmChoice()
    print: PrintSettings = PrintSettings()
    region: list[RegionMark] = Field(min_length=1)
    fill: list[FillMark] = []
    lining: list[LiningMark] = []
    band: list[BandMark] = []
    lettering: list[LetteringMark] = []
    artwork: list[ArtworkMark] = []
    fitting: list[FittingMark] = []

    @model_validator(mode="after")
    def _names_hold(self) -> Self:
        names = [region.name for region in self.region]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f'two regions are named "{name}"; give each a name of its own')
        for region in self.region:
            if region.mirror_of is None:
                continue
            _known(region.mirror_of, names, f'region "{region.name}", key mirror_of')
            original = next(r for r in self.region if r.name == region.mirror_of)
            if original.mirror_of is not None:
                raise ValueError(
                    f'region "{region.name}", key mirror_of: "{original.name}" is itself a reflection; '
                    "name the region that is marked"
                )
        if len(set(self.numbers)) < len(self.numbers):
            raise ValueError("[[lettering]], key numbers: a number stands there twice; keep one of them")
        lists = [mark.numbers for mark in self.lettering if mark.numbers]
        for other in lists[1:]:
            if len(other) != len(lists[0]):
                raise ValueError(
                    f"[[lettering]]: the lists of numbers have {len(lists[0])} and {len(other)} entries; "
                    "make them equally long, since each entry is one set of sheets"
                )
        marks: Sequence[_OnRegions]
        for kind, marks in (
            ("fill", self.fill),
            ("lining", self.lining),
            ("band", self.band),
            ("lettering", self.lettering),
        ):
            for number, mark in enumerate(marks, 1):
                for name in mark.region:
                    _known(name, names, f"[[{kind}]] {number}, key region")
        return self

    @property
    def numbers(self) -> list[str]:
        """What tells the sets of sheets apart; empty where there is one set only."""
        return next((mark.numbers for mark in self.lettering if mark.numbers), [])

    def original_of(self, region: RegionMark) -> RegionMark:
        """The region that one reflects; itself where it is marked by its own place."""
        return next((mark for mark in self.region if mark.name == region.mirror_of), region)

    def film_of(self, region: RegionMark) -> Film:
        """How a region's piece is laid: its own film, or the job's."""
        return (self.original_of(region).film or self.film).film

    def bleed_of(self, region: RegionMark) -> float:
        """How far a region's print runs past its edge, mm: its own, its original's, or the job's."""
        given = (region.edge, self.original_of(region).edge, self.print.bleed)
        return next(edge for edge in given if edge is not None)

    def marks_for(self, marks: Sequence[Mark], region: RegionMark) -> list[Mark]:
        """The marks of one kind that apply to a region; a reflection takes those of its original too."""
        wanted = {region.name} | ({region.mirror_of} if region.mirror_of else set())
        return [mark for mark in marks if wanted & set(mark.region)]


def _known(name: str, names: list[str], where: str) -> None:
    if name not in names:
        near = difflib.get_close_matches(name, names, n=1)
        hint = f'did you mean "{near[0]}"?' if near else f"the regions are {', '.join(names)}"
        raise ValueError(f'{where}: there is no region "{name}"; {hint}')


def read_job(path: str | Path) -> Job:
    """Read and check a job file.

    Raises
    ------
    BadInput
        If the file cannot be read, is not TOML, or says something that cannot be done;
        the sentence names the file and the line or the key.
    """
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_JOB_BYTES:
            raise BadInput(f"{path}: {path.stat().st_size} bytes is no job file; a job is a short TOML text.")
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise BadInput(f"{path}: there is no such job file.") from None
    except IsADirectoryError:
        raise BadInput(f"{path}: this is a folder; give the job file in it.") from None
    except UnicodeDecodeError:
        raise BadInput(f"{path}: this is not a text file; a job is TOML in UTF-8.") from None
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror}).") from None
    return parse_job(text, str(path))


def parse_job(text: str, where: str = "job") -> Job:
    """Check a job given as text; `where` names it in messages. Raises BadInput as `read_job` does."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"{where}: not valid TOML: {error}.") from None
    except RecursionError:
        raise BadInput(f"{where}: not a job: its lists are nested too deep.") from None
    try:
        scale = (
            read_scale((data.get("job") or {}).get("scale", "1:1"))
            if isinstance(data.get("job"), dict)
            else 1.0
        )
    except ValueError:
        scale = 1.0  # the model says so below, at the right key
    try:
        return Job.model_validate(data, context={"scale": scale})
    except ValidationError as error:
        raise BadInput(f"{where}: {first_mistake(error, data, Job)}") from None
