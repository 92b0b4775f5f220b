"""Inks: what a colour is printed with, and what the printer is like."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

InkSet = Literal["cmyw", "cmykw", "cmyk"]
Tints = tuple[float, float, float, float]


@dataclass(frozen=True)
class Press:
    """The printer, as far as plates depend on it.

    Parameters
    ----------
    inks : str
        "cmyw": cyan, magenta, yellow and white, where black is built of the three
        colours; "cmykw": four colours and white; "cmyk": four colours on white film.
    face_down : bool
        True prints mirrored, colour first and white last, for film that is turned
        over onto the model; False prints white first, not mirrored.
    registration : float
        How far one ink may land beside another, mm.
    white_choke : float
        How far white stays inside the colour, mm.
    white_hits : int
        1, or 2 for a second layer of white.
    bare : frozenset of str
        Colours ("#rrggbb") and kinds of paint that stand on bare film.
    limit : float
        Most ink in one place, 3.0 = three full layers, white not counted. The default
        is a print house's example (REFERENCES: Consolidated Press, 280 %).
    min_built : float
        Lines of two or more inks narrower than this, mm, are flagged: half a point by
        the same house's rules.
    white_name, cut_name : str
        What the printer's software calls the white ink and the cutting line.
    scale_x, scale_y : float
        What to multiply drawn lengths by so that 100 mm comes out as 100 mm.
    """

    inks: InkSet = "cmyw"
    face_down: bool = True
    registration: float = 0.1
    white_choke: float = 0.15
    white_hits: int = 1
    bare: frozenset[str] = frozenset()
    limit: float = 2.8
    min_built: float = 0.18
    white_name: str = "White"
    cut_name: str = "Cut"
    scale_x: float = 1.0
    scale_y: float = 1.0

    @property
    def has_white(self) -> bool:
        """Whether there is a white ink."""
        return self.inks != "cmyk"

    @property
    def order(self) -> tuple[str, ...]:
        """The inks in the order in which they must reach the film."""
        colours = (
            ("cyan", "magenta", "yellow") if self.inks == "cmyw" else ("cyan", "magenta", "yellow", "black")
        )
        white = ("white",) * self.white_hits if self.has_white else ()
        return (*colours, *white) if self.face_down else (*white, *colours)


def tints_of(colour: str, inks: InkSet = "cmyw") -> Tints:
    """Cyan, magenta, yellow and black for a screen colour, each 0 to 1.

    Parameters
    ----------
    colour : str
        "#rrggbb".
    inks : str
        As in `Press`.

    Returns
    -------
    tuple of four floats
        The plain complement of the screen colour. Without a black ink the fourth is
        always 0; with one, the grey that all three share is moved to it.

    Notes
    -----
    A complement is no colour match and does not claim to be: what a toner really looks
    like on white over film is measured with the patches of the test print. It is used
    because it is reversible, keeps flat colours flat, and gives the same tints on every
    machine, where a profile of another printer would only be wrong in a finer way.
    """
    cyan, magenta, yellow = (1.0 - value for value in rgb_of(colour))
    if inks == "cmyw":
        return cyan, magenta, yellow, 0.0
    black = min(cyan, magenta, yellow)
    if black >= 1.0:
        return 0.0, 0.0, 0.0, 1.0
    share = 1.0 - black
    return (cyan - black) / share, (magenta - black) / share, (yellow - black) / share, black


def rgb_of(colour: str) -> tuple[float, float, float]:
    """Red, green and blue, each 0 to 1, of "#rrggbb" or "#rgb"."""
    digits = colour.lstrip("#")
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    red, green, blue = (int(digits[k : k + 2], 16) / 255.0 for k in (0, 2, 4))
    return red, green, blue
