"""How a job marks regions: places, limits, trims, relief wishes and fittings."""

from __future__ import annotations

import re
from typing import Annotated, Literal, Self

from pydantic import (
    BeforeValidator,
    Field,
    field_validator,
    model_validator,
)

from unwrap.job_settings import FilmChoice
from unwrap.job_values import (
    Length,
    Limits,
    Part,
    Place,
    Side,
    Thickness,
    View,
    Width,
    state_or_limits,
    table_or_many,
)


class Within(Part):
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


class TrimMark(Part):
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


class ReliefWishes(Part):
    """Where relief cuts should go, how many there may be, and how full one lip of each is left.

    `part` says whether a region that slits cannot bring within the film may become several
    pieces; where nothing is said, it does if the lips of slits would lie over each other.
    """

    avoid: list[Place] = Field(default_factory=list)
    prefer: list[Place] = Field(default_factory=list)
    keep_clear: list[Place] = Field(default_factory=list)
    reach: Thickness = 3.0
    most: int | None = Field(default=None, ge=0, le=64)
    lap: Width = 0.2
    part: bool | None = None


class RegionMark(Part):
    """``[[region]]``: one part of the outside, marked by a place on it."""

    name: str = Field(min_length=1, max_length=60)
    at: Place | None = None
    also: list[Place] = Field(default_factory=list)
    less: list[Place] = Field(default_factory=list)
    crease: float = Field(default=36.0, gt=0.0, le=180.0)
    within: Within = Within()
    trim: Annotated[list[TrimMark], BeforeValidator(table_or_many)] = Field(default_factory=list)
    bridge: Width | None = None
    openings: Literal["cut", "cover"] = "cut"
    edge: Width | None = None
    joint: Side = "bottom"
    film: Annotated[FilmChoice | None, BeforeValidator(state_or_limits)] = None
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


def names_of_parts(whole: str, count: int) -> list[str]:
    """What the parts of a region are called."""
    return [f"{whole} {k} of {count}" for k in range(1, count + 1)]


class PartMark(RegionMark):
    """One part of a region that was parted; never written in a job file.

    `whole` is what that region was called, `count` the number of its parts.
    """

    whole: str
    count: int

    @classmethod
    def parts_of(cls, mark: RegionMark, count: int) -> list[PartMark]:
        """A region's parts, alike but for their names."""
        return [
            cls.model_construct(**(dict(mark) | {"name": name, "whole": mark.name, "count": count}))
            for name in names_of_parts(mark.name, count)
        ]

    @property
    def names(self) -> list[str]:
        """What all parts of the region are called."""
        return names_of_parts(self.whole, self.count)


class FittingMark(Part):
    """``[[fitting]]``: a part already on the model that the film must go round."""

    at: Place
    diameter: Thickness
