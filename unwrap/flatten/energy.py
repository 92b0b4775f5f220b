"""Energies of a flat shape that look at each face's two principal stretches alone.

With the signed principal stretches s1 >= s2 of the map surface -> sheet, every energy
here is the sum over faces of weight * (f(s1) + f(s2)). Its second derivative has the
closed eigenvalues f''(s1), f''(s2), (f'(s1) + f'(s2))/(s1 + s2) for turning against
the face's own frame and (f'(s1) - f'(s2))/(s1 - s2) for shear [1]_; negative ones are
set to zero, which keeps every Newton step downhill.

References
----------
.. [1] B. Smith, F. de Goes, T. Kim, "Analytic Eigensystems for Isotropic Distortion
   Energies", ACM TOG 38(1), 2019 (from memory; the tests check the derivatives
   against finite differences).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from unwrap.arrays import FloatArray
from unwrap.flatten.metric import Metric

SAME = 1e-7  # relative gap between two stretches below which a quotient becomes a derivative
CHUNK = 8192  # faces worked on at a time: what fits the processor's cache


class Law(Protocol):
    """What one principal stretch costs."""

    def value(self, s: FloatArray) -> FloatArray:
        """f(s)."""
        ...

    def slopes(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """f'(s) and f''(s)."""
        ...


