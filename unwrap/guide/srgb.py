"""Between screen colours and light (IEC 61966-2-1)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def _linear_table() -> NDArray[np.float32]:
    s = np.arange(256) / 255.0
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4).astype(np.float32)


_LINEAR = _linear_table()


def to_linear(srgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Light from sRGB bytes (IEC 61966-2-1)."""
    return _LINEAR[srgb]


def _srgb_table(steps: int = 1 << 15) -> NDArray[np.uint8]:
    """Bytes for even steps of light, finer than a byte even in the deepest shade."""
    x = np.linspace(0.0, 1.0, steps)
    s = np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)
    return np.rint(255.0 * s).astype(np.uint8)


_SRGB = _srgb_table()


def to_srgb(light: NDArray[np.floating]) -> NDArray[np.uint8]:
    """The sRGB bytes of light (IEC 61966-2-1)."""
    step = np.rint(np.clip(light, 0.0, 1.0) * (len(_SRGB) - 1)).astype(np.int64)
    return _SRGB[step]
