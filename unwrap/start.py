"""`unwrap start`: a first job file with a region for each large outer surface, and the view drawings."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from concurrent.futures import Future
from pathlib import Path

import numpy as np

from unwrap.body.body import Body
from unwrap.body.read import load_body
from unwrap.errors import BadInput
from unwrap.job_messages import checked_name
from unwrap.look import Found, asked_scale, begin_views, looked_at, survey
from unwrap.output import all_at_once
from unwrap.progress import Tell, silent
from unwrap.regions.surfaces import Surface

# A surface is worth a region from this share of the outside's area on, and a first job
# lists no more than so many.
LEAST_SHARE = 0.012
MOST = 16
# Two surfaces are taken for each other's reflection where their areas and the places
# of their middles agree to these.
SAME_AREA, SAME_PLACE = 0.01, 0.3
# A surface that looks this steeply down is seen by nobody.
DOWN = -0.7

DIRECTIONS = {
    "left": (0.0, 1.0, 0.0),
    "right": (0.0, -1.0, 0.0),
    "front": (1.0, 0.0, 0.0),
    "rear": (-1.0, 0.0, 0.0),
    "top": (0.0, 0.0, 1.0),
}


def start_job(
    path: Path,
    out_dir: Path,
    scale: str,
    units: str,
    front: str,
    up: str,
    tell: Tell = silent,
    reading: Future[Body] | None = None,
) -> list[str]:
    """Write a first job file and the five view drawings into a folder.

    Parameters
    ----------
    path : Path
        The body.
    out_dir : Path
        Where to write `job.toml` and `view-*.svg`.
    scale, units, front, up : str
        As in the job file.
    tell : callable, optional
        Told what is being done.
    reading : Future of Body, optional
        The body, where somebody has begun to read it so.

    Returns
    -------
    list of str
        What to say on the screen.

    Raises
    ------
    BadInput
        If the body or the scale cannot be used, or the folder holds a job already.
    """
    ratio = asked_scale(scale)
    job = out_dir / "job.toml"
    if job.exists():
        raise BadInput(f"{job}: there is a job already; name another folder with --out.")
    file = _from_folder(path, out_dir)
    tell("reading", 0.0)
    body = reading.result() if reading else load_body(path, units=units, front=front, up=up)
    with all_at_once(out_dir) as staging, looked_at(body, front, up) as sight:
        views = begin_views(sight, staging)
        found = survey(sight, units, front, up, ratio, tell)
        large, text = _first_job(found, path.stem, file, scale, (units, front, up))
        (staging / "job.toml").write_text(text, encoding="utf-8")
        for view in views:
            view.result()
    return [
        *(f"Look at this: {mistake}" for mistake in found.mistakes),
        f"{job}: a first job with {large} regions, to be edited; the views to draw on lie beside it.",
        f"Next: unwrap make {job} --out {out_dir / 'out'}",
    ]


def _from_folder(path: Path, folder: Path) -> str:
    """Where a body is, as a job file in the folder names it."""
    try:
        way = Path(os.path.relpath(path, folder))
    except ValueError:  # another drive
        way = path.resolve()
    return checked_name(way.as_posix())


def _first_job(found: Found, name: str, file: str, scale: str, how: tuple[str, str, str]) -> tuple[int, str]:
    """How many regions a first job has, and its text."""
    whole = sum(surface.area for surface in found.surfaces)
    large = [s for s in found.surfaces if s.area >= LEAST_SHARE * whole and s.normal[2] > DOWN][:MOST]
    centres = [
        np.average(found.body.corners[s.faces].mean(axis=1), axis=0, weights=found.body.areas[s.faces])
        for s in large
    ]
    twins = _reflections(large, centres, found.body.middle)
    return len(large), _job_text(name, file, scale, how, large, twins)


def _reflections(surfaces: Sequence[Surface], centres: Sequence[np.ndarray], middle: float) -> dict[int, int]:
    """For each surface that reflects an earlier one in the body's middle plane: which."""
    twins: dict[int, int] = {}
    for second, surface in enumerate(surfaces):
        for first in range(second):
            alike = abs(surfaces[first].area - surface.area) <= SAME_AREA * surface.area
            over = centres[first] * [1.0, -1.0, 1.0] + [0.0, 2 * middle, 0.0]
            apart = np.linalg.norm(over - centres[second])
            aside = abs(centres[second][1] - middle) > SAME_PLACE
            if alike and aside and apart <= SAME_PLACE and first not in twins and first not in twins.values():
                twins[second] = first
                break
    return twins


