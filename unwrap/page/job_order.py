"""Marks of one kind change places in a job's text, each with the comments that stand right above it."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from unwrap.errors import BadInput


def swapped(text: str, kind: str, numbers: list[int]) -> str:
    """The job's text with two marks in each other's place: what comes later lies over what comes before.

    Parameters
    ----------
    text : str
        The job file, TOML.
    kind : str
        The mark's heading, such as "lining".
    numbers : list of int
        Which two of that kind, from 0.

    Raises
    ------
    BadInput
        If they are not there, or not written in a way that lets them be told apart.
    """
    lines = text.splitlines(keepends=True)
    found = [number for number, line in enumerate(lines) if _heading(line) == f"[[{kind}]]"]
    fits = isinstance(numbers, list) and len(numbers) == 2 and all(isinstance(n, int) for n in numbers)
    if not fits or not 0 <= min(numbers) < max(numbers) < len(found):
        raise BadInput(f"there are no two [[{kind}]] in the job that could change places so.")
    (a, b), (c, d) = (_reach(lines, found[number]) for number in sorted(numbers))
    last = [line if line.endswith("\n") else line + "\n" for line in lines[c:d]]
    made = "".join([*lines[:a], *last, *lines[b:c], *lines[a:b], *lines[d:]])
    if _marks(made) != _exchanged(_marks(text), kind, *sorted(numbers)):
        raise BadInput(f"these [[{kind}]] cannot be told apart in the job file; move them there by hand.")
    return made


def _heading(line: str) -> str | None:
    found = re.match(r"\s*(\[\[?[^\[\]]+\]\]?)\s*(#.*)?$", line)
    return re.sub(r"\s", "", found[1]) if found else None


def _reach(lines: list[str], heading: int) -> tuple[int, int]:
    """From the comments right above a heading to its last key."""
    first = heading
    while first and lines[first - 1].lstrip().startswith("#"):
        first -= 1
    after = heading + 1
    while after < len(lines) and _heading(lines[after]) is None:
        after += 1
    while not lines[after - 1].strip() or lines[after - 1].lstrip().startswith("#"):
        after -= 1
    return first, after


def _marks(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


def _exchanged(job: dict[str, Any] | None, kind: str, one: int, other: int) -> dict[str, Any] | None:
    if job is None:
        return None
    marks = list(job[kind])
    marks[one], marks[other] = marks[other], marks[one]
    return {**job, kind: marks}
