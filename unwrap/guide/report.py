"""The report: every figure of a job, ready to be written as JSON."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from unwrap.flatten.flat_piece import StrainFigures
from unwrap.guide.strips import Stretch, joined, line_length, stretches
from unwrap.regions.region import Patch
from unwrap.sheet.marks import slit_mouths
from unwrap.sheet.piece import Piece
from unwrap.sheet.sheet import Sheet

# Nine significant digits keep a developable piece's 1e-7 of stretch and drop float noise.
DIGITS = 9


def build_report(
    pieces: Sequence[Piece],
    sheets: Sequence[Sheet] = (),
    *,
    joints: Sequence[Mapping[str, Any]] = (),
    warnings: Sequence[str] = (),
    seconds: Mapping[str, float] | None = None,
    extra: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """All figures of a job as plain dicts, lists, strings and finite floats.

    Parameters
    ----------
    pieces : sequence of Piece
        What was made, in the job's order.
    sheets : sequence of Sheet
        Where the copies lie; a piece reports the sheet of its first copy.
    joints : sequence of dict
        The regions that meet, and how well their lining does; see `joint_entries`.
    warnings : sequence of str
        What the other rooms found that needs the user.
    seconds : mapping of str to float
        Time per stage.
    extra : mapping, optional
        Further entries for the top level (the body's name, the film, ...).

    Returns
    -------
    dict
        `pieces`, `sheets`, `lining`, `strips_replaced`, `joints`, `warnings`, `seconds`
        and `extra`'s entries. Lengths in mm and areas in mm^2; strains as fractions; outlines not
        mirrored, in each piece's own plane.
    """
    report: dict[str, Any] = dict(extra or {})
    report["pieces"] = [_piece_entry(piece, sheets) for piece in pieces]
    report["sheets"] = [_sheet_entry(sheet) for sheet in sheets]
    report["lining"], report["strips_replaced"] = _lining_entries(pieces)
    report["joints"] = [dict(entry) for entry in joints]
    report["warnings"] = list(dict.fromkeys([*warnings, *piece_warnings(pieces)]))
    report["seconds"] = dict(seconds or {})
    return clean(report)


def piece_warnings(pieces: Sequence[Piece]) -> list[str]:
    """Say which pieces ask more of the film than it gives, one sentence each."""
    found = []
    for piece in pieces:
        flat = piece.flat
        if not flat.within:
            found.append(
                f"piece {piece.name} is beyond the film over {per_cent(flat.area_beyond)} of its area: it "
                f"must stretch by up to "
                f"{per_cent(flat.stretch_figures.worst)} and shrink by up to "
                f"{per_cent(flat.compression_figures.worst)} where the film takes "
                f"{per_cent(flat.film.stretch)} and {per_cent(flat.film.compression)}"
            )
            # How needle-like faces were measured is for the report, not for the screen.
            found.extend(f"piece {piece.name}: {note}" for note in flat.notes if "needle" not in note)
    return found


def summary_lines(report: Mapping[str, Any]) -> list[str]:
    """What `make` prints when it is done: one line a piece, then what needs the user."""
    rows = [("piece", "sheet", "area mm²", "stretch %", "shrink %", "bound", "relief cuts", "film")]
    for entry in report["pieces"]:
        cuts = entry["relief_cuts"]
        rows.append(
            (
                entry["name"],
                "-" if entry["sheet"] is None else str(entry["sheet"]),
                f"{entry['area_mm2']:.0f}",
                f"{100 * entry['stretch']['worst']:.2f}",
                f"{100 * entry['compression']['worst']:.2f}",
                f"{entry['bound']:.4f}",
                f"{cuts['count']} ({cuts['length_mm']:.1f} mm)" if cuts["count"] else "none",
                "takes it" if entry["within_film"] else "BEYOND",
            )
        )
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    numeric = {1, 2, 3, 4, 5}
    lines = [
        "  ".join(
            cell.rjust(width) if i in numeric else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
    if strips := report["strips_replaced"]["in_all"]:
        lines.append(f"Lining: {strips} separate strips saved.")
    gaps = [entry["mismatch_mm"] for entry in report["joints"]]
    if gaps:
        lines.append(f"Joints: lining meets within {max(gaps):.2f} mm at all {len(gaps)}.")
    lines.extend(f"Look at this: {warning}" for warning in report["warnings"])
    return lines


def clean(value: Any) -> Any:
    """Turn numpy values, tuples and non-finite numbers into what JSON can say."""
    if isinstance(value, Mapping):
        return {str(key): clean(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return clean(value.tolist())
    if isinstance(value, (list, tuple)):
        return [clean(item) for item in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None
    return value


def per_cent(fraction: float) -> str:
    """A strain for reading: two digits that matter, no more."""
    percent = 100.0 * fraction
    return f"{percent:.2f} %" if percent < 0.995 else f"{percent:.1f} %"


def _piece_entry(piece: Piece, sheets: Sequence[Sheet]) -> dict[str, Any]:
    flat = piece.flat
    return {
        "name": piece.name,
        "region": piece.region,
        "sheet": _first_sheet(piece, sheets),
        "copies": sum(p.piece.name == piece.name for sheet in sheets for p in sheet.placements),
        "area_mm2": piece.outline.area,
        "stretch": _figures(flat.stretch_figures),
        "compression": _figures(flat.compression_figures),
        "bound": flat.bound,
        "area_beyond": flat.area_beyond,
        "within_film": flat.within,
        "relief_cuts": {"count": len(flat.cuts), "length_mm": flat.cut_length},
        "fitting_slits": _fitting_slits(piece),
        "bridged": _bridged(piece.patch),
        "pierced": len(piece.pierce),
        "notes": list(flat.notes),
        "outline": _ring(piece.outline.exterior.coords),
        "openings": [_ring(ring.coords) for ring in piece.outline.interiors],
    }


def _first_sheet(piece: Piece, sheets: Sequence[Sheet]) -> int | None:
    placed = [
        (p.copy, sheet.number) for sheet in sheets for p in sheet.placements if p.piece.name == piece.name
    ]
    return min(placed)[1] if placed else None


def _figures(figures: StrainFigures) -> dict[str, float]:
    return {"worst": figures.worst, "p99": figures.p99, "mean": figures.mean}


def _fitting_slits(piece: Piece) -> int:
    """How many of a piece's slits are not relief cuts."""
    return max(len(slit_mouths(piece)) - len(piece.flat.cuts), 0)


def _bridged(patch: Patch) -> dict[str, float]:
    sizes = [max(abs(detail.height), detail.width) for detail in patch.details]
    return {"count": len(sizes), "largest_mm": max(sizes, default=0.0)}


def _ring(coords: Any) -> list[list[float]]:
    """A ring's corners once round, four decimals: 0.1 micrometre is below any printer."""
    points: NDArray[np.float64] = np.asarray(coords, dtype=float)[:-1, :2]
    return [[round(float(x), 4), round(float(y), 4)] for x, y in points]


def _sheet_entry(sheet: Sheet) -> dict[str, Any]:
    covered = sum(p.piece.outline.area for p in sheet.placements)
    return {
        "number": sheet.number,
        "width_mm": sheet.width,
        "height_mm": sheet.height,
        "copies": len(sheet.placements),
        "coverage": covered / (sheet.width * sheet.height),
    }


def _lining_entries(pieces: Sequence[Piece]) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """One entry per line of a region's line set, its parts added together; and the strips of all of them.

    A strip that runs on from region to region counts in each, and once in all.
    """
    groups: dict[tuple[str, str, float, str], list[float]] = defaultdict(list)
    strips: dict[tuple[str, str, float, str], list[Stretch]] = defaultdict(list)
    lines: dict[str, list[Stretch]] = defaultdict(list)
    for piece in pieces:
        for paint in piece.paints:
            if paint.kind in ("line", "band"):
                length, width = line_length(paint)
                key = (piece.region, paint.colour, round(width, 2), paint.label)
                parts = stretches(paint, piece)
                groups[key].append(length)
                strips[key] += parts
                lines[paint.label] += parts
    regions: dict[str, int] = defaultdict(int)
    for key, parts in strips.items():
        regions[key[0]] += joined(parts)
    entries = [
        {
            "region": key[0],
            "label": key[3],
            "colour": key[1],
            "width_mm": key[2],
            "length_mm": sum(lengths),
            "strips_replaced": joined(strips[key]),
        }
        for key, lengths in groups.items()
    ]
    return entries, {"in_all": sum(map(joined, lines.values())), "regions": dict(regions)}
