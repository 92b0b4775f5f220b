"""Flattening against libigl, as ratios in one run: time, energy, memory, growth, worst strain.

    python tests/bench/flatten.py [--sizes 2000 5000 20000 200000] [--slim 200000] [--shapes]

Every figure comes from a process of its own, so that memory is its own peak. Times are
processor seconds, which a busy machine disturbs least; up to REPEATED faces the least of
three runs counts, for every way alike, so that what a first call loads is left out.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import sys
import time
from pathlib import Path

import igl
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
import surfaces

from unwrap import Film
from unwrap.flatten import distortion_bound
from unwrap.flatten.energy import Work, energy, stretches
from unwrap.flatten.metric import metric_of
from unwrap.flatten.relax import relax

REPEATED = 50_000
WIDE, NARROW = Film(0.9, 0.9), Film(0.001, 0.001)


def patch(name, faces):
    count = round(0.5 * faces + 1.8 * faces**0.5)  # a disc has twice as many faces as points, less its rim
    v, f = {
        "cap 30": lambda: surfaces.cap(1.0, 30.0, count),
        "cap 60": lambda: surfaces.cap(1.0, 60.0, count),
        "cap 90": lambda: surfaces.cap(1.0, 90.0, count),
        "spheroid": lambda: surfaces.spheroid(count=count),
        "torus": lambda: surfaces.torus(count=count),
        "barrel end": lambda: surfaces.barrel_end(count=count),
        "nose": lambda: surfaces.nose(count=count),
        "saddle": lambda: surfaces.saddle(count=count),
    }[name]()
    return v / np.sqrt(metric_of(v, f).areas.sum()), f


def disc_start(v, f):
    ring = igl.boundary_loop(f)
    length = np.linalg.norm(v[np.roll(ring, -1)] - v[ring], axis=1)
    angle = 2 * np.pi * np.concatenate([[0.0], np.cumsum(length)[:-1]]) / length.sum()
    outline = np.column_stack([np.cos(angle), np.sin(angle)]) / np.sqrt(np.pi)
    return igl.harmonic(v, f, ring, outline, 1)


def slim(v, f, rounds):
    none = np.zeros(0, np.int64), np.zeros((0, 2))
    kind = igl.MappingEnergyType.SYMMETRIC_DIRICHLET
    return np.asarray(igl.slim_solve(igl.slim_precompute(v, f, disc_start(v, f), kind, *none, 0.0), rounds))


def arap(v, f, rounds):
    data = igl.ARAPData()
    data.max_iter = rounds
    hold = np.array([int(f[0, 0])], dtype=np.int64)
    start = disc_start(v, f)
    igl.arap_precomputation(v, f, 2, hold, data)
    return np.asarray(igl.arap_solve(start[hold], data, start))


def lscm(v, f, _):
    ring = igl.boundary_loop(f)
    hold = np.array([ring[0], ring[len(ring) // 2]], dtype=np.int64)
    flat = np.asarray(igl.lscm(v, f, hold, np.array([[0.0, 0.0], [1.0, 0.0]]))[0])
    s1, s2 = stretches(metric_of(v, f), flat)
    return flat / np.exp(0.5 * np.mean(np.log(s1) + np.log(np.abs(s2))))


def ours(v, f, thorough):
    return relax(v, f, NARROW if thorough else WIDE, thorough=thorough).points


WAYS = {
    "ours": (ours, False),
    "ours, worst strain": (ours, True),
    "SLIM 20": (slim, 20),
    "SLIM 200": (slim, 200),
    "ARAP 20": (arap, 20),
    "LSCM": (lscm, 0),
}


def measure(task):
    name, faces, way = task
    v, f = patch(name, faces)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    call, option = WAYS[way]
    runs = []
    for _ in range(3 if len(f) <= REPEATED else 1):
        start = time.process_time()
        flat = call(v, f, option)
        runs.append(time.process_time() - start)
    seconds = min(runs)
    peak = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    metric = metric_of(v, f)
    s1, s2 = stretches(metric, flat)
    ratio = float(s1.max() / s2.min()) if s2.min() > 0 else np.inf
    return len(f), seconds, energy(metric, metric.areas, Work(), flat), ratio, peak


def bound(task):
    return distortion_bound(*patch(*task))


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--sizes", type=int, nargs="*", default=[2000, 5000, 20000, 200000])
    parser.add_argument("--slim", type=int, default=200000, help="largest size that libigl is run on")
    parser.add_argument("--shapes", action="store_true", help="ratios on every test surface, 5000 faces")
    options = parser.parse_args()
    with multiprocessing.get_context("spawn").Pool(1, maxtasksperchild=1) as pool:

        def run(name, faces, way):
            return pool.apply(measure, ((name, faces, way),))

        growth = []
        print("cap of 60 degrees | faces | way | s | times ours | energy | over ours | MB | of ours")
        print("(worst strain: its stage alone takes the times ours less 1)")
        for size in options.sizes:
            base = run("cap 60", size, "ours")
            growth.append((base[0], base[1]))
            rows = [("ours", base), ("ours, worst strain", run("cap 60", size, "ours, worst strain"))]
            if size <= options.slim:
                rows += [(way, run("cap 60", size, way)) for way in ("SLIM 20", "ARAP 20", "LSCM")]
            for way, (faces, seconds, value, ratio, peak) in rows:
                print(
                    f"{faces:8d} | {way:18s} | {seconds:8.3f} | {seconds / base[1]:6.2f} | {value:.8f} |"
                    f" {value / base[2] - 1:+.1e} | {peak:6.0f} | {peak / max(base[4], 1.0):5.2f} |"
                    f" ratio {ratio:.4f}",
                    flush=True,
                )
        if len(growth) > 1:
            faces, seconds = np.log(np.array(growth)).T
            print(f"growth exponent of ours over all sizes: {np.polyfit(faces, seconds, 1)[0]:.2f}")
        if options.shapes:
            print("surface (5000 faces) | bound | stage / least work | largest over smallest stretch per way")
            for name in ("cap 30", "cap 60", "cap 90", "spheroid", "torus", "barrel end", "nose", "saddle"):
                least = pool.apply(bound, ((name, 5000),))
                found = [(way, run(name, 5000, way)) for way in WAYS]
                words = ", ".join(f"{way} {got[3]:.4f} (energy {got[2]:.6f})" for way, got in found)
                stage = found[1][1][1] / found[0][1][1] - 1.0
                print(f"{name:10s} | {least:.4f} | worst-strain stage {stage:.2f} | {words}", flush=True)


if __name__ == "__main__":
    main()
