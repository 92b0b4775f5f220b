"""From screen colours to CIE L*a*b* and back, to step evenly round a colour."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# sRGB primaries and D65 white (IEC 61966-2-1:1999).
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
WHITE = TO_XYZ.sum(axis=1)


def lab_of(colour: str) -> NDArray[np.float64]:
    """(3,) L*, a*, b* of "#rrggbb" (CIE 15)."""
    srgb = np.array([int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    t = TO_XYZ @ linear / WHITE
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def colour_of(lab: NDArray[np.float64]) -> tuple[str, bool]:
    """The nearest "#rrggbb" of L*, a*, b*, and whether the screen can show it at all."""
    fy = (lab[0] + 16) / 116
    f = np.array([fy + lab[1] / 500, fy, fy - lab[2] / 200])
    t = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29))
    linear = np.linalg.solve(TO_XYZ, t * WHITE)
    shown = bool(linear.min() > -0.002 and linear.max() < 1.002)
    linear = np.clip(linear, 0.0, 1.0)
    srgb = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    red, green, blue = np.rint(255 * srgb).astype(int)
    return f"#{red:02x}{green:02x}{blue:02x}", shown
