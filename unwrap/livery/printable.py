"""What the printer can hold: lines and gaps no narrower than its minimum."""

from __future__ import annotations

from collections.abc import Sequence

Line = tuple[float, str | None]


def fit_to_printer(
    lines: Sequence[Line], min_line: float, min_gap: float, name: str
) -> tuple[tuple[Line, ...], tuple[str, ...]]:
    """Thicken lines and open gaps that the printer cannot hold.

    What they gain is taken from the others of the set in proportion to what each has
    above its own minimum, so that the set keeps its width; where the others have too
    little to give, the set becomes wider.

    Parameters
    ----------
    lines : sequence of (float, str or None)
        Width in mm and colour, None for a gap, outermost first.
    min_line, min_gap : float
        mm; 0 for no limit.
    name : str
        What the set belongs to, for the remarks.

    Returns
    -------
    lines : tuple of (float, str or None)
    remarks : tuple of str
        One sentence per line or gap that was changed to the minimum, and one where the
        whole set became wider.
    """
    least = [min_line if colour is not None else min_gap for _, colour in lines]
    asked = [width for width, _ in lines]
    given = [max(width, low) for width, low in zip(asked, least, strict=True)]
    gain = sum(given) - sum(asked)
    spare = [max(width - low, 0.0) for width, low in zip(asked, least, strict=True)]
    if gain > 1e-12 and sum(spare) > 0:
        share = min(gain / sum(spare), 1.0)
        given = [width - share * extra for width, extra in zip(given, spare, strict=True)]
    remarks = []
    for number, ((width, colour), low) in enumerate(zip(lines, least, strict=True), start=1):
        if width < low - 1e-9:
            what, did = ("line", "thickened") if colour is not None else ("gap", "opened")
            shade = f" ({colour})" if colour is not None else ""
            remarks.append(
                f"{name}: {what} {number}{shade} of {width:.3g} mm is below what the printer holds "
                f"and was {did} to {low:.3g} mm."
            )
    if remarks and sum(given) > sum(asked) + 1e-6:
        remarks.append(
            f"{name}: the whole set is {sum(given):.3g} mm wide instead of {sum(asked):.3g} mm, "
            "because its other lines and gaps had no width to give."
        )
    return tuple((w, colour) for w, (_, colour) in zip(given, lines, strict=True)), tuple(remarks)
