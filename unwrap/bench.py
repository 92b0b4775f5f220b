"""What lies on the bench while a job is made, and what comes of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from unwrap.arrays import BoolArray, IntArray
from unwrap.body.body import Body
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.job import Job
from unwrap.job_regions import RegionMark
from unwrap.livery.carry import Carry
from unwrap.livery.overlaps import Plan
from unwrap.regions.region import Patch
from unwrap.sheet.piece import Piece
from unwrap.sheet.sheet import Sheet


@dataclass(frozen=True, eq=False)
class Bench:
    """A job with its body on the bench.

    Parameters
    ----------
    job : Job
        What is wanted.
    folder : Path
        The job file's folder; the body and the drawings are named from there.
    body : Body
        The body, mm.
    outside : (m,) bool
        The body's faces that are seen from outside.
    """

    job: Job
    folder: Path
    body: Body
    outside: BoolArray


@dataclass(frozen=True, eq=False)
class Flattened:
    """A marked region, made ready and laid flat.

    Parameters
    ----------
    mark : RegionMark
    patch : Patch
    flat : FlatPiece
    under : (k, 2) int64
        Edges of the flat mesh along which another part of a parted region laps over this one.
    over : tuple of str
        The names of those parts.
    """

    mark: RegionMark
    patch: Patch
    flat: FlatPiece
    under: IntArray = field(default_factory=lambda: np.zeros((0, 2), dtype=np.int64))
    over: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Dressed:
    """A job's pieces in their livery, before they are laid on sheets.

    Parameters
    ----------
    job : Job
        As it was made: parted regions are replaced by their parts.
    carries : mapping of str to Carry
        The flat pieces by region.
    plan : Plan
        How they lie over one another.
    sets : tuple of (str, tuple of Piece)
        The finished pieces with each running number; one set where there are none.
    remarks : tuple of str
        What could not be made as it was asked for.
    """

    job: Job
    carries: Mapping[str, Carry]
    plan: Plan
    sets: tuple[tuple[str, tuple[Piece, ...]], ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class NumberedSet:
    """The pieces and sheets that carry one of the running numbers."""

    number: str
    pieces: tuple[Piece, ...]
    sheets: tuple[Sheet, ...]


@dataclass(frozen=True, eq=False)
class Result:
    """What a job gave.

    Parameters
    ----------
    report : dict
        What `report.json` holds.
    pieces : tuple of Piece
    sheets : tuple of Sheet
    files : tuple of Path
        Everything that was written.
    further : tuple of NumberedSet
        The sets for the running numbers after the first.
    plan : Plan or None
        How the pieces lie over one another.
    status : int
        0 done; 1 done, but something in the result needs the user.
    """

    report: dict[str, Any]
    pieces: tuple[Piece, ...]
    sheets: tuple[Sheet, ...]
    files: tuple[Path, ...] = ()
    further: tuple[NumberedSet, ...] = ()
    plan: Plan | None = None

    @property
    def status(self) -> int:
        """The command's exit status."""
        return 1 if self.report["warnings"] else 0
