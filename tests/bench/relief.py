"""Relief cuts against the best even set of radial slits, and their time against one flattening.

    python tests/bench/relief.py [names] [--faces 3000]

For every surface all even sets of straight slits from the outer edge towards its
deepest point are tried one by one, counts 1 to 10 at four turns each (1 to 16 at eight where
there are openings: a slit that meets one ends there and goes on at its other side), with the
least depth that brings a coarse copy within the film; the shortest are then cut into the real
mesh and deepened there until it is within. The planner's total is given over the
shortest of these. With `--restarts` as many sets of slits with feet, depths and counts drawn by lot,
the one edge as likely as the other, are settled as well and the best of them finished: how near the
planner comes to the best that can be found at ten times its effort. Times are processor seconds,
and multiples of one flattening of the same patch without cuts.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from boards import board_of
from surfaces import barrel_end, cap, compact, nose, torus, without

from unwrap.film import Film
from unwrap.flatten import flatten
from unwrap.relief import relieve
from unwrap.relief.finish import deepen, finish
from unwrap.relief.plan import even_slits, heart, led_through
from unwrap.relief.settle import settle
from unwrap.relief.slit import Slit

# Total length of the best even set over the sphere's radius, found by trying all of them.
CAPS = {(45, 1.03): 1.77, (45, 1.05): 0.98, (45, 1.08): 0.54, (45, 1.12): 0.0}
CAPS |= {(60, 1.03): 3.98, (60, 1.05): 2.47, (60, 1.08): 1.52, (60, 1.12): 0.98}


def window(ratio):
    """A film with this window ratio, the same room to both sides in ln."""
    half = np.sqrt(ratio)
    return Film(half - 1.0, 1.0 - 1.0 / half)


def tilted_spheroid(count):
    """Half of a prolate spheroid cut off by a plane that leans by 35 degrees."""
    import trimesh

    v, f = cap(1.0, 100.0, count)
    v = v * np.array([18.0, 18.0, 30.0])
    lean = np.radians(35.0)
    normal = np.array([np.sin(lean), 0.0, np.cos(lean)])
    mesh = trimesh.intersections.slice_mesh_plane(trimesh.Trimesh(v, f, process=False), normal, 6.0 * normal)
    mesh.merge_vertices()
    return compact(np.asarray(mesh.vertices, float), np.asarray(mesh.faces))


def windowed_nose(count):
    """The nose with two window openings."""
    v, f = nose(count=count)
    unit = v / np.linalg.norm(v, axis=1, keepdims=True)
    middles = [v[np.argmax(unit @ np.array([0.75, 0.5 * side, 0.35]))] for side in (-1, 1)]
    return without(v, f, np.array(middles), [3.5, 3.5])


def oval_end(count):
    """The dished end of an oval tank."""
    v, f = barrel_end(length=2.0, count=count)
    return v * np.array([1.0, 0.7, 1.0]), f


def filled_end(count):
    """The round dished end with a filler hole off its middle."""
    v, f = barrel_end(length=2.0, count=count)
    middle = v[np.argmin(np.linalg.norm(v[:, :2] - [9.0, 4.0], axis=1) - 0.01 * v[:, 2])]
    return without(v, f, middle[None], [4.0])


SHAPES = {
    "nose": lambda n: nose(count=n),
    "torus quarter": lambda n: torus(count=n),
    "dished end": lambda n: barrel_end(length=2.0, count=n),
    "dished end with wall": lambda n: barrel_end(length=15.0, count=n),
    "oval end": oval_end,
    "end with a filler": filled_end,
    "leaning spheroid": tilted_spheroid,
    "nose with windows": windowed_nose,
}


def best_even_set(uncut, film):
    """Shortest total of an even set of radial slits on the real mesh, mm, its count, and its reach.

    Where none is within the film, the one that comes nearest; its reach is then above 1.
    """
    board, ground = board_of(uncut, film)
    middle = heart(board)
    openings = len(board.edges) > 1
    tried = []
    for count in range(1, 17 if openings else 11):
        for turn in np.arange(8) / 8.0 if openings else np.arange(4) / 4.0:
            trial = just_deep_enough(
                board,
                lambda d, n=count, t=turn: led_through(
                    board.edges, even_slits(board.edges[0], middle, n, d, t)
                ),
                0.94,
            )
            tried.append(trial)
    tried = [t for t in tried if np.isfinite(t.need)]
    reached = sorted((t for t in tried if t.reaches(0.94)), key=lambda t: t.cost)
    best, slits, reach = np.inf, 0, np.inf
    # What comes near on the coarse copy may be within on the real mesh.
    for trial in reached[:8] or sorted(tried, key=lambda t: t.need)[:12]:
        if trial.cost > 1.1 * best:
            break
        for deeper in (1.0, 1.04, 1.08, 1.12):
            found, *_ = deepen(ground, trial.slits, film, tries=8, factor=deeper)
            if found is not None and found.good:
                break
        if found is None or found.overlap:
            continue
        one = found.reach if not found.good else 1.0
        if (one, found.piece.cut_length) < (reach, best):
            best, slits, reach = found.piece.cut_length, len(trial.slits), one
    return best, slits, reach


def just_deep_enough(board, slits, target):
    """The trial of a family of slits, by depth, at which the need meets the target."""
    low, high = 0.0, 0.96
    deep = board.attempt(slits(high))
    while not np.isfinite(deep.need) and high > 0.4:  # the tips of many slits crowd round the heart
        high *= 0.88
        deep = board.attempt(slits(high))
    if not deep.need < target:
        return deep
    need = {0.0: board.attempt(()).need, high: deep.need}
    best = deep
    for _ in range(5):
        # False position on the logarithm, kept away from the ends.
        a, b = np.log(need[low] / target), np.log(need[high] / target)
        share = float(np.clip(a / (a - b), 0.15, 0.85))
        depth = low + share * (high - low)
        trial = board.attempt(slits(depth))
        need[depth] = trial.need if np.isfinite(trial.need) else 10.0 * target
        if need[depth] <= target:
            high, best = depth, trial
        else:
            low = depth
        if target * 0.98 < need[high] <= target:
            break
    return best


def best_by_lot(uncut, film, restarts):
    """Shortest total found from beginnings drawn by lot, mm."""
    board, ground = board_of(uncut, film)
    rng = np.random.default_rng(0)
    middle, tried = heart(board), []
    while len(tried) < restarts:
        slits = []
        for _ in range(rng.integers(1, 9)):
            edge = board.edges[rng.integers(len(board.edges))] if rng.random() < 0.5 else board.edges[0]
            start = rng.uniform(0.0, edge.length)
            aim = middle + rng.normal(0.0, 0.25, 2) * np.ptp(board.edges[0].ring, axis=0)
            tip = edge.point(start) + rng.uniform(0.2, 0.9) * (aim - edge.point(start))
            slits.append(Slit(edge, start, tip))
        if not board.mesher.at_fault(tuple(slits)).any():
            tried.append(settle(board, board.attempt(tuple(slits)), 0.94, rounds=60))
    tried = sorted((t for t in tried if t.reaches(0.94)), key=lambda t: t.cost)
    found = [finish(board, [t], ground, film)[0] for t in tried[:4]]
    return min((f.piece.cut_length for f in found if f is not None and f.good), default=np.inf)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*")
    parser.add_argument("--faces", type=int, default=3000)
    parser.add_argument("--no-even", action="store_true")
    parser.add_argument("--restarts", type=int, default=0)
    options = parser.parse_args()
    wanted = [
        (f"cap {a} ratio {r}", (lambda n, a=a: cap(20.0, a, n)), window(r), 20.0 * x)
        for (a, r), x in CAPS.items()
    ]
    wanted += [(name, make, Film.softened(), None) for name, make in SHAPES.items()]
    print(
        "surface | faces | uncut stretch/compression % | slits | total mm | even set mm (count) | over | worst after % | s | flattenings"
    )
    for name, make, film, known in wanted:
        if options.names and not any(part in name for part in options.names):
            continue
        v, f = make(options.faces // 2)
        start = time.process_time()
        uncut = flatten(v, f, film)
        once = time.process_time() - start
        start = time.process_time()
        piece = relieve(v, f, film)
        spent = time.process_time() - start
        even, count, reach = (
            (known, "table", 1.0) if known is not None or options.no_even else best_even_set(uncut, film)
        )
        if reach > 1.0:
            count = f"{count}, the nearest: none is within, {reach:.2f} of the film's take-up"
        lot = f" | by lot {best_by_lot(uncut, film, options.restarts):.2f}" if options.restarts else ""
        over = piece.cut_length / even if even else (0.0 if piece.cut_length == 0.0 else np.inf)
        print(
            f"{name} | {len(f)} | {100 * uncut.stretch_figures.worst:.1f}/{100 * uncut.compression_figures.worst:.1f} | "
            f"{len(piece.cuts)} | {piece.cut_length:.2f} | {even or 0:.2f} ({count}) | {over:.2f} | "
            f"{100 * piece.stretch_figures.worst:.1f}/{100 * piece.compression_figures.worst:.1f} "
            f"{'within' if piece.within else 'BEYOND'} | {spent:.1f} | {spent / once:.1f}{lot}",
            flush=True,
        )


if __name__ == "__main__":
    main()
