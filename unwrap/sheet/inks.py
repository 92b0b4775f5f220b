"""Inks: what a colour is printed with, and what the printer is like."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from unwrap.errors import BadInput

# Weights of red, green and blue light (ITU-R BT.709).
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])

Tints = tuple[float, float, float, float]

NAMES = {"c": "cyan", "m": "magenta", "y": "yellow", "k": "black", "w": "white"}
# Tints below this leave nothing that a toner printer would show.
LEAST_TINT = 0.02
# Half a point: finer lines belong in one process ink (Consolidated Press, "Lines and Fills", a house rule).
HALF_POINT = 0.18


@dataclass(frozen=True)
class Press:
    """The printer, as far as plates depend on it.

    Parameters
    ----------
    inks : str
        Initials of what it carries: c, m, y, k for black, w for white. "cmyw" builds
        black of the three colours; "cmyk" takes the film to be white.
    face_down : bool
        True prints mirrored, colour first and white last, for film that is turned
        over onto the model; False prints white first, not mirrored.
    registration : float
        How far one ink may land beside another, mm.
    white_choke : float
        How far white stays inside the colour, mm.
    white_hits : int
        Layers of white: 0, 1 or 2.
    bare : frozenset of str
        Colours ("#rrggbb") and kinds of paint that stand on bare film.
    limit : float
        Most colour ink in one place, 2.6 = 260 %; white is not counted.
    min_built : float or None
        Lines of two or more inks narrower than this, mm, are flagged. None takes half
        a point or twice the registration, whichever is more: below that, one ink can
        land clear of the other.
    white_name, cut_name : str
        What the printer's software calls the white ink and the cutting line.
    scale_x, scale_y : float
        What to multiply drawn lengths by so that 100 mm comes out as 100 mm.

    Raises
    ------
    BadInput
        If no picture can be printed with the inks.
    """

    inks: str = "cmyw"
    face_down: bool = True
    registration: float = 0.15
    white_choke: float = 0.15
    white_hits: int = 1
    bare: frozenset[str] = frozenset()
    limit: float = 2.6
    min_built: float | None = None
    white_name: str = "White"
    cut_name: str = "Cut"
    scale_x: float = 1.0
    scale_y: float = 1.0

    def __post_init__(self) -> None:
        if not self.has_colour and not self.has_black:
            given = ", ".join(NAMES[ink] for ink in self.inks if ink in NAMES) or "none"
            raise BadInput(
                f"[print] inks: {given}: a picture needs cyan, magenta and yellow, or black at the least"
            )

    @property
    def has_colour(self) -> bool:
        """Whether all three of cyan, magenta and yellow are there."""
        return set("cmy") <= set(self.inks)

    @property
    def has_black(self) -> bool:
        """Whether there is a black ink."""
        return "k" in self.inks

    @property
    def has_white(self) -> bool:
        """Whether white is printed."""
        return "w" in self.inks and self.white_hits > 0

    @property
    def least_built(self) -> float:
        """Narrowest line of several inks that goes without a remark, mm."""
        return self.min_built if self.min_built is not None else max(HALF_POINT, 2 * self.registration)

    @property
    def order(self) -> tuple[str, ...]:
        """The inks in the order in which they must reach the film."""
        colours = tuple(NAMES[ink] for ink in "cmyk" if ink in self.inks)
        white = ("white",) * self.white_hits if self.has_white else ()
        return (*colours, *white) if self.face_down else (*white, *colours)

    def choke_of(self, hit: int) -> float:
        """How far the first (0) or the second (1) white stays inside the colour, mm.

        The second stays half as far again inside the first, so that it never widens it.
        """
        return self.white_choke * (1.0 + 0.5 * hit)


def tints_of(colour: str, press: Press) -> Tints:
    """Cyan, magenta, yellow and black for a screen colour.

    Parameters
    ----------
    colour : str
        "#rrggbb" or "#rgb".
    press : Press
        Its inks, and the limit that the sum of the tints is held to.

    Returns
    -------
    tuple of four floats
        Each 0 to 1. Three colours take the plain complement of the screen colour. With
        a black ink beside them, the grey that all three share is moved to it; with
        black alone the colour becomes a grey of its luminance.

    Notes
    -----
    A complement is no colour match and does not claim to be: what a toner really looks
    like over white on film is measured with the patches of the test print. It is used
    because it is reversible, keeps flat colours flat and gives the same tints on every
    machine, where a profile of some other printer would only be wrong in a finer way.
    """
    return hold(wanted_tints(colour, press), press.limit)


def wanted_tints(colour: str, press: Press) -> Tints:
    """Tints as `tints_of` gives them, before they are held to the limit."""
    red, green, blue = rgb_of(colour)
    if not press.has_colour:
        return 0.0, 0.0, 0.0, 1.0 - luminance(colour)
    cyan, magenta, yellow = 1.0 - red, 1.0 - green, 1.0 - blue
    black = min(cyan, magenta, yellow) if press.has_black else 0.0
    if black >= 1.0:
        return 0.0, 0.0, 0.0, 1.0
    share = 1.0 - black
    return (cyan - black) / share, (magenta - black) / share, (yellow - black) / share, black


def hold(tints: Tints, limit: float) -> Tints:
    """Tints whose sum is no more than `limit`: all are taken back in step, so that the hue stays."""
    total = sum(tints)
    if total <= limit:
        return tints
    cyan, magenta, yellow, black = (tint * limit / total for tint in tints)
    return cyan, magenta, yellow, black


def rgb_of(colour: str) -> tuple[float, float, float]:
    """Red, green and blue, each 0 to 1, of "#rrggbb" or "#rgb"."""
    digits = colour.lstrip("#")
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    red, green, blue = (int(digits[k : k + 2], 16) / 255.0 for k in (0, 2, 4))
    return red, green, blue


def luminance(colour: str) -> float:
    """Relative luminance of a screen colour, 0 to 1 (IEC 61966-2-1 curve, ITU-R BT.709 weights)."""
    return float(linear_light(np.array(rgb_of(colour))) @ LUMINANCE)


def linear_light(levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """Screen levels, 0 to 1, as shares of the light (IEC 61966-2-1)."""
    return np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4)
