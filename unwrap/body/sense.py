"""Does the body make sense: its size, its symmetry, its front and top."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from unwrap.body.body import Body

# Bodies of model vehicles from the smallest scales to garden scales, mm (common practice, no source).
SHORTEST, LONGEST = 15.0, 1500.0
USUAL = (30.0, 600.0)
SLIPS = (
    (25.4, "the file is in inches", 'units = "in"'),
    (10.0, "the file is in centimetres", 'units = "cm"'),
    (1000.0, "the file is in metres", 'units = "m"'),
    (1 / 25.4, "the file was scaled from inches twice", "scale it by 1/25.4"),
)


def likely_mistakes(body: Body) -> tuple[str, ...]:
    """Sentences on what about the body's size is likely a slip, with the likely fix.

    Parameters
    ----------
    body : Body

    Returns
    -------
    tuple of str
        Empty when nothing stands out.
    """
    longest = float(body.size.max())
    if SHORTEST <= longest <= LONGEST:
        return ()
    shown = (
        f"the body is {longest / 1000:.3g} m long" if longest > 1000 else f"the body is {longest:.3g} mm long"
    )
    for factor, why, fix in SLIPS:
        if USUAL[0] <= longest * factor <= USUAL[1]:
            return (f"{shown}: probably {why}; with {fix} it would be {longest * factor:.0f} mm",)
    if longest > LONGEST:
        return (f"{shown}, which is the size of the prototype: scale it down to the model's scale first",)
    return (f"{shown}, too small to be a model: check units",)


def mirror_deviation(body: Body, most: int = 5000) -> float:
    """How far the body is from its own reflection in the plane y = 0, mm.

    Parameters
    ----------
    body : Body
    most : int
        Vertices tried.

    Returns
    -------
    float
        95th percentile of the distance from a reflected vertex to the nearest vertex.
    """
    vertices = body.vertices[:: max(1, len(body.vertices) // most)]
    distance, _ = cKDTree(body.vertices).query(vertices * [1.0, -1.0, 1.0])
    return float(np.percentile(distance, 95))
