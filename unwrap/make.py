"""The one place that knows the whole way, from a job file to the files on disk.

Each step is a function of its own, so that the marking page takes the same steps one
at a time: `open_job`, then per region `mark_region`, `ready_patch`, `lay_flat`,
`dress` and `finish`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from unwrap.alongside import Alongside, timed
from unwrap.arrays import IntArray
from unwrap.bench import Bench, Dressed, Flattened, NumberedSet, Result
from unwrap.body.read import load_body
from unwrap.body.skin import outside_faces
from unwrap.body.thin import thin_flat
from unwrap.cut_cost import cut_cost
from unwrap.dress import dress
from unwrap.errors import BadInput
from unwrap.fittings import fittings_on, told_of_fittings, with_fittings
from unwrap.flatten.reflect import reflect_flat
from unwrap.guide.joint_entries import joint_entries, overlap_entries
from unwrap.guide.report import build_report
from unwrap.job import Job, read_job
from unwrap.job_regions import RegionMark
from unwrap.lay_flat import lay_flat, lay_flat_if_it_can
from unwrap.left_out import without
from unwrap.livery.along_joints import lines_along_joints
from unwrap.livery.carry import Carry
from unwrap.livery.joints import measure_joints
from unwrap.livery.overlaps import Plan, plan_overlaps
from unwrap.livery.paint import Paint
from unwrap.livery.sharing import share_edges
from unwrap.output import all_at_once
from unwrap.parting import BENEATH, over_reflected, told_of_parts, with_parts
from unwrap.progress import Stopwatch, Tell, silent
from unwrap.regions import default_bridge
from unwrap.regions.grow import grow_region
from unwrap.regions.mirror import reflect_patch
from unwrap.regions.patch import make_patch
from unwrap.regions.region import Patch, Region
from unwrap.regions.trim import Trim
from unwrap.relief.fitting import Fitting
from unwrap.results import WORTH_DRAWING, WRITTEN, begin_drawing, press_of, write_results
from unwrap.sheet.layout import lay_out
from unwrap.sheet.limits import press_remarks
from unwrap.sheet.outline import finish_piece
from unwrap.sheet.piece import Piece
from unwrap.soundness import flaws_that_matter, size_warnings

# A region of fewer faces is laid flat before a helper has begun.
WORTH_A_HELPER = 2000
# How far a piece runs on under another at a joint, mm: more than it is likely to slip (common
# practice, no source).
AT_JOINTS = 0.3


def make(
    job_path: str | Path, out_dir: str | Path, *, tell: Tell = silent, processes: int | None = None
) -> Result:
    """Make everything that a job asks for and write it into a folder.

    Parameters
    ----------
    job_path : path
        The job file.
    out_dir : path
        Where to write; all files at once, or none.
    tell : callable, optional
        Told what is being done and the share that is done.
    processes : int, optional
        How many processes work on it; one per processor where nothing is said. The result is
        the same.

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
    with all_at_once(out_dir, stale=WRITTEN) as staging, Alongside(processes) as crew:
        dressed = dress_pieces(bench, watch, tell, crew)
        drawing = begin_drawing(bench, dressed, staging, crew)
        result = lay_on_sheets(bench, dressed, watch, tell)
        report = write_results(bench, result, drawing, staging, watch, tell, crew)
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
    body = thin_flat(load_body(folder / source.file, units=source.units, front=source.front, up=source.up))
    return Bench(job, folder, body, outside_faces(body))


def make_pieces(bench: Bench, watch: Stopwatch, tell: Tell = silent, crew: Alongside | None = None) -> Result:
    """Every region of a job as a finished piece, placed on sheets; nothing is written."""
    return lay_on_sheets(bench, dress_pieces(bench, watch, tell, crew or Alongside(1)), watch, tell)


def dress_pieces(bench: Bench, watch: Stopwatch, tell: Tell, crew: Alongside) -> Dressed:
    """Every region of a job as a finished piece, once for each running number."""
    job, done, left_out = lay_all_flat(bench, watch, tell, crew)
    tell("laying the livery", 0.65)
    laid = share_edges([(part.patch, part.flat) for part in done.values()])
    done = {
        name: replace(part, patch=patch, flat=flat)
        for (name, part), (patch, flat) in zip(done.items(), laid, strict=True)
    }
    carries = {name: Carry(part.patch, part.flat) for name, part in done.items()}
    plan = plan_overlaps(
        list(carries.values()), [(name, over) for name, part in done.items() for over in part.over]
    )
    fittings = {name: fittings_on(job, part, bench.body, bench.folder) for name, part in done.items()}
    sets: list[tuple[str, tuple[Piece, ...]]] = []
    for index, told in enumerate(job.numbers or [""]):
        with watch("livery"):
            paints, said = dress(job, carries, bench.body, bench.folder, index, crew)
            if not sets:
                along = lines_along_joints(list(carries.values()), paints)
                remarks = [*told_of_fittings(job, done), *left_out, *said, *along]
        with watch("sheet"):
            sets.append((told, _finished(job, done, paints, plan, fittings, crew)))
    return Dressed(job, carries, plan, tuple(sets), tuple(remarks))


