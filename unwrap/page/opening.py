"""From what the command was given, a job file or a body, to a job that the page can work on."""

from __future__ import annotations

from pathlib import Path

import tomlkit

from unwrap.body.read import load_body
from unwrap.errors import BadInput
from unwrap.job_messages import checked_name
from unwrap.page.history import write_safely


def job_for(path: str | Path) -> Path:
    """The job file to work on; a first one is written beside a body that has none.

    Parameters
    ----------
    path : path
        A job file (`.toml`) or a body.

    Raises
    ------
    BadInput
        If there is no such file, the body cannot be used, or a file of another kind
        has the name that the job would get.
    """
    path = Path(path)
    if not path.is_file():
        raise BadInput(f"{path}: there is no such file; give a job file or a body.")
    if path.suffix.lower() == ".toml":
        return path
    job_path = path.with_suffix(".toml")
    if not job_path.exists():
        checked_name(path.name)
        load_body(path)  # refuses what is no body before anything is written
        write_safely(job_path, first_job(path.name))
    return job_path


def first_job(body_file: str) -> str:
    """The text of a job that names a body and nothing else yet."""
    document = tomlkit.document()
    document.add(tomlkit.comment("Begun on the marking page; every key can be changed by hand as well."))
    document.add(tomlkit.nl())
    sections = {
        "job": {"name": Path(body_file).stem, "scale": "1:76.2"},
        "body": {"file": body_file, "units": "mm", "front": "+x", "up": "+z"},
        "film": {"state": "softened"},
        "print": {"sheet": "A4"},
    }
    for name, values in sections.items():
        table = tomlkit.table()
        for key, value in values.items():
            table.add(key, value)
        table.add(tomlkit.nl())
        document.add(name, table)
    return tomlkit.dumps(document)
