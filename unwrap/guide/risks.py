"""What usually goes wrong with large decals, and which pieces of this job invite it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from unwrap.guide.advice import LEAST_DETAIL
from unwrap.guide.order import Step
from unwrap.guide.report import per_cent
from unwrap.guide.whereabouts import counted
from unwrap.sheet.inks import luminance
from unwrap.sheet.piece import Piece
from unwrap.sheet.smallest_box import smallest_box

# Common practice, no source: pieces larger than this trap water in the middle (mm^2),
# longer than this for their width curl, and lines finer than this break when slid (mm).
LARGE = 1500.0
LONG = 8.0
FINE_LINE = 0.25
# A ground of less luminance than this shows a white rim at arm's length.
DARK = 0.12


@dataclass(frozen=True)
class Risk:
    """One thing that goes wrong: what it is, what to do, and who is at risk here and why."""

    name: str
    cure: str
    here: tuple[str, ...]


def risks(steps: Sequence[Step]) -> tuple[Risk, ...]:
    """The usual mishaps; those that this job invites first."""
    found = (
        Risk(
            "Silvering: a grey shine of air under the film",
            "Gloss the surface first. Prick the patch with a fine needle, flood it with setting solution "
            "and press.",
            _who(steps, _silvers),
        ),
        Risk(
            "Bubbles and trapped water",
            "Work from the middle outward. Prick what is left, and press the water out towards the hole.",
            _who(steps, _bubbles),
        ),
        Risk(
            "Fullness at an edge, and folds",
            "Do not press a fold flat. Soften, wait, dab; if it stays, slit it from the edge and let the "
            "lips lap.",
            _who(steps, _gathers),
        ),
        Risk(
            "Tears",
            "Never pull dry film. A tear from a slit's tip stops at a tiny round hole made before soaking.",
            _who(steps, _tears),
        ),
        Risk(
            "Pieces that curl up on themselves",
            "Slide them from the paper straight to the model, under water; cut long ones in two where a "
            "line hides it.",
            _who(steps, _curls),
        ),
        Risk(
            "Fine lines that break",
            "Let the print harden, seal it with a thin coat that the data sheet allows on decals, and "
            "slide without bending.",
            _who(steps, _breaks),
        ),
        Risk(
            "Lines that miss each other across a joint",
            "Lay the piece with the line that shows most first and slide the next one to it while it floats.",
            _who(steps, _misses),
        ),
        Risk(
            "White at the edges",
            "Touch the cut edge in with a paint of the same colour, thinned, before the lacquer.",
            _who(steps, _shows_white),
        ),
        Risk(
            "Wrinkles under lacquer",
            "Strong solvents lift film. Try the lacquer on the test print; then mist it on in thin coats, "
            "dry between.",
            _who(steps, _lifts),
        ),
    )
    return tuple(sorted(found, key=lambda risk: not risk.here))


def _who(steps: Sequence[Step], why: Callable[[Piece], str]) -> tuple[str, ...]:
    """Letters with their reason; pieces at risk for the same reason share one entry."""
    letters: dict[str, list[str]] = {}
    for step in steps:
        if reason := why(step.piece):
            letters.setdefault(reason, []).append(step.letter)
    return tuple(f"{', '.join(found)} ({reason})" for reason, found in letters.items())


def _silvers(piece: Piece) -> str:
    count = sum(d.kind != "hole" and abs(d.height) >= LEAST_DETAIL for d in piece.patch.details)
    return f"{counted(count, 'detail')} under the film" if count else ""


def _bubbles(piece: Piece) -> str:
    area = piece.outline.area
    return f"{area / 100:.0f} cm² in one piece" if area > LARGE else ""


def _gathers(piece: Piece) -> str:
    shrink = piece.flat.compression_figures.worst
    return f"must shrink by {per_cent(shrink)}" if shrink > 0.5 * piece.flat.film.compression else ""


def _tears(piece: Piece) -> str:
    grow = piece.flat.stretch_figures.worst
    if grow > 0.5 * piece.flat.film.stretch:
        return f"must stretch by {per_cent(grow)}"
    slits = max(len(piece.slits), len(piece.flat.cuts))
    return counted(slits, "slit") if slits else ""


def _curls(piece: Piece) -> str:
    box = smallest_box(piece.outline)
    short, long = sorted((box.along, box.across))
    return f"{long:.0f} mm long, {short:.1f} mm wide" if long > LONG * short else ""


def _breaks(piece: Piece) -> str:
    widths = [p.stroke or p.asked_width for p in piece.paints if p.kind in ("line", "band")]
    finest = min((w for w in widths if w), default=1.0)
    return f"lines of {finest:.2f} mm" if finest < FINE_LINE else ""


def _misses(piece: Piece) -> str:
    if not piece.patch.joints:
        return ""
    lined = any(p.kind in ("line", "band") for p in piece.paints)
    return "lines meet at its own joint" if lined else ""


def _shows_white(piece: Piece) -> str:
    dark = [p for p in piece.paints if p.kind == "fill" and luminance(p.colour) < DARK]
    return "a dark ground up to its edge" if dark else ""


def _lifts(piece: Piece) -> str:
    return "strained film lifts first" if piece.flat.cuts or not piece.flat.within else ""
