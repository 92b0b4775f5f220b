"""Regions that no printable piece can be made of: left out with a sentence, while the others are made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from unwrap.errors import BadInput
from unwrap.job import Job
from unwrap.job_livery import Mark


def without(job: Job, why: Mapping[str, str]) -> tuple[Job, list[str]]:
    """The job without some regions and what is laid on them alone, and what to say of it.

    Parameters
    ----------
    job : Job
    why : mapping of str to str
        By region, the sentence that says why no piece was made of it.

    Returns
    -------
    job : Job
        Reflections of those regions are left out too.
    said : list of str
        A sentence for every region that is left out.

    Raises
    ------
    BadInput
        If no region would be left: the first of the sentences.
    """
    if not why:
        return job, []
    gone = {mark.name for mark in job.region if mark.name in why or mark.mirror_of in why}
    said = [
        f"{why[mark.name]} The others are made without it."
        if mark.name in why
        else f"region '{mark.name}' reflects '{mark.mirror_of}' and is left out with it."
        for mark in job.region
        if mark.name in gone
    ]
    if len(gone) == len(job.region):
        raise BadInput(next(iter(why.values())))
    left = {kind: _on_others(getattr(job, kind), gone) for kind in ("fill", "lining", "band", "lettering")}
    regions = [mark for mark in job.region if mark.name not in gone]
    return job.model_copy(update={"region": regions, **left}), said


def _on_others(marks: Sequence[Mark], gone: set[str]) -> list[Mark]:
    """The marks on the regions that are left; one that lies on none of them goes too."""
    kept = [(mark, [name for name in mark.region if name not in gone]) for mark in marks]
    return [mark.model_copy(update={"region": names}) for mark, names in kept if names]
