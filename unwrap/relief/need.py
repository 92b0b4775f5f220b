"""How much a flat shape asks of the film, as one smooth number, and how that changes with the surface.

The measure is the power mean, over the area, of each face's distance from the middle of
the film's window (1 at its ends). In the flat shape that makes it least, its change with the
surface needs no second flattening: the flat shape may be held fixed while the surface's
faces move (the force on a defect [1]_; for the tip of a cut, the virtual extension of a crack [2]_,
with the power mean in the place of elastic energy).

References
----------
.. [1] J. D. Eshelby, "The force on an elastic singularity", Phil. Trans. R. Soc. A 244, 1951 (from memory).
.. [2] D. M. Parks, "A stiffness derivative finite element technique for determination
   of crack tip stress intensity factors", Int. J. Fracture 10, 1974 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.film import Film
from unwrap.flatten.energy import stretches
from unwrap.flatten.metric import Metric

EASE = 1e-3  # share of least work mixed in, where a high power is flat


def window_of(film: Film) -> tuple[float, float]:
    """Middle of a film's window in ln s, s the stretch surface -> sheet, and the distance to its ends."""
    low, high = film.window
    return -0.5 * float(np.log(low * high)), 0.5 * float(np.log(high / low))


@dataclass(frozen=True)
class Worst:
    """|t|^power with t = (ln s - middle)/reach, and a little work where that is flat.

    Parameters
    ----------
    middle : float
        Middle of the window in ln s.
    reach : float
        Distance in ln s from the middle at which the cost is 1.
    power : float
        The higher, the more the worst face alone counts.
    """

    middle: float
    reach: float
    power: float

    @classmethod
    def of(cls, film: Film, power: float) -> Worst:
        """The law of a film's window."""
        return cls(*window_of(film), power)

    def distance(self, s: FloatArray) -> FloatArray:
        """Distance from the middle of the window; 1 at its ends."""
        return np.abs(np.log(s) - self.middle) / self.reach

    def value(self, s: FloatArray) -> FloatArray:
        """f(s)."""
        return self.distance(s) ** self.power + EASE * np.square(s - 1.0 / s)

    def slopes(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """f'(s) and f''(s)."""
        p = self.power
        t = (np.log(s) - self.middle) / self.reach
        size = np.abs(t)
        low = size ** (p - 2.0)
        slope = np.sign(t) * p * low * size
        inverse = 1.0 / s
        square = inverse * inverse
        return slope / (self.reach * s) + 2.0 * EASE * (s - inverse * square), (
            p * (p - 1.0) * low / self.reach - slope
        ) / (self.reach * s * s) + EASE * (2.0 + 6.0 * square * square)


def need_of(metric: Metric, law: Worst, points: FloatArray) -> float:
    """Power mean of the distance from the window's middle; inf where a face is flipped."""
    s1, s2 = stretches(metric, points)
    if not s2.min() > 0.0:
        return np.inf
    t1, t2 = law.distance(s1), law.distance(s2)
    top = max(float(t1.max()), float(t2.max()), 1e-300)
    areas = metric.areas
    total = areas @ ((t1 / top) ** law.power + (t2 / top) ** law.power) / areas.sum()
    return top * float(total) ** (1.0 / law.power)


def pull_on_surface(surface: FloatArray, metric: Metric, law: Worst, points: FloatArray) -> FloatArray:
    """(n, 3) change of the need with the place of each vertex on the surface, the flat shape held.

    A face strained by the small displacement gradient G changes its cost by area * S : G, with
    Eshelby's stress S = cost * 1 - (slope of the cost with the map) applied to the map.
    """
    p, q, r = (points[metric.faces[:, k]] for k in range(3))
    one, two = q - p, r - p
    ac = one / metric.base[:, None]
    bd = (two - ac * metric.foot[:, None]) / metric.height[:, None]
    c11, c12, c22 = ((u * v).sum(axis=1) for u, v in ((ac, ac), (ac, bd), (bd, bd)))
    s1, s2 = stretches(metric, points)
    areas, power = metric.areas, law.power
    t1, t2 = law.distance(s1), law.distance(s2)
    cost = t1**power + t2**power
    total = float(areas @ cost)
    # s f'(s) for f = t^power.
    f1, f2 = (
        power * t ** (power - 1) * np.sign(np.log(s) - law.middle) / law.reach
        for t, s in ((t1, s1), (t2, s2))
    )
    need = (total / areas.sum()) ** (1.0 / power)
    scale = need / power / total
    mean = scale * (cost - 0.5 * (f1 + f2)) - need / power / areas.sum()
    gap = s1 * s1 - s2 * s2
    turn = np.divide(-scale * (f1 - f2), gap, out=np.zeros_like(gap), where=gap > 1e-9)
    middle = 0.5 * (c11 + c22)
    s11, s12, s22 = mean + turn * (c11 - middle), turn * c12, mean + turn * (c22 - middle)
    # Gradients of the corners' shape functions in the face's own frame, and that frame in space.
    x1, y1 = 1.0 / metric.base, -metric.foot / (metric.base * metric.height)
    y2 = 1.0 / metric.height
    a, b, c = (surface[metric.faces[:, k]] for k in range(3))
    e1 = (b - a) / metric.base[:, None]
    e2 = (c - a - metric.foot[:, None] * e1) / metric.height[:, None]
    pulls = [
        areas[:, None] * ((s11 * x + s12 * y)[:, None] * e1 + (s12 * x + s22 * y)[:, None] * e2)
        for x, y in ((x1, y1), (np.zeros_like(y2), y2))
    ]
    out = np.zeros_like(surface)
    for k, pull in enumerate((-(pulls[0] + pulls[1]), *pulls)):
        for axis in range(3):
            out[:, axis] += np.bincount(metric.faces[:, k], pull[:, axis], len(out))
    return out
