"""Where a picture of the body is taken from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unwrap.arrays import FloatArray


@dataclass(frozen=True, eq=False)
class Camera:
    """A camera with a long lens, or (with no eye) a straight-on view without perspective.

    Parameters
    ----------
    right, up, back : (3,) float64
        Unit axes: to the right and upwards in the picture, and towards the onlooker.
    middle : (3,) float64
        The point in the middle of the framed body, mm; the picture plane passes
        through it.
    eye : float or None
        Distance of the eye from that plane, mm; None for no perspective.
    frame : (4,) tuple of float
        Left, bottom, right and top of the picture in the picture plane, mm.
    """

    right: FloatArray
    up: FloatArray
    back: FloatArray
    middle: FloatArray
    eye: float | None
    frame: tuple[float, float, float, float]

    @property
    def aspect(self) -> float:
        """Width over height."""
        left, bottom, right, top = self.frame
        return (right - left) / (top - bottom)

    def onto(self, points: FloatArray) -> FloatArray:
        """(n, 2) places of points (n, 3) in the picture plane, mm."""
        return _project(points - self.middle, self.right, self.up, self.back, self.eye)

    def rays(self, across: FloatArray, upward: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Origins and unit directions (n, 3) of the rays through places in the picture plane.

        Without perspective the origins lie far enough back to stand before any body
        that fits into the frame.
        """
        size = len(across), 3
        if self.eye is None:
            left, bottom, right, top = self.frame
            far = 10.0 * max(right - left, top - bottom)
            place = np.column_stack([across, upward]) @ np.stack([self.right, self.up])
            place += self.middle + far * self.back
            return place, np.broadcast_to(-self.back, size)
        length = np.sqrt(across**2 + upward**2 + self.eye**2)
        shares = np.column_stack([across / length, upward / length, -self.eye / length])
        direction = shares @ np.stack([self.right, self.up, self.back])
        return np.broadcast_to(self.middle + self.eye * self.back, size), direction


def aim(
    points: FloatArray,
    azimuth: float,
    elevation: float,
    *,
    lens: float | None = 18.0,
    air: float = 2.0,
    foot: float = 0.0,
) -> Camera:
    """Place a camera so that all points fill the picture.

    Parameters
    ----------
    points : (n, 3) float64
        What must be in the picture, mm.
    azimuth : float
        Degrees anticlockwise from the front (+x) seen from above: 0 looks at the
        front, 90 at the left side.
    elevation : float
        Degrees above the horizon; 90 looks straight down with the front upward.
    lens : float or None
        Angle of view in degrees; None for no perspective.
    air : float
        Empty border round the body, mm.
    foot : float
        Further room below it for a shadow, mm.
    """
    a, e = np.radians(azimuth), np.radians(elevation)
    back = np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
    right = np.array([-np.sin(a), np.cos(a), 0.0])
    up = np.cross(back, right)
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    reach = float(np.linalg.norm(points - middle, axis=1).max())
    eye = None if lens is None else 1.15 * reach / np.sin(np.radians(lens) / 2)
    flat = _project(points - middle, right, up, back, eye)
    low, high = flat.min(axis=0), flat.max(axis=0)
    return Camera(
        right,
        up,
        back,
        middle,
        eye,
        (float(low[0]) - air, float(low[1]) - air - foot, float(high[0]) + air, float(high[1]) + air),
    )


def _project(
    points: FloatArray, right: FloatArray, up: FloatArray, back: FloatArray, eye: float | None
) -> FloatArray:
    flat = np.column_stack([points @ right, points @ up])
    if eye is None:
        return flat
    return flat * (eye / (eye - points @ back))[:, None]