def region_name(surface: Surface) -> str:
    """A name that tells where a surface is: ``left-C``, ``barrel-H``, ``dome-R``."""
    if surface.kind == "cylinder" and surface.axis is not None and abs(surface.axis[0]) > 0.9:
        where = "barrel"
    elif surface.kind == "domed":
        where = "dome"
    else:
        where = max(DIRECTIONS, key=lambda side: float(np.dot(DIRECTIONS[side], surface.normal)))
    return f"{where}-{surface.letter}"


def _job_text(
    name: str,
    file: str,
    scale: str,
    axes: tuple[str, str, str],
    surfaces: Sequence[Surface],
    twins: dict[int, int],
) -> str:
    units, front, up = axes
    regions = []
    for number, surface in enumerate(surfaces):
        lines = [f"# {_about(surface)}", "[[region]]", f'name = "{region_name(surface)}"']
        if number in twins:
            lines.append(f'mirror_of = "{region_name(surfaces[twins[number]])}"')
        else:
            lines.append(f"at = [{', '.join(f'{value:.3f}' for value in surface.at)}]")
        regions.append("\n".join(lines))
    return TEMPLATE.format(
        name=_quoted(name),
        scale=scale,
        file=_quoted(file),
        units=units,
        front=front,
        up=up,
        regions="\n\n".join(regions),
        first=region_name(surfaces[0]) if surfaces else "side",
    )


def _about(surface: Surface) -> str:
    size = f", radius {surface.radius:.1f} mm" if surface.kind == "cylinder" and surface.radius else ""
    return f"surface {surface.letter}: {surface.kind}{size}, {surface.area:.0f} mm2"


def _quoted(text: str) -> str:
    """What stands between the quotes of a TOML string; it escapes as JSON does."""
    return json.dumps(text, ensure_ascii=False)[1:-1]


TEMPLATE = """\
# A first job. Lengths are mm at model size; "0.5 in proto" or "12 mm proto" is a length of
# the prototype. The body's axes: +x front, +y left, +z up.
# Keep the regions that you want, delete the rest, and give them better names.

[job]
name = "{name}"
scale = "{scale}"

[body]
file = "{file}"
units = "{units}"     # of the file: mm, cm, m or in
front = "{front}"     # the axis of the file that points to the front
up = "{up}"        # and the one that points up

[film]
state = "set"         # floated, set or softened; or stretch and compression from a test print

[print]
sheet = "A4"          # A3, A4, A5, A6, Letter or [width, height]
face_down = true      # printed mirrored, the white last
min_line = 0.15       # the thinnest line and gap that the printer holds
min_gap = 0.15

# ---- Regions: each becomes one piece of decal. `at` is any point on it, as on view drawings
# and in `unwrap look`. Useful besides:
#   crease = 36                            degrees; the region ends at sharper edges
#   within = {{ x = [-20, 40], z = [5, 30] }}  trims it along the body's axes
#   joint = "bottom"                       where a region that closes on itself is opened
#   openings = "cut"                       or "cover"
#   spares = 1                             extra copies

{regions}

# ---- The livery. Take the marks away where you want one.

# [[fill]]
# region = "{first}"
# colour = "#284b36"

# [[lining]]
# region = "{first}"
# inset = 1.0
# corner = "rounded"          # square, rounded, incurved, canted, notched
# radius = 2.0
# lines = [{{ width = 0.35, colour = "#efe3b8" }}, {{ gap = 0.4 }}, {{ width = 0.2, colour = "#b3372a" }}]

# [[band]]                    # round a barrel, at a station along the body
# region = "{first}"
# at_x = 10.0
# lines = [{{ width = 0.3, colour = "#efe3b8" }}]

# [[lettering]]
# region = "{first}"
# text = "No. 4"
# height = 3.0
# at = [0, 0, 0]
# colour = "#efe3b8"
"""
