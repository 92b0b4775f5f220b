"""Whether a body's slips and flaws matter to the job at hand."""

from __future__ import annotations

from collections.abc import Mapping

from unwrap.body.body import Body
from unwrap.body.health import check_health
from unwrap.body.sense import size_slips
from unwrap.job import Job
from unwrap.regions.region import Patch


def size_warnings(job: Job, body: Body) -> list[str]:
    """What the body's size says about units and scale, with the likely fix; empty where it fits."""
    slips = size_slips(float(body.size.max()), job.body.units, job.job.scale)
    return [f"{job.body.file}: {slip}" for slip in slips]


def flaws_that_matter(body: Body, patches: Mapping[str, Patch]) -> list[str]:
    """Where the mesh is broken, and whether that is on a marked region: a sentence each.

    Parameters
    ----------
    body : Body
    patches : mapping of str to Patch
        The regions, by name.

    Returns
    -------
    list of str
        Empty for a sound mesh that nowhere runs into itself.
    """
    health = check_health(body)
    if health.sound and not len(health.crossings):
        return []
    said = []
    for name, patch in patches.items():
        if found := health.near(patch.vertices[patch.faces]).flaws():
            said.append(
                f"region {name}: the mesh is not sound there ({'; '.join(found)}); "
                "look at its outline on the trial sheet"
            )
    return said or ["the mesh is not sound, but none of its flaws lies on a marked region"]
