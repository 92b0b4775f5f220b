"""What a film disc laid on a ball must take up, in closed form."""

from __future__ import annotations

import numpy as np

from unwrap.film import Film

# Laws of table tennis of the International Table Tennis Federation, law 2.3.1: the ball
# is a sphere with a diameter of 40 mm (from memory, the text was not at hand).
BALL_DIAMETER = 40.0


def rim_shrink(disc: float, ball: float = BALL_DIAMETER) -> float:
    """How much the rim of a disc must shrink when it is pressed onto a ball, as a fraction.

    Parameters
    ----------
    disc, ball : float
        Diameters, mm.

    Notes
    -----
    a^2 / (8 R^2) for a disc of radius a on a sphere of radius R: an elastic film of any
    stiffness and Poisson ratio on a shallow sphere without friction (derived from plate
    theory; the rim's hoop stress is all there is at a free edge).
    """
    return (disc / ball) ** 2 / 8.0


def smallest_range(disc: float, ball: float = BALL_DIAMETER) -> float:
    """Smallest possible spread of stretch over a disc on a ball: largest over smallest, minus 1.

    Parameters
    ----------
    disc, ball : float
        Diameters, mm; the disc's radius lies along the ball.

    Notes
    -----
    alpha / sin alpha with alpha = a / R, which no way of laying the disc beats
    (J. Milnor, "A Problem in Cartography", Amer. Math. Monthly 76(10), 1969).
    """
    alpha = disc / ball
    return float(alpha / np.sin(alpha)) - 1.0


def film_of(disc: float, ball: float = BALL_DIAMETER) -> Film:
    """The take-up that a film has shown by lying on a ball without a wrinkle.

    Its rim has shrunk by `rim_shrink`, and since its stretches spread by no less than
    `smallest_range`, its middle has stretched by the rest.

    Parameters
    ----------
    disc, ball : float
        Diameters, mm.
    """
    compression = rim_shrink(disc, ball)
    stretch = (1.0 + smallest_range(disc, ball)) * (1.0 - compression) - 1.0
    return Film(stretch=max(stretch, 0.0), compression=compression)
