"""The one place that knows the whole way, from a job file to the files on disk.

Each step is a function of its own, so that the marking page takes the same steps one
at a time: `open_job`, then per region `mark_region`, `ready_patch`, `lay_flat`,
`dress` and `finish`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from unwrap.bench import Bench, Flattened, NumberedSet, Result
from unwrap.body.read import load_body
from unwrap.body.skin import outside_faces
from unwrap.cut_cost import cut_cost
from unwrap.dress import dress
from unwrap.errors import BadInput
from unwrap.flatten import flatten
from unwrap.flatten.flat_piece import FlatPiece
from unwrap.flatten.overlap import overlaps
from unwrap.flatten.reflect import reflect_flat
from unwrap.guide.report import build_report
from unwrap.job import FittingMark, Job, RegionMark, read_job
from unwrap.livery.along_joints import lines_along_joints
from unwrap.livery.carry import Carry
from unwrap.livery.joints import Mismatch, measure_joints
from unwrap.livery.paint import Paint
from unwrap.output import all_at_once
from unwrap.progress import Stopwatch, Tell, silent
from unwrap.regions import default_bridge
from unwrap.regions.grow import grow_region
from unwrap.regions.mirror import reflect_patch
from unwrap.regions.nearest import nearest_on_faces
from unwrap.regions.patch import make_patch
from unwrap.regions.region import Patch, Region
from unwrap.regions.trim import Trim
from unwrap.relief import relieve
from unwrap.relief.fitting import fitting_slit
from unwrap.results import WRITTEN, press_of, write_results
from unwrap.sheet.layout import lay_out
from unwrap.sheet.limits import press_remarks
from unwrap.sheet.outline import finish_piece
from unwrap.sheet.piece import Piece


def make(job_path: str | Path, out_dir: str | Path, *, tell: Tell = silent) -> Result:
    """Make everything that a job asks for and write it into a folder.

    Parameters
    ----------
    job_path : path
        The job file.
    out_dir : path
        Where to write; all files at once, or none.
    tell : callable, optional
        Told what is being done and the share that is done.

    Returns
    -------
    Result

    Raises
    ------
    BadInput
        If the job or the body cannot be used; nothing is written then.
    """
    watch = Stopwatch()
    tell("reading the body", 0.0)
    with watch("read"):
        bench = open_job(job_path)
    with all_at_once(out_dir, stale=WRITTEN) as staging:
        result = make_pieces(bench, watch, tell)
        report = write_results(bench, result, staging, watch, tell)
        names = sorted(path.relative_to(staging) for path in staging.rglob("*") if path.is_file())
    tell("done", 1.0)
    return replace(result, report=report, files=tuple(Path(out_dir) / name for name in names))


def open_job(path: str | Path) -> Bench:
    """Read a job file and the body that it names."""
    path = Path(path)
    return lay_out_bench(read_job(path), path.parent)


def lay_out_bench(job: Job, folder: Path) -> Bench:
    """Read the body that a job names and find its outside."""
    source = job.body
    body = load_body(folder / source.file, units=source.units, front=source.front, up=source.up)
    return Bench(job, folder, body, outside_faces(body))


def make_pieces(bench: Bench, watch: Stopwatch, tell: Tell = silent) -> Result:
    """Every region of a job as a finished piece, placed on sheets; nothing is written."""
    job = bench.job
    done: dict[str, Flattened] = {}
    # Reflections come after what they reflect, whatever their order in the file.
    marks = sorted(job.region, key=lambda mark: mark.mirror_of is not None)
    for number, mark in enumerate(marks):
        share = 0.05 + 0.6 * number / len(marks)
        tell(f"{mark.name}: flattening", share)
        flattened = flatten_mark(bench, mark, done, watch)
        done[mark.name] = flattened
    tell("laying the livery", 0.65)
    carries = {name: Carry(part.patch, part.flat) for name, part in done.items()}
    sets: list[NumberedSet] = []
    for index, told in enumerate(job.numbers or [""]):
        with watch("livery"):
            paints, said = dress(job, carries, bench.body, bench.folder, index)
            if not sets:
                remarks = [*said, *lines_along_joints(list(carries.values()), paints)]
                met = measure_joints(list(carries.values()), paints)
        tell("laying out the sheets", 0.72)
        with watch("sheet"):
            pieces = tuple(finish(job, done[mark.name], paints[mark.name]) for mark in job.region)
            settings = job.print
            sheets = lay_out(
                pieces,
                *settings.size,
                settings.margin,
                settings.gap,
                grain=settings.grain,
                in_hand=settings.in_hand,
            )
        sets.append(NumberedSet(told, pieces, sheets))
    first = sets[0]
    report = build_report(
        first.pieces,
        first.sheets,
        joints=worst_per_joint(met),
        warnings=remarks,
        seconds=watch.seconds,
        # What a finer or a lighter livery would print better; nothing is wrong with the result.
        extra={"advice": press_remarks(first.pieces, press_of(job.print))},
    )
    return Result(report, first.pieces, first.sheets, further=tuple(sets[1:]))


def worst_per_joint(met: Sequence[Mismatch]) -> list[tuple[tuple[str, str], float]]:
    """The regions that meet at each joint or cut, and the largest offset of a line there, mm."""
    worst: dict[tuple[str, str], float] = {}
    for one in met:
        worst[one.between] = max(one.place_mm, worst.get(one.between, 0.0))
    return list(worst.items())


def flatten_mark(bench: Bench, mark: RegionMark, done: dict[str, Flattened], watch: Stopwatch) -> Flattened:
    """A marked region laid flat, or the reflection of one that was."""
    if mark.mirror_of is not None:
        original = done[mark.mirror_of]
        with watch("regions"):
            patch = reflect_patch(bench.body, original.patch, mark.name)
        return Flattened(mark, patch, reflect_flat(original.flat))
    with watch("regions"):
        patch = ready_patch(bench.job, mark, mark_region(bench, mark))
    with watch("flatten"):
        return Flattened(mark, patch, lay_flat(bench.job, mark, patch))


def bridge_of(job: Job, mark: RegionMark) -> float:
    """Size up to which details are carried over, mm."""
    return mark.bridge if mark.bridge is not None else default_bridge(job.job.scale)


def mark_region(bench: Bench, mark: RegionMark) -> Region:
    """Grow the region that is marked."""
    if mark.at is None:
        raise BadInput(f'region "{mark.name}": no place given; add at = [x, y, z].')
    return grow_region(
        bench.body,
        mark.name,
        mark.at,
        crease=mark.crease,
        within=mark.within.as_dict(),
        outside=bench.outside,
        bridge=bridge_of(bench.job, mark),
        also=mark.also,
        less=mark.less,
        trims=[Trim(trim.view, np.array(trim.corners), trim.keep is not None) for trim in mark.trim],
    )


def ready_patch(job: Job, mark: RegionMark, region: Region) -> Patch:
    """Bridge a region's details, see to its openings and open it along a joint."""
    return make_patch(region, bridge=bridge_of(job, mark), openings=mark.openings, joint=mark.joint)


