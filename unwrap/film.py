"""The decal film and what it can take up."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Film:
    """What the film can take up without tearing or wrinkling.

    Parameters
    ----------
    stretch : float
        Largest elongation as a fraction: 0.04 lets 100 mm become 104 mm.
    compression : float
        Largest shortening as a fraction: 0.01 lets 100 mm become 99 mm.

    Raises
    ------
    ValueError
        If a fraction is negative, not finite, or as large as 1.

    Notes
    -----
    The three named states are common practice, no source: no measured curve for
    softened decal film was found. A dry lacquer film is commonly budgeted at 1 %
    (Feller and Curran, 1985, suggest 1 to 3 % at break for varnish coatings); the
    test print measures the film that is really used.
    """

    stretch: float
    compression: float

    def __post_init__(self) -> None:
        for name, value in (("stretch", self.stretch), ("compression", self.compression)):
            if not 0.0 <= value < 1.0:
                raise ValueError(f"film {name} is {value!r}; give a fraction from 0 to below 1, such as 0.03")

    @classmethod
    def floated(cls) -> Film:
        """Film floated on with water alone (common practice, no source)."""
        return cls(stretch=0.01, compression=0.005)

    @classmethod
    def set(cls) -> Film:
        """Film drawn down with setting solution (common practice, no source)."""
        return cls(stretch=0.03, compression=0.01)

    @classmethod
    def softened(cls) -> Film:
        """Film made limp with softening solution (common practice, no source)."""
        return cls(stretch=0.05, compression=0.02)

    @property
    def window(self) -> tuple[float, float]:
        """Smallest and largest film stretch (1.0 = none) that the film takes up."""
        return 1.0 - self.compression, 1.0 + self.stretch

    @property
    def ratio(self) -> float:
        """Largest over smallest film stretch inside the window."""
        low, high = self.window
        return high / low
