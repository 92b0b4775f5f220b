"""What a shape is filled or stroked with: a colour or a gradient."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from lxml import etree

from unwrap.arrays import FloatArray
from unwrap.livery.svg_file import REFERENCE
from unwrap.livery.svg_gradient import FRAMES, Gradient, gradient_of, stops_of
from unwrap.livery.svg_notes import Notes, target_of
from unwrap.livery.svg_path import Run
from unwrap.livery.svg_style import Rule, colour_of

# How many gradients may take over from one another.
MOST_LINKS = 8
SOLID = ("1", "1.0", "100%", "")


def fill_of(
    notes: Notes,
    by_id: Mapping[str, etree._Element],
    rules: list[Rule],
    element: etree._Element,
    style: Mapping[str, str],
    what: str,
    matrix: FloatArray,
    runs: Sequence[Run],
) -> str | Gradient | None:
    """What an element is painted with.

    Parameters
    ----------
    notes : Notes
        Told of what is left out.
    by_id : mapping of str to element
    rules : list of Rule
    element : lxml element
    style : mapping of str to str
        The element's.
    what : str
        "fill" or "stroke".
    matrix : (3, 3) float64
        From the element's units to mm in the view.
    runs : sequence of Run
        Its outline: what a gradient's lengths may be shares of.

    Returns
    -------
    "#rrggbb", a gradient, or None for nothing.
    """
    value = style[what]
    for name in ("opacity", f"{what}-opacity"):
        opacity = style.get(name, "1") or "1"
        if opacity.rstrip("%") in ("0", "0.0", ".0"):
            return None
        if opacity not in SOLID and value != "none":
            notes.remark(element, "it is see-through and is printed solid")
    target = REFERENCE.match(value)
    try:
        if target:
            otherwise = value[target.end() :]
            return _gradient(notes, by_id, rules, element, what, target[1], otherwise, matrix, runs)
        return colour_of(value, style["color"])
    except ValueError:
        raise notes.refusal(element, f'has the {what} "{value[:40]}", which is no colour') from None


def _gradient(
    notes: Notes,
    by_id: Mapping[str, etree._Element],
    rules: list[Rule],
    element: etree._Element,
    what: str,
    target: str,
    otherwise: str,
    matrix: FloatArray,
    runs: Sequence[Run],
) -> str | Gradient | None:
    """A gradient with what it takes over from others; its colour where it has one only."""
    chain: list[etree._Element] = []
    found = by_id.get(target[1:])
    while found is not None and len(chain) < MOST_LINKS and found not in chain:
        chain.append(found)
        found = by_id.get(target_of(found))
    stops = next((group for link in chain if (group := stops_of(link, rules))), [])
    if not stops or etree.QName(chain[0]).localname not in FRAMES:
        notes.remark(element, f'its {what} "{target}" is no colour or gradient and is left out')
        return colour_of(otherwise) if otherwise.strip() else None
    if any(
        "stop-opacity" in (stop.get("style") or "") or stop.get("stop-opacity", "1") not in SOLID
        for link in chain
        for stop in link
    ):
        notes.remark(element, f"its {what} fades to see-through and is printed solid")
    if len(stops) == 1:
        return f"#{stops[0][1]:06x}"
    given = {name: value for link in reversed(chain) for name, value in link.attrib.items()}
    box = np.concatenate([run.points for run in runs]) if runs else np.zeros((1, 2))
    found_gradient = gradient_of(etree.QName(chain[0]).localname, given, stops, matrix, box)
    # One that runs nowhere has its last colour everywhere.
    flat = abs(np.linalg.det(found_gradient.matrix[:2, :2])) < 1e-12
    return f"#{stops[-1][1]:06x}" if flat else found_gradient