def lay_flat(job: Job, mark: RegionMark, patch: Patch) -> FlatPiece:
    """Flatten a patch, with relief cuts where the film needs them."""
    cost, keep_clear = cut_cost(job, mark, patch)
    flat = relieve(
        patch.vertices,
        patch.faces,
        job.film_of(mark),
        cost=cost,
        keep_clear=keep_clear,
        most=mark.relief.most,
    )
    if not flat.within and overlaps(flat.points, flat.faces):
        raise BadInput(
            f"region '{mark.name}': it curves so much that every flat shape found lies over itself; "
            "trim it with within, or mark it as two regions."
        )
    return flat


def lay_flat_at_once(job: Job, mark: RegionMark, patch: Patch) -> FlatPiece:
    """A patch's first flat shape, without cuts: least work, whatever the film says to its worst."""
    return flatten(patch.vertices, patch.faces, job.film_of(mark), thorough=False)


def finish(job: Job, flattened: Flattened, paints: Sequence[Paint]) -> Piece:
    """Outline, bleed and marks round a flat piece with its paints, and slits for the fittings on it."""
    mark, patch, flat = flattened.mark, flattened.patch, flattened.flat
    bleed = job.bleed_of(mark)
    lap = job.original_of(mark).relief.lap
    piece = finish_piece(mark.name, mark.name, patch, flat, paints, bleed=bleed, lap=lap, spares=mark.spares)
    on_it = [fitting for fitting in job.fitting if _stands_on(fitting, patch)]
    if not on_it:
        return piece
    cost, keep_clear = cut_cost(job, mark, patch)
    found = [
        fitting_slit(flat, fitting.at, fitting.diameter, cost=cost, keep_clear=keep_clear)
        for fitting in on_it
    ]
    return replace(
        piece,
        pierce=np.vstack([piece.pierce, *(one.hole[None] for one in found)]),
        slits=(*piece.slits, *(one.slit for one in found if len(one.slit))),
    )


def _stands_on(fitting: FittingMark, patch: Patch) -> bool:
    at = np.asarray(fitting.at)
    _, _, distance = nearest_on_faces(patch.vertices[patch.faces], at)
    return distance <= max(0.5, 0.5 * fitting.diameter)
