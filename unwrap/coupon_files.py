"""`unwrap coupon`: write the test print, or the settings that its readings give."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from unwrap.coupon import make_coupon, read_coupon
from unwrap.errors import BadInput
from unwrap.job_messages import first_mistake
from unwrap.job_settings import PrintSettings
from unwrap.output import all_at_once
from unwrap.results import press_of

SETTINGS_FILE = "settings.toml"


def print_coupon(
    out_dir: Path, *, sheet: str, inks: Sequence[str], face_down: bool, colour: str
) -> list[str]:
    """Write the test print and the form for its readings.

    Returns
    -------
    list of str
        What to say on the screen.

    Raises
    ------
    BadInput
        If a setting cannot be used; nothing is written then. A form that is there
        already, perhaps filled in, is never overwritten.
    """
    asked = {"sheet": sheet, "inks": [ink.strip() for ink in inks], "face_down": face_down}
    try:
        settings = PrintSettings.model_validate(asked)
    except ValidationError as error:
        raise BadInput(f"coupon: {first_mistake(error, asked, PrintSettings)}") from None
    with all_at_once(out_dir) as staging:
        written = make_coupon(
            staging, size=settings.size, margin=settings.margin, press=press_of(settings), target=colour
        )
        form = next(path for path in written if path.suffix == ".toml")
        if (out_dir / form.name).exists():
            raise BadInput(
                f"{out_dir / form.name}: there is a form already, perhaps filled in; "
                "name another folder with --out."
            )
    names = ", ".join(path.name for path in written)
    return [
        f"Written to {out_dir}: {names}",
        f"Print it, fill in {out_dir / form.name}, then: unwrap coupon --read {out_dir / form.name}",
    ]


def read_form(form: Path, out_dir: Path) -> list[str]:
    """Write the settings that a filled-in form gives, for the film and print tables of jobs."""
    text = read_coupon(form)
    with all_at_once(out_dir) as staging:
        (staging / SETTINGS_FILE).write_text(text, encoding="utf-8")
    return [text, f"Written to {out_dir / SETTINGS_FILE}; copy it into your jobs."]
