"""Energies of a flat shape that look at each face's two principal stretches alone.

With the signed principal stretches s1 >= s2 of the map surface -> sheet, every energy
here is the sum over faces of area * (f(s1) + f(s2)). Its second derivative has the
closed eigenvalues f''(s1), f''(s2), (f'(s1) + f'(s2))/(s1 + s2) for turning against
the face's own frame and (f'(s1) - f'(s2))/(s1 - s2) for shear [1]_; negative ones are
set to zero, which keeps every Newton step downhill.

References
----------
.. [1] B. Smith, F. de Goes, T. Kim, "Analytic Eigensystems for Isotropic Distortion
   Energies", ACM TOG 38(1), 2019 (from memory; derivation checked by the tests against
   finite differences).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from unwrap.flatten.flat_piece import FloatArray
from unwrap.flatten.metric import Metric

SAME = 1e-7  # relative gap between two stretches below which a quotient becomes a derivative


class Law(Protocol):
    """What one principal stretch costs."""

    def value(self, s: FloatArray) -> FloatArray:
        """f(s)."""
        ...

    def slopes(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """f'(s) and f''(s)."""
        ...


@dataclass(frozen=True)
class Work:
    """Symmetric Dirichlet: s^2 + s^-2 - 2, written so that it is exact near s = 1."""

    def value(self, s: FloatArray) -> FloatArray:
        """f(s)."""
        return np.square(s - 1.0 / s)

    def slopes(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """f'(s) and f''(s)."""
        inverse = 1.0 / s
        square = inverse * inverse
        return 2.0 * (s - inverse * square), 2.0 + 6.0 * square * square


@dataclass(frozen=True)
class Worst:
    """|t|^power with t = (ln s - middle)/reach, and a little `Work` where that is flat.

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
    ease: float

    def value(self, s: FloatArray) -> FloatArray:
        """f(s)."""
        t = np.abs(np.log(s) - self.middle) / self.reach
        return t**self.power + self.ease * np.square(s - 1.0 / s)

    def slopes(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """f'(s) and f''(s)."""
        p = self.power
        t = (np.log(s) - self.middle) / self.reach
        low = np.abs(t) ** (p - 2.0)
        first = p * t * low / (self.reach * s)
        second = p * low * ((p - 1.0) / self.reach - t) / (self.reach * s * s)
        inverse = 1.0 / s
        square = inverse * inverse
        return first + self.ease * 2.0 * (s - inverse * square), second + self.ease * (
            2.0 + 6.0 * square * square
        )


def split(
    metric: Metric, points: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Each face's map as a turn-and-scale (e, h) plus a mirror-and-scale (f, g).

    Returns
    -------
    e, h, f, g : (m,) float64
        [[a, b], [c, d]] = [[e, -h], [h, e]] + [[f, g], [g, -f]].
    s1, s2 : (m,) float64
        Signed principal stretches, s1 >= abs(s2); s2 < 0 where the face is flipped.
    """
    a, b, c, d = metric.jacobians(points)
    e, f, g, h = 0.5 * (a + d), 0.5 * (a - d), 0.5 * (c + b), 0.5 * (c - b)
    turn, mirror = np.hypot(e, h), np.hypot(f, g)
    return e, h, f, g, turn + mirror, turn - mirror


def energy(metric: Metric, weights: FloatArray, law: Law, points: FloatArray) -> float:
    """Energy of a flat shape; inf if a face is flipped or has no area."""
    *_, s1, s2 = split(metric, points)
    if not s2.min() > 0.0:
        return np.inf
    with np.errstate(over="ignore"):
        total = float(np.dot(weights, law.value(s1) + law.value(s2)))
    return total if np.isfinite(total) else np.inf


def gradient(
    metric: Metric, gradients: FloatArray, weights: FloatArray, law: Law, points: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Per-face gradient and clamped second derivative.

    Returns
    -------
    slope : (m, 3, 2) float64
        Derivative with respect to each corner.
    hessian : (m, 6, 6) float64
        Positive semi-definite, corners interleaved: x0, y0, x1, y1, x2, y2.
    """
    e, h, f, g, s1, s2 = split(metric, points)
    f1, d1 = law.slopes(s1)
    f2, d2 = law.slopes(s2)
    turn = np.hypot(e, h)
    mirror = np.hypot(f, g)
    safe = np.where(mirror > 0.0, mirror, 1.0)
    ce, ch = e / turn, h / turn
    cf, cg = np.where(mirror > 0.0, f / safe, 1.0), g / safe
    gap = s1 - s2
    near = gap <= SAME * s1
    twist = np.maximum((f1 + f2) / (s1 + s2), 0.0)
    shear = np.where(near, 0.5 * (d1 + d2), (f1 - f2) / np.where(near, 1.0, gap))
    # The four modes as matrices [[., .], [., .]] of unit norm.
    half = 0.5
    modes = np.empty((len(s1), 4, 2, 2))
    for k, sign in ((0, 1.0), (1, -1.0)):
        modes[:, k, 0, 0] = half * (ce + sign * cf)
        modes[:, k, 0, 1] = half * (-ch + sign * cg)
        modes[:, k, 1, 0] = half * (ch + sign * cg)
        modes[:, k, 1, 1] = half * (ce - sign * cf)
    root = np.sqrt(0.5)
    modes[:, 2, 0, 0], modes[:, 2, 0, 1] = -root * ch, -root * ce
    modes[:, 2, 1, 0], modes[:, 2, 1, 1] = root * ce, -root * ch
    modes[:, 3, 0, 0], modes[:, 3, 0, 1] = -root * cg, root * cf
    modes[:, 3, 1, 0], modes[:, 3, 1, 1] = root * cf, root * cg
    # Seen from the corners: mode applied to each corner's gradient.
    corner = np.einsum("mkac,mic->mkia", modes, gradients).reshape(len(s1), 4, 6)
    slope = weights[:, None] * (f1[:, None] * corner[:, 0] + f2[:, None] * corner[:, 1])
    values = np.column_stack([np.maximum(d1, 0.0), np.maximum(d2, 0.0), twist, np.maximum(shear, 0.0)])
    scaled = corner * (weights[:, None] * values)[:, :, None]
    return slope.reshape(-1, 3, 2), np.matmul(corner.transpose(0, 2, 1), scaled)
