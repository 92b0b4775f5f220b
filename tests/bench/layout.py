"""Coverage of the layout against plain placing of bounding boxes, and its time.

Run as a script: `python tests/bench/layout.py [JOB ...]`; without a job it lays out the
hand-made pieces of the sheet tests.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "sheet"))

from sheet_pieces import mixed_pieces

from unwrap.sheet.layout import FOOT, SIDE, coverage, lay_out, placed_shapes
from unwrap.sheet.piece import Piece
from unwrap.sheet.smallest_box import smallest_box
from unwrap.sheet.standing import printed_shape


def box_coverage(pieces, width, height, margin, gap):
    """Boxes on shelves, tallest first, each turned to lie on its longer side: the usual plain way.

    Returns
    -------
    sheets : int
    coverage : float
        Piece area over the strip used up, counted as `coverage` counts it.
    """
    room_w, room_h = width - 2 * margin - SIDE, height - 2 * margin - FOOT
    boxes = []
    for piece in pieces:
        # The smallest box of each piece, not the one it happens to lie in.
        box = smallest_box(printed_shape(piece))
        long, short = max(box.along, box.across), min(box.along, box.across)
        w, h = (long, short) if long <= room_w else (short, long)
        boxes += [(h, w, piece.outline.area)] * (piece.spares + 1)
    boxes.sort(reverse=True)
    sheets, shelves, used, area, total_used = 1, [], 0.0, 0.0, 0.0
    for h, w, a in boxes:
        for shelf in shelves:
            if shelf[0] + w <= room_w:
                shelf[0] += w + gap
                break
        else:
            start = used + (gap if shelves else 0.0)
            if start + h > room_h:
                total_used += room_h + FOOT
                sheets, shelves, start = sheets + 1, [], 0.0
            shelves.append([w + gap])
            used = start + h
        area += a
    total_used += used
    return sheets, area / (total_used * (width - 2 * margin))


def compare(name: str, pieces: list[Piece], size, margin, gap, grain=False) -> None:
    began = time.perf_counter()
    sheets = lay_out(pieces, *size, margin, gap, grain=grain)
    seconds = time.perf_counter() - began
    area = sum(place.piece.outline.area for sheet in sheets for place in sheet.placements)
    full = sum((s.width - 2 * s.margin) * (s.height - 2 * s.margin) for s in sheets[:-1])
    last = sheets[-1]
    lowest = min(shape.bounds[1] for shape in placed_shapes(last))
    ours = area / (full + (last.width - 2 * margin) * (last.height - margin - lowest))
    box_sheets, boxes = box_coverage(pieces, *size, margin, gap)
    print(
        f"{name:24s} {size[0]:g}x{size[1]:g} {len(pieces):3d} pieces: {len(sheets)} sheets, "
        f"coverage {ours:.3f} (last sheet {coverage(last):.3f}); boxes {box_sheets} sheets, {boxes:.3f}; "
        f"ratio {ours / boxes:.2f}; {seconds:.1f} s",
        flush=True,
    )


if __name__ == "__main__":
    if len(sys.argv) == 1:
        compare("mixed", mixed_pieces(), (210.0, 297.0), 5.0, 3.0)
        compare("mixed", mixed_pieces(), (148.0, 210.0), 5.0, 3.0)
        compare("mixed, grain", mixed_pieces(), (210.0, 297.0), 5.0, 3.0, grain=True)
        compare("mixed on small sheets", mixed_pieces(), (105.0, 148.0), 5.0, 2.0)
    for path in sys.argv[1:]:
        from unwrap.make import make_pieces, open_job
        from unwrap.progress import Stopwatch

        bench = open_job(path)
        pieces = make_pieces(bench, Stopwatch()).pieces
        wish = bench.job.print
        compare(Path(path).parent.name, pieces, wish.size, wish.margin, wish.gap, wish.grain)
