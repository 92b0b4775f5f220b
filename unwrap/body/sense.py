"""Does the body make sense: its size, its symmetry, its front and top."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.body.body import Body
from unwrap.body.rays import Rays
from unwrap.body.read import MM_PER_UNIT, UNITS, turn_axes
from unwrap.body.symmetry import find_symmetry

# Lengths of bodies of model vehicles, from the smallest scales to garden scales, mm, and
# lengths of real ones (common practice, no source).
SMALLEST, LARGEST = 15.0, 1500.0
USUAL = (30.0, 600.0)
MIDDLING = 120.0
REAL = (1800.0, 40_000.0)
# A file may hold a part of a vehicle, such as a nose, which is this long at least.
PART = 600.0
# A half matches the other when most of it comes this near, as a share of the body's diagonal.
MATCHES, DIFFERS = 0.004, 0.02
# A vehicle is longer than wide: so many times as long, where one pair of halves is alike, and
# where two are and either could be left and right.
LONGER, MUCH_LONGER = 1.2, 1.8


class Axes(NamedTuple):
    """Which of a file's axes point to the body's front and up, guessed from its shape.

    Attributes
    ----------
    front, up : str
        "+x", "-x", "+y", "-y", "+z" or "-z".
    sure : bool
        Whether the shape is that of a vehicle, so that it is a slip to say otherwise. A single
        part (a roof, the front of a cab) does not show how it stands.
    """

    front: str
    up: str
    sure: bool

    def differ(self, front: str, up: str) -> bool:
        """Whether they are others than some that were given."""
        return (self.front, self.up) != (front, up)


def likely_mistakes(
    body: Body,
    *,
    units: str = "mm",
    front: str = "+x",
    up: str = "+z",
    scale: float | None = None,
    guess: Axes | None = None,
) -> tuple[str, ...]:
    """What about the body is likely a slip, with the likely fix: one sentence each.

    Parameters
    ----------
    body : Body
    units, front, up : str
        As the body was read with.
    scale : float or None
        Prototype over model, 76.2 for 4 mm to the foot, when it is known.
    guess : Axes, optional
        From `guess_axes`, when it was asked already.

    Returns
    -------
    tuple of str
        Empty when nothing stands out.
    """
    said = [*size_slips(float(body.size.max()), units, scale)]
    if body.size.min() < 1e-3 * body.size.max():
        thin = ("length", "width", "height")[int(np.argmin(body.size))]
        said.append(f"the body has no {thin} to speak of: check that the whole body was exported")
    guess = guess or guess_axes(body, front, up)
    if guess is not None and guess.sure and guess.differ(front, up):
        said.append(
            f"the body seems to stand otherwise: by its two like halves and its open underside, "
            f'front = "{guess.front}" and up = "{guess.up}" would fit'
        )
    return tuple(said)


def axes_line(guess: Axes | None, front: str, up: str) -> str:
    """What the shape says of front and up: a sentence."""
    given = f'front = "{front}" and up = "{up}"'
    if guess is None:
        return f"{given} as given; the shape does not tell"
    if not guess.differ(front, up):
        return f"{given}, and the shape agrees" if guess.sure else f"{given} as given; the shape allows it"
    guessed = f'front = "{guess.front}" and up = "{guess.up}"'
    if guess.sure:
        return f"{given} as given; the shape says {guessed}"
    return f"{given} as given; unsure, since as a single part it might be {guessed} too"


def size_slips(longest: float, units: str, scale: float | None) -> list[str]:
    """What is wrong with the longest measure, and which unit or scale would mend it.

    Parameters
    ----------
    longest : float
        mm, as the body was read.
    units : str
        The unit that it was read with.
    scale : float or None
        Prototype over model, when it is known.

    Returns
    -------
    list of str
        One sentence, or none where the size fits.
    """
    full = longest * scale if scale else None
    fits_scale = full is None or PART <= full <= REAL[1]
    if SMALLEST <= longest <= LARGEST and fits_scale:
        return []
    shown = _shown(longest)
    in_full = f", which at 1:{scale:g} is {_shown(full)} of the real thing" if full else ""
    fits = []
    for other in UNITS:
        length = longest * MM_PER_UNIT[other] / MM_PER_UNIT[units]
        full_size = scale is None or PART <= length * scale <= REAL[1]
        usual = USUAL[0] <= length <= USUAL[1]
        if other != units and SMALLEST <= length <= LARGEST and full_size:
            fits.append((not usual, abs(np.log(length / MIDDLING)), other, length))
    if fits:
        *_, other, length = min(fits)
        return [f'the body is {shown} long{in_full}: set units = "{other}", which makes it {length:.0f} mm']
    if REAL[0] <= longest <= REAL[1]:
        ratio = scale or 76.2
        return [
            f"the body is {shown} long, the size of the real thing: scale it down before it is exported "
            f"(at 1:{ratio:g} it is {longest / ratio:.0f} mm)"
        ]
    if SMALLEST <= longest <= LARGEST:
        return [f"the body is {shown} long{in_full}: check the scale, and the size it was exported with"]
    return [f"the body is {shown} long, which no model is: check units and the size it was exported with"]


def _shown(length: float) -> str:
    return f"{length / 1000:.3g} m" if length >= 1000 else f"{length:.3g} mm"


def guess_axes(body: Body, front: str = "+x", up: str = "+z") -> Axes | None:
    """Which of the file's axes point to the front and up, guessed from the body's shape.

    The two like halves give left and right, the longer of the other two directions gives front
    and rear, and the side that one looks deepest into is underneath. Which end is the front the
    shape does not say: the end that was given is kept.

    Parameters
    ----------
    body : Body
    front, up : str
        The file's axes that the body was read with.

    Returns
    -------
    Axes or None
        None where the shape does not tell.
    """
    rays = body.rays
    diagonal = float(np.linalg.norm(body.size))
    off = np.array([find_symmetry(body, axis).deviation for axis in range(3)]) / diagonal
    like = [k for k in range(3) if off[k] <= MATCHES]
    if not like or len(like) == 3 or (1 not in like and off[1] < DIFFERS):
        return None
    # A body whose ends are like too is longer than wide.
    across = min(like, key=lambda k: body.size[k] * (0.95 if k == 1 else 1.0))
    depths = {
        (axis, sign): _depth_seen(rays, body, axis, sign)
        for axis in range(3)
        if axis != across
        for sign in (-1, 1)
    }
    (axis, sign), deepest = max(depths.items(), key=lambda item: item[1])
    others = [depth for key, depth in depths.items() if key != (axis, sign)]
    if deepest < 0.3 or deepest < 1.5 * max(others):
        # No open underside: the longer direction is taken for the length.
        rest = [k for k in range(3) if k != across]
        length = max(rest, key=lambda k: body.size[k])
        axis, sign = next(k for k in rest if k != length), -1
    ahead = np.zeros(3)
    ahead[next(k for k in range(3) if k not in (across, axis))] = 1.0
    above = np.zeros(3)
    above[axis] = -float(sign)
    file_axes = turn_axes(front, up).T
    longer = float(body.size[int(np.argmax(ahead))] / max(float(body.size[across]), 1e-9))
    sure = longer >= (LONGER if len(like) == 1 else MUCH_LONGER)
    return Axes(_axis_name(file_axes @ ahead), _axis_name(file_axes @ above), sure)


def _axis_name(direction: FloatArray) -> str:
    axis = int(np.argmax(np.abs(direction)))
    return ("-" if direction[axis] < 0 else "+") + "xyz"[axis]


def _depth_seen(rays: Rays, body: Body, axis: int, sign: int) -> float:
    """How deep one looks into the body from one side: mean depth over the body's own depth, 0 to 1."""
    low, high = body.bounds
    others = [k for k in range(3) if k != axis]
    grid = np.stack(np.meshgrid(*[np.linspace(0.02, 0.98, 40)] * 2), axis=-1).reshape(-1, 2)
    start = np.empty((len(grid), 3))
    start[:, others] = low[others] + grid * (high - low)[others]
    gap = 0.01 * rays.reach
    start[:, axis] = high[axis] + gap if sign > 0 else low[axis] - gap
    ahead = np.zeros(3)
    ahead[axis] = -float(sign)
    hit = rays.first(start, ahead)
    met = hit.face >= 0
    if not met.any():
        return 0.0
    return float((hit.distance[met] - gap).mean() / max(float((high - low)[axis]), 1e-9))