class Forces(Protocol):
    """First and second derivative by each of the two stretches, for a run of faces."""

    def __call__(
        self, part: slice, s1: FloatArray, s2: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """f1', f1'', f2', f2''."""
        ...


def forces_of(law: Law, weights: FloatArray) -> Forces:
    """The forces of a law that is the same for both stretches, times a weight per face."""

    def forces(
        part: slice, s1: FloatArray, s2: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        w = weights[part]
        f1, d1 = law.slopes(s1)
        f2, d2 = law.slopes(s2)
        return w * f1, w * d1, w * f2, w * d2

    return forces


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


@dataclass(frozen=True, eq=False)
class Split:
    """Each face's map [[a, b], [c, d]] as a turn [[e, -h], [h, e]] plus a mirror [[f, g], [g, -f]].

    Parameters
    ----------
    e, h, f, g : (m,) float64
    s1, s2 : (m,) float64
        Signed principal stretches, s1 >= abs(s2); s2 < 0 where the face is flipped.
    """

    e: FloatArray
    h: FloatArray
    f: FloatArray
    g: FloatArray
    turn: FloatArray
    mirror: FloatArray

    @property
    def s1(self) -> FloatArray:
        """Larger stretch."""
        return self.turn + self.mirror

    @property
    def s2(self) -> FloatArray:
        """Smaller stretch, negative where the face is flipped."""
        return self.turn - self.mirror


def split(metric: Metric, points: FloatArray, part: slice = slice(None)) -> Split:
    """The linear map of each face from its own frame to the sheet, taken apart."""
    faces = metric.faces[part]
    first = points[faces[:, 0]]
    one = points[faces[:, 1]] - first
    two = points[faces[:, 2]] - first
    base, foot, height = metric.base[part], metric.foot[part], metric.height[part]
    a, c = one[:, 0] / base, one[:, 1] / base
    b, d = (two[:, 0] - a * foot) / height, (two[:, 1] - c * foot) / height
    e, f, g, h = 0.5 * (a + d), 0.5 * (a - d), 0.5 * (c + b), 0.5 * (c - b)
    return Split(e, h, f, g, np.sqrt(e * e + h * h), np.sqrt(f * f + g * g))


def parts(count: int) -> list[slice]:
    """Runs of faces that fit the cache."""
    return [slice(k, min(k + CHUNK, count)) for k in range(0, count, CHUNK)]


def stretches(metric: Metric, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Signed principal stretches (s1, s2) of every face, surface -> sheet."""
    m = len(metric.base)
    s1, s2 = np.empty(m), np.empty(m)
    for part in parts(m):
        found = split(metric, points, part)
        s1[part], s2[part] = found.s1, found.s2
    return s1, s2


def energy(metric: Metric, weights: FloatArray, law: Law, points: FloatArray) -> float:
    """Energy of a flat shape; inf if a face is flipped or has no area."""
    total = 0.0
    with np.errstate(over="ignore"):
        for part in parts(len(weights)):
            found = split(metric, points, part)
            s2 = found.s2
            if not s2.min() > 0.0:
                return np.inf
            total += float(np.dot(weights[part], law.value(found.s1) + law.value(s2)))
    return total if np.isfinite(total) else np.inf


def derivatives(
    metric: Metric, forces: Forces, points: FloatArray, *others: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """First and (clamped) second derivatives of every face's energy.

    Corners are numbered as in `metric.faces`.

    Parameters
    ----------
    others : pairs of (m,) float64
        Other forces (f1', f2') whose slopes are wanted as well.

    Returns
    -------
    slope : (1 + others, 2, 3, m) float64
        Derivative by x and y of each corner: the energy's, and then what the other forces come to.
    same : (3, 3, m) float64
        Entries xx, xy, yy of each corner with itself.
    pair : (4, 3, m) float64
        Entries xx, xy, yx, yy of the corners 0-1, 1-2 and 2-0 (first letter: first corner).
    """
    m = len(metric.base)
    slope, same, pair = np.empty((1 + len(others), 2, 3, m)), np.empty((3, 3, m)), np.empty((4, 3, m))
    for part in parts(m):
        _derivatives(metric, forces, points, others, part, slope, same, pair)
    return slope, same, pair


def _derivatives(
    metric: Metric,
    forces: Forces,
    points: FloatArray,
    others: tuple[tuple[FloatArray, FloatArray], ...],
    part: slice,
    slope: FloatArray,
    same: FloatArray,
    pair: FloatArray,
) -> None:
    found = split(metric, points, part)
    s1, s2 = found.s1, found.s2
    f1, d1, f2, d2 = forces(part, s1, s2)
    ce, ch = found.e / found.turn, found.h / found.turn
    round_ = found.mirror <= 0.0
    safe = np.where(round_, 1.0, found.mirror)
    cf, cg = np.where(round_, 1.0, found.f / safe), found.g / safe
    gap = s1 - s2
    near = gap <= SAME * s1
    twist = 0.5 * np.maximum((f1 + f2) / (s1 + s2), 0.0)
    shear = np.where(near, 0.5 * (d1 + d2), (f1 - f2) / np.where(near, 1.0, gap))
    shear = 0.5 * np.maximum(shear, 0.0)
    wide, narrow = np.maximum(d1, 0.0), np.maximum(d2, 0.0)
    across, slant, up = 1.0 / metric.base[part], metric.foot[part], 1.0 / metric.height[part]
    slant = slant * across * up
    # Each mode, a 2 x 2 matrix [[u, v], [x, y]], applied to the gradients of corners 1 and 2;
    # twist and shear are left sqrt(2) times too long, which their factor 0.5 mends.
    modes = (
        (0.5 * (ce + cf), 0.5 * (cg - ch), 0.5 * (ch + cg), 0.5 * (ce - cf), wide),
        (0.5 * (ce - cf), -0.5 * (ch + cg), 0.5 * (ch - cg), 0.5 * (ce + cf), narrow),
        (-ch, -ce, ce, -ch, twist),
        (-cg, cf, cf, cg, shear),
    )
    zero = np.zeros_like(s1)
    k11, k12, k22 = [zero, zero, zero], [zero, zero, zero, zero], [zero, zero, zero]
    pulls = []
    for u, v, x, y, value in modes:
        px, py = across * u - slant * v, across * x - slant * y
        qx, qy = up * v, up * y
        pulls.append((px, py, qx, qy))
        vpx, vpy, vqx, vqy = value * px, value * py, value * qx, value * qy
        k11 = [k11[0] + vpx * px, k11[1] + vpx * py, k11[2] + vpy * py]
        k12 = [k12[0] + vpx * qx, k12[1] + vpx * qy, k12[2] + vpy * qx, k12[3] + vpy * qy]
        k22 = [k22[0] + vqx * qx, k22[1] + vqx * qy, k22[2] + vqy * qy]
    every = ((f1, f2), *((a[part], b[part]) for a, b in others))
    for kind, (g1, g2) in enumerate(every):
        for axis in (0, 1):
            one = g1 * pulls[0][axis] + g2 * pulls[1][axis]
            two = g1 * pulls[0][2 + axis] + g2 * pulls[1][2 + axis]
            slope[kind, axis, 1, part], slope[kind, axis, 2, part] = one, two
            slope[kind, axis, 0, part] = -(one + two)
    # Moving all three corners alike changes nothing: the rows of each block sum to zero.
    k01 = [-(k11[0] + k12[0]), -(k11[1] + k12[2]), -(k11[1] + k12[1]), -(k11[2] + k12[3])]
    k20 = [-(k12[0] + k22[0]), -(k12[2] + k22[1]), -(k12[1] + k22[1]), -(k12[3] + k22[2])]
    for i in range(4):
        pair[i, 0, part], pair[i, 1, part], pair[i, 2, part] = k01[i], k12[i], k20[i]
    for i, (j, k) in enumerate(((0, 0), (1, 2), (3, 3))):
        same[i, 1, part], same[i, 2, part] = k11[i], k22[i]
        same[i, 0, part] = -0.5 * (k01[j] + k01[k] + k20[j] + k20[k])
