"""The kinds of value that a job file is made of: lengths, colours, places, names."""

from __future__ import annotations

from typing import Annotated, Literal

from PIL import ImageColor
from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
)

from unwrap.lengths import read_length

PAINT_KINDS = ("fill", "line", "band", "lettering", "artwork")


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


def state_or_limits(value: object) -> object:
    return {"state": value} if isinstance(value, str) else value


def _one_or_many(value: object) -> object:
    return [value] if isinstance(value, str) else value


def table_or_many(value: object) -> object:
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


class Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True)