def _finished(
    job: Job,
    done: Mapping[str, Flattened],
    paints: Mapping[str, Sequence[Paint]],
    plan: Plan,
    fittings: Mapping[str, Sequence[Fitting]],
    crew: Alongside,
) -> tuple[Piece, ...]:
    """`finish` for every region, by whoever of the crew is free."""
    tasks = []
    for mark in job.region:
        part = done[mark.name]
        worth = len(part.flat.faces) > WORTH_A_HELPER
        tasks.append(
            crew.submit(
                finish,
                job,
                part,
                paints[mark.name],
                plan.edges_under(mark.name),
                fittings[mark.name],
                worth=worth,
            )
        )
    found = zip(done.values(), crew.results(tasks), strict=True)
    return tuple(replace(piece, patch=part.patch, flat=part.flat) for part, piece in found)


def lay_on_sheets(bench: Bench, dressed: Dressed, watch: Stopwatch, tell: Tell = silent) -> Result:
    """The finished pieces placed on sheets, and the report on them."""
    job, carries, plan = dressed.job, dressed.carries, dressed.plan
    tell("laying out the sheets", 0.72)
    sets: list[NumberedSet] = []
    for told, pieces in dressed.sets:
        with watch("sheet"):
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
    met = measure_joints(list(carries.values()), {piece.region: piece.paints for piece in first.pieces})
    report = build_report(
        first.pieces,
        first.sheets,
        joints=joint_entries(met),
        warnings=[*size_warnings(job, bench.body), *dressed.remarks],
        seconds=watch.seconds,
        # What a finer or a lighter livery would print better; nothing is wrong with the result.
        extra={
            "advice": [
                *told_of_parts(job),
                *flaws_that_matter(bench.body, {name: carry.patch for name, carry in carries.items()}),
                *press_remarks(first.pieces, press_of(job.print)),
            ],
            "overlaps": overlap_entries(plan),
        },
    )
    return Result(report, first.pieces, first.sheets, further=tuple(sets[1:]), plan=plan)


def lay_all_flat(
    bench: Bench, watch: Stopwatch, tell: Tell, crew: Alongside
) -> tuple[Job, dict[str, Flattened], list[str]]:
    """Every region laid flat, by name, and the job as it was made.

    Regions are marked one after another here, and laid flat by whoever of the crew is free.
    In the job that is returned, parted regions are replaced by their parts, and those of which
    no piece could be made are left out: the sentences say which, and why.
    """
    job = bench.job
    own = [mark for mark in job.region if mark.mirror_of is None]
    if len(bench.body.faces) > WORTH_DRAWING:  # its pictures will have a helper in any case
        crew.get_ready(lay_flat_if_it_can)
    tasks = []
    for number, mark in enumerate(own):
        tell(f"{mark.name}: marking", 0.05 + 0.2 * number / len(own))
        with watch("regions"):
            patch = ready_patch(job, mark, mark_region(bench, mark))
            weights = cut_cost(job, mark, patch, bench.body, bench.folder)
        worth = len(own) > 1 and len(patch.faces) > WORTH_A_HELPER
        tasks.append(crew.submit(timed, lay_flat_if_it_can, job, mark, patch, *weights, worth=worth))
    tell("flattening", 0.25)
    found = crew.results(
        tasks, lambda number: tell(f"{own[number].name}: flattening", 0.25 + 0.4 * number / len(own))
    )
    done: dict[str, Flattened] = {}
    for mark, ((parts, _), seconds) in zip(own, found, strict=True):
        watch.add("flatten", seconds)
        done |= {part.mark.name: part for part in parts}
        if len(parts) > 1:
            job = with_parts(job, mark.name, len(parts))
    job, left_out = without(
        job, {mark.name: why for mark, ((_, why), _) in zip(own, found, strict=True) if why}
    )
    for mark in job.region:
        if mark.mirror_of is not None:
            done[mark.name] = _reflected(bench, mark, done[mark.mirror_of], watch)
    return job, {mark.name: done[mark.name] for mark in job.region}, left_out


def flatten_mark(
    bench: Bench, mark: RegionMark, done: dict[str, Flattened], watch: Stopwatch
) -> list[Flattened]:
    """A marked region laid flat, or the reflection of one that was; several where it has to be parted."""
    if mark.mirror_of is not None:
        return [_reflected(bench, mark, done[mark.mirror_of], watch)]
    with watch("regions"):
        patch = ready_patch(bench.job, mark, mark_region(bench, mark))
    with watch("flatten"):
        return lay_flat(bench.job, mark, patch, *cut_cost(bench.job, mark, patch, bench.body, bench.folder))


def _reflected(bench: Bench, mark: RegionMark, original: Flattened, watch: Stopwatch) -> Flattened:
    with watch("regions"):
        patch = reflect_patch(bench.body, original.patch, mark.name)
    over = over_reflected(mark, original.mark, original.over)
    flat = reflect_flat(original.flat, bench.body.middle)
    return Flattened(mark, patch, flat, original.under, over)


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


def finish(
    job: Job,
    flattened: Flattened,
    paints: Sequence[Paint],
    under: IntArray | None = None,
    fittings: Sequence[Fitting] = (),
) -> Piece:
    """Outline, bleed and marks round a flat piece with its paints, and slits for the fittings on it.

    Along the edges `under` another piece, or another edge of this one, lies over it.
    """
    mark, patch, flat = flattened.mark, flattened.patch, flattened.flat
    bleed = job.bleed_of(mark)
    lap = job.original_of(mark).relief.lap
    piece = finish_piece(
        mark.name,
        mark.name,
        patch,
        flat,
        paints,
        bleed=bleed,
        lap=lap,
        under=under if under is not None else flattened.under,
        beneath=BENEATH if flattened.over else AT_JOINTS if under is not None and len(under) else 0.0,
        spares=mark.spares,
    )
    return with_fittings(replace(piece, under=flattened.over), fittings)
