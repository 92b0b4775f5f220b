"""The form for what was read off a test print, and the settings that follow from it."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from unwrap.coupon.film_page import DISCS, STATES, STRIP_MARKS
from unwrap.coupon.patches import patches_round
from unwrap.coupon.printer_page import VERNIER_STEP, VERNIER_TEETH, WIDTHS
from unwrap.coupon.take_up import BALL_DIAMETER, film_of
from unwrap.errors import BadInput
from unwrap.film import Film

READINGS_FILE = "readings.toml"

# A ruler read more than this wide of its length is a slip of the pen, not a printer.
WIDEST_ERROR = 0.05

KEYS = {
    "rulers": ("printed_across", "printed_along", "measured_across", "measured_along"),
    "lines": ("thinnest_line", "thinnest_gap", "thinnest_open_line"),
    "registration": ("across", "along"),
    "colour": ("target", "patch"),
    "film": ("state", "ball", "largest_disc", "strip"),
}


@dataclass(frozen=True)
class Readings:
    """What was read, checked; None where nothing was filled in."""

    scale: tuple[float, float] | None
    min_line: float | None
    min_gap: float | None
    registration: float | None
    colour: tuple[str, int, str] | None
    films: tuple[tuple[str, Film], ...]


def readings_template(rulers: tuple[float, float], target: str) -> str:
    """The empty form that lies beside a test print.

    Parameters
    ----------
    rulers : (across, along)
        Printed lengths, mm.
    target : str
        The colour that the patches stand round.
    """
    across, along = rulers
    widths = ", ".join(f"{w:.2f}" for w in WIDTHS)
    discs = ", ".join(str(d) for d in DISCS)
    return f'''# What you read off the test print. Fill in what you have measured and take the mark #
# away in front of it; what stays marked is left as the job has it. Lengths in mm.

[rulers]
printed_across = {across:g}   # as drawn: do not change
printed_along = {along:g}
# Measure from the first to the last tick with a steel rule or a caliper.
# measured_across = {across:.1f}
# measured_along = {along:.1f}

[lines]
# The thinnest that stands unbroken in both directions, one of {widths}.
# thinnest_line = 0.15        # the worse of "one ink" and "built black"
# thinnest_gap = 0.15         # between two bars
# thinnest_open_line = 0.20   # left open in a solid

[registration]
# The tooth that lines up, from -{VERNIER_TEETH} to {VERNIER_TEETH}; print three sheets and give all three.
# across = [0, 1, -1]
# along = [0, 0, 1]

[colour]
target = "{target}"
# patch = 38

# For each state of the film that you use: the largest disc that lay without a wrinkle,
# one of {discs}; and, if you drew a strip out, the length between its marks.
[[film]]
state = "softened"
ball = {BALL_DIAMETER:g}
# largest_disc = 16
# strip = {STRIP_MARKS + 1.5:g}

[[film]]
state = "set"
ball = {BALL_DIAMETER:g}
# largest_disc = 12
'''


def read_coupon(readings_path: str | Path) -> str:
    """Settings, as TOML, for the [film] and [print] tables of jobs.

    Parameters
    ----------
    readings_path : str or Path
        The form, filled in.

    Returns
    -------
    str
        Only what was measured is set. The first film of the form becomes `[film]`; the
        others are given as comments to copy.

    Raises
    ------
    BadInput
        If the form cannot be read, or a figure in it cannot be right.
    """
    path = Path(readings_path)
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise BadInput(
            f'readings "{path}" cannot be opened; give the form that lies beside the test print.'
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadInput(f'readings "{path.name}": {error}; mend that line.') from error
    return settings_text(check_readings(raw, path.name), path.name)


def check_readings(raw: dict[str, Any], name: str) -> Readings:
    """Check what stands in a form; see `read_coupon` for what is raised."""
    for table in raw:
        if table not in KEYS:
            raise BadInput(f"readings {name}: there is no table [{table}]{_nearest(table, KEYS)}.")
    tables: dict[str, dict[str, Any]] = {}
    for table in ("rulers", "lines", "registration", "colour"):
        tables[table] = _table(raw.get(table, {}), table, name)
    films = raw.get("film", [])
    if isinstance(films, dict):
        films = [films]
    if not isinstance(films, list):
        raise BadInput(f"readings {name}: film is not a table; write [[film]] above its lines.")
    found = [film for entry in films if (film := _film(_table(entry, "film", name), name)) is not None]
    lines = tables["lines"]
    gaps = [_width(lines, key, name) for key in ("thinnest_gap", "thinnest_open_line")]
    known = [gap for gap in gaps if gap is not None]
    return Readings(
        scale=_scale(tables["rulers"], name),
        min_line=_width(lines, "thinnest_line", name),
        min_gap=max(known) if known else None,
        registration=_registration(tables["registration"], name),
        colour=_colour(tables["colour"], name),
        films=tuple(found),
    )


def settings_text(readings: Readings, source: str) -> str:
    """The settings as TOML."""
    lines = [f"# Measured with the test print, from {source}."]
    for count, (state, film) in enumerate(readings.films):
        mark = "" if count == 0 else "# "
        lines += ["", f"# {state}", f"{mark}[film]"]
        lines += [f"{mark}stretch = {film.stretch:.4f}", f"{mark}compression = {film.compression:.4f}"]
    printed = []
    if readings.min_line is not None:
        printed.append(f"min_line = {readings.min_line:g}")
    if readings.min_gap is not None:
        printed.append(f"min_gap = {readings.min_gap:g}")
    if readings.registration is not None:
        printed.append(f"registration = {readings.registration:g}")
        printed.append(f"white_choke = {readings.registration:g}")
    if readings.scale is not None:
        printed += [f"scale_x = {readings.scale[0]:.6f}", f"scale_y = {readings.scale[1]:.6f}"]
    if printed:
        lines += ["", "[print]", *printed]
    if readings.colour is not None:
        target, number, colour = readings.colour
        lines += ["", f'# Where the job says "{target}", write "{colour}" (patch {number}).']
    if len(lines) == 1:
        raise BadInput(f"readings {source}: nothing is filled in; take the # away before what you measured.")
    return "\n".join(lines) + "\n"


def _scale(table: dict[str, Any], name: str) -> tuple[float, float] | None:
    scales = []
    for way in ("across", "along"):
        measured = _number(table, f"measured_{way}", "rulers", name)
        if measured is None:
            scales.append(1.0)
            continue
        printed = _number(table, f"printed_{way}", "rulers", name)
        if printed is None or printed <= 0:
            raise BadInput(f"readings {name}: [rulers] printed_{way} is missing; copy it from a fresh form.")
        if abs(measured / printed - 1.0) > WIDEST_ERROR:
            raise BadInput(
                f"readings {name}: [rulers] measured_{way} = {measured:g} is more than 5 % off the printed "
                f"{printed:g} mm; measure again, and print without fitting to the page."
            )
        scales.append(printed / measured)
    return (scales[0], scales[1]) if any(f"measured_{way}" in table for way in ("across", "along")) else None


def _width(table: dict[str, Any], key: str, name: str) -> float | None:
    width = _number(table, key, "lines", name)
    if width is not None and not 0.0 < width <= 2.0:
        raise BadInput(
            f"readings {name}: [lines] {key} = {width:g} is no line's width; give mm, such as 0.15."
        )
    return width


def _registration(table: dict[str, Any], name: str) -> float | None:
    teeth: list[float] = []
    for way in ("across", "along"):
        value = table.get(way)
        if value is None:
            continue
        for tooth in value if isinstance(value, list) else [value]:
            if isinstance(tooth, bool) or not isinstance(tooth, (int, float)) or abs(tooth) > VERNIER_TEETH:
                raise BadInput(
                    f"readings {name}: [registration] {way} = {tooth!r} is no tooth; "
                    f"give numbers from -{VERNIER_TEETH} to {VERNIER_TEETH}."
                )
            teeth.append(abs(float(tooth)))
    if not teeth:
        return None
    # A tooth is read to the nearest one: never claim better than one step.
    return round(max(max(teeth), 1.0) * VERNIER_STEP, 4)


def _colour(table: dict[str, Any], name: str) -> tuple[str, int, str] | None:
    number = table.get("patch")
    if number is None:
        return None
    target = table.get("target")
    if not isinstance(target, str):
        raise BadInput(f"readings {name}: [colour] target is missing; copy it from a fresh form.")
    patches = {patch.number: patch for patch in patches_round(target)}
    if isinstance(number, bool) or number not in patches:
        raise BadInput(
            f"readings {name}: [colour] patch = {number!r}; give a number from 1 to {len(patches)}."
        )
    return target, number, patches[number].colour


def _film(table: dict[str, Any], name: str) -> tuple[str, Film] | None:
    disc = _number(table, "largest_disc", "film", name)
    strip = _number(table, "strip", "film", name)
    state = table.get("state", STATES[-1])
    if disc is None and strip is None:
        return None
    if disc is None:
        raise BadInput(f"readings {name}: [[film]] {state} has a strip but no largest_disc; give both.")
    ball = _number(table, "ball", "film", name) or BALL_DIAMETER
    if not 0.0 < disc < ball:
        raise BadInput(
            f"readings {name}: [[film]] largest_disc = {disc:g} does not fit a ball of {ball:g} mm."
        )
    film = film_of(disc, ball)
    if strip is not None:
        if not STRIP_MARKS <= strip < 2 * STRIP_MARKS:
            raise BadInput(
                f"readings {name}: [[film]] strip = {strip:g}; give the length between the marks, "
                f"which was {STRIP_MARKS:g} mm before it was drawn out."
            )
        film = Film(stretch=max(film.stretch, strip / STRIP_MARKS - 1.0), compression=film.compression)
    said = (
        "" if strip is not None else "; the stretch is the least that the disc has shown, a strip shows more"
    )
    return f"{state}{said}", film


def _table(value: Any, table: str, name: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise BadInput(f"readings {name}: {table} is not a table; write [{table}] above its lines.")
    for key in value:
        if key not in KEYS[table]:
            raise BadInput(f"readings {name}: [{table}] has no {key}{_nearest(key, KEYS[table])}.")
    return value


def _number(table: dict[str, Any], key: str, where: str, name: str) -> float | None:
    value = table.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < 1e6:
        raise BadInput(f"readings {name}: [{where}] {key} = {value!r} is no number; give mm.")
    return float(value)


def _nearest(word: str, known: Any) -> str:
    close = get_close_matches(word, list(known), n=1)
    return f"; did you mean {close[0]}?" if close else f"; it knows {', '.join(known)}"
