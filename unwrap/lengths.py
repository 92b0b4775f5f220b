"""Lengths as a modeller writes them: with units, and of the prototype or the model."""

from __future__ import annotations

import math
import re

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}

_LENGTH = re.compile(r"^\s*([-+]?\d*\.?\d+(?:[eE][-+]?\d+)?)\s*(mm|cm|m|in|ft|\")?\s*(proto)?\s*$")
_RATIO = re.compile(r"^\s*1\s*:\s*(\d*\.?\d+)\s*$")
_PER_FOOT = re.compile(r"^\s*(\d*\.?\d+)\s*mm\s*/\s*ft\s*$")


def read_scale(value: object) -> float:
    """How many times larger the prototype is: ``"1:76.2"`` or ``"4 mm/ft"`` give 76.2."""
    if isinstance(value, str):
        if match := _RATIO.match(value):
            ratio = float(match[1])
        elif match := _PER_FOOT.match(value):
            ratio = 304.8 / float(match[1]) if float(match[1]) else 0.0
        else:
            ratio = 0.0
        if ratio > 0.0 and math.isfinite(ratio):
            return ratio
    raise ValueError(f'{value!r} is no scale; write it as "1:76.2" or "4 mm/ft"')


def read_length(value: object, scale: float) -> float:
    """A length in mm at model size from a number or a string with a unit."""
    if isinstance(value, bool):
        raise ValueError("a length is a number of mm, such as 0.35")
    if isinstance(value, int | float):
        length = float(value)
    elif isinstance(value, str) and (match := _LENGTH.match(value)):
        unit = "in" if match[2] == '"' else (match[2] or "mm")
        length = float(match[1]) * MM_PER_UNIT[unit] / (scale if match[3] else 1.0)
    else:
        raise ValueError(f'{value!r} is no length; write 0.35, "0.35 mm", "0.014 in" or "1 in proto"')
    if not math.isfinite(length):
        raise ValueError(f"{value!r} is no length; give a finite number")
    return length
