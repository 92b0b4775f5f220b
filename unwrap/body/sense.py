"""Does the body make sense: its size, its symmetry, its front and top."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.body.body import Body, FloatArray
from unwrap.body.rays import Rays
from unwrap.body.read import MM_PER_UNIT, UNITS, turn_axes
from unwrap.body.sky import sample_faces

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
SAMPLES = 6000


@dataclass(frozen=True)
class Symmetry:
    """How well a body matches its own reflection.

    Parameters
    ----------
    axis : int
        0, 1 or 2: the reflection turns this coordinate round.
    middle : float
        Where the plane lies on that axis, mm.
    deviation : float
        Distance from the reflected surface to the surface that 90 % of it comes within, mm.
    worst : float
        The same for all of it that was tried, mm; 5 % of the diagonal where nothing is near.
    """

    axis: int
    middle: float
    deviation: float
    worst: float

    @property
    def line(self) -> str:
        """A sentence on it."""
        halves = ("front and rear", "left and right", "upper and lower")[self.axis]
        return (
            f"{halves} halves match about {'xyz'[self.axis]} = {self.middle:.2f} mm: "
            f"within {self.deviation:.2f} mm over 90 % of the surface, {self.worst:.2f} mm at worst"
        )


def likely_mistakes(
    body: Body, *, units: str = "mm", front: str = "+x", up: str = "+z", scale: float | None = None
) -> tuple[str, ...]:
    """What about the body is likely a slip, with the likely fix: one sentence each.

    Parameters
    ----------
    body : Body
    units, front, up : str
        As the body was read with.
    scale : float or None
        Prototype over model, 76.2 for 4 mm to the foot, when it is known.

    Returns
    -------
    tuple of str
        Empty when nothing stands out.
    """
    said = [*size_slips(float(body.size.max()), units, scale)]
    if body.size.min() < 1e-3 * body.size.max():
        thin = ("length", "width", "height")[int(np.argmin(body.size))]
        said.append(f"the body has no {thin} to speak of: check that the whole body was exported")
    guess = guess_axes(body, front, up)
    if guess is not None and guess != (front, up):
        said.append(
            f"the body seems to stand otherwise: by its two like halves and its open underside, "
            f'front = "{guess[0]}" and up = "{guess[1]}" would fit'
        )
    return tuple(said)


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
        if other != units and USUAL[0] <= length <= USUAL[1] and full_size:
            fits.append((abs(np.log(length / MIDDLING)), other, length))
    if fits:
        _, other, length = min(fits)
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


def find_symmetry(body: Body, axis: int = 1) -> Symmetry:
    """How well the body matches its reflection across a plane at right angles to an axis.

    The plane goes through the origin where that fits as well as any other. The middle of the
    body's extent is tried too, and the place that most of the surface agrees on from there: a
    lamp on one side only moves the first, not the second.

    Parameters
    ----------
    body : Body
    axis : int
        0, 1 or 2; 1 compares left and right.

    Returns
    -------
    Symmetry
    """
    rays = body.rays
    face, places = sample_faces(body.corners, body.areas, SAMPLES, most=64)
    if len(face) > 2 * SAMPLES:
        # Of very many small faces take some, by their area.
        random = np.random.default_rng(0)
        chosen = np.sort(random.choice(len(body.faces), SAMPLES, p=body.areas / body.areas.sum()))
        face, places = chosen, body.corners[chosen].mean(axis=1)
    weight = body.areas[face] / np.bincount(face, minlength=len(body.faces))[face]
    found = []
    middles = [0.0, float(body.bounds[:, axis].mean())]
    for middle in middles:
        gap = _reflected_gap(rays, body, face, places, axis, middle)
        distance = np.abs(gap)
        near = _weighted(distance, weight, 0.9)
        found.append(Symmetry(axis, middle, near, float(distance.max())))
        across: FloatArray = -body.normals[face][:, axis]
        beside = (np.abs(across) > 0.7) & (distance < 0.049 * rays.reach)
        if len(middles) < 4 and near > 1e-3 and beside.any():
            middles.append(middle + 0.5 * _weighted(gap[beside] / across[beside], weight[beside], 0.5))
    best = min(found, key=lambda one: one.deviation)
    return found[0] if found[0].deviation <= 1.05 * best.deviation + 1e-6 else best


def _weighted(values: FloatArray, weight: FloatArray, share: float) -> float:
    """The value that this share of the weight lies below."""
    order = np.argsort(values)
    below = np.cumsum(weight[order]) / weight.sum()
    return float(values[order[min(int(np.searchsorted(below, share)), len(values) - 1)]])


def _reflected_gap(
    rays: Rays, body: Body, face: np.ndarray, places: FloatArray, axis: int, middle: float
) -> FloatArray:
    """(k,) way from each reflected place, along its normal, to the body's surface; below 0 inwards."""
    flip = np.ones(3)
    flip[axis] = -1.0
    mirrored = places * flip
    mirrored[:, axis] += 2 * middle
    normal = body.normals[face] * flip
    reach = 0.05 * rays.reach
    best = np.full(len(places), reach)
    for sign in (1.0, -1.0):
        # Start a little behind, so that a surface right at the place is met too.
        back = 1e-3 * rays.reach
        hit = rays.first_within(mirrored - sign * back * normal, sign * normal, reach + back)
        like = (hit.face >= 0) & (np.einsum("kd,kd->k", body.normals[hit.face], normal) > 0.5)
        there = sign * (hit.distance - back)
        best = np.where(like & (np.abs(there) < np.abs(best)), there, best)
    return best


def guess_axes(body: Body, front: str = "+x", up: str = "+z") -> tuple[str, str] | None:
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
    (front, up) or None
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
    return _axis_name(file_axes @ ahead), _axis_name(file_axes @ above)


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
