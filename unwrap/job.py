"""The job file: what the modeller wants, checked, with lengths in mm at model size.

A job is TOML. Every length is a number of millimetres at model size, or a string with
a unit, which may be a length of the prototype: ``0.35``, ``"0.35 mm"``, ``"0.014 in"``,
``"1 in proto"``, ``"25 mm proto"``. Prototype lengths are divided by the job's scale.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Self

from pydantic import (
    Field,
    ValidationError,
    model_validator,
)

from unwrap.errors import BadInput
from unwrap.film import Film
from unwrap.job_livery import (
    ArtworkMark,
    BandMark,
    FillMark,
    LetteringMark,
    LiningMark,
    Mark,
    OnRegions,
)
from unwrap.job_messages import first_mistake
from unwrap.job_regions import FittingMark, RegionMark
from unwrap.job_settings import BodySource, FilmChoice, JobHead, PrintSettings
from unwrap.job_values import (
    Part,
)
from unwrap.lengths import read_scale

LARGEST_JOB_BYTES = 4_000_000


class Job(Part):
    """A whole job file."""

    job: JobHead
    body: BodySource
    film: FilmChoice = FilmChoice()
    print: PrintSettings = PrintSettings()
    region: list[RegionMark] = Field(min_length=1)
    fill: list[FillMark] = Field(default_factory=list)
    lining: list[LiningMark] = Field(default_factory=list)
    band: list[BandMark] = Field(default_factory=list)
    lettering: list[LetteringMark] = Field(default_factory=list)
    artwork: list[ArtworkMark] = Field(default_factory=list)
    fitting: list[FittingMark] = Field(default_factory=list)

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
        marks: Sequence[OnRegions]
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
