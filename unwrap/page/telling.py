"""What the page is told: the job, its regions and its pieces, as plain JSON."""

from __future__ import annotations

import tomllib
from typing import Any

import numpy as np
from pydantic import BaseModel
from scipy.spatial import cKDTree

from unwrap.errors import BadInput
from unwrap.guide.report import per_cent
from unwrap.job import Job
from unwrap.job_regions import RegionMark
from unwrap.make import bridge_of
from unwrap.page.bench_work import BenchWork
from unwrap.page.session import GROWN_KEYS, Session
from unwrap.page.shown import dots_of, drawn, strain_scale
from unwrap.page.working_out import Worked
from unwrap.regions.region import Patch

_SETTINGS = GROWN_KEYS | {"openings", "edge", "joint", "film", "mirror_of", "spares"}
_MARKS = ("fill", "lining", "band", "lettering", "artwork", "fitting")


def state(session: Session, work: BenchWork) -> dict[str, Any]:
    """Everything that the page shows but the shapes themselves."""
    answer: dict[str, Any] = {
        "revision": session.revision,
        "file": session.path.name,
        "canUndo": session.history.can_undo,
        "canRedo": session.history.can_redo,
        "events": work.events,
        "busy": work.busy,
        "text": session.text,
    }
    try:
        job = session.job()
        written = tomllib.loads(session.text)
        answer |= _job(job, written)
        bench = session.on_bench()
        low, high = bench.body.bounds
        answer["body"] = {
            "key": bench.key,
            "low": low.tolist(),
            "high": high.tolist(),
            "faces": len(bench.body.faces),
            "repairs": list(bench.body.repairs),
            "hints": list(session.hints()),
        }
        answer["regions"] = [region_line(work, job, mark) for mark in job.region]
        for line, own in zip(
            answer["regions"], _as_written(job.region, written.get("region", [])), strict=True
        ):
            line["own"] = own
    except BadInput as error:
        answer["error"] = str(error)
    return answer


def _job(job: Job, written: dict[str, Any]) -> dict[str, Any]:
    answer: dict[str, Any] = {
        "name": job.job.name,
        "scale": written["job"]["scale"],
        "source": job.body.model_dump(),
        "film": job.film.model_dump(),
        "window": list(job.film.film.window),
        "print": _as_written(job.print, written.get("print", {})),
    }
    for kind in _MARKS:
        answer[kind] = _as_written(getattr(job, kind), written.get(kind, []))
    return answer


def _as_written(checked: Any, written: Any) -> Any:
    """What the job says, checked: its own settings alone, and lengths with the units they were given in."""
    if isinstance(checked, BaseModel):
        checked = {key: getattr(checked, key) for key in checked.model_fields_set}
    if isinstance(checked, dict):
        raw = written if isinstance(written, dict) else {}
        return {key: _as_written(value, raw.get(key)) for key, value in checked.items() if value is not None}
    if isinstance(checked, list | tuple):
        same = isinstance(written, list) and len(written) == len(checked)
        return [_as_written(value, written[i] if same else None) for i, value in enumerate(checked)]
    return written if isinstance(checked, float) and isinstance(written, str) else checked


def region_line(work: BenchWork, job: Job, mark: RegionMark) -> dict[str, Any]:
    """One region: its settings, and how far its piece has come."""
    done = work.result(mark.name)
    answer = mark.model_dump(include=set(_SETTINGS)) | {
        "name": mark.name,
        "key": work.out.key(job, mark),
        "within": mark.within.as_dict(),
        "bridgeUsed": bridge_of(job, mark),
        "edgeUsed": job.bleed_of(mark),
        "doneKey": done.key if done else None,
        "shape": work.out.grown_key(job, mark),
        "doneShape": done.grown if done else None,
    }
    if done is not None:
        answer |= _figures(done)
    return answer


def _figures(done: Worked) -> dict[str, Any]:
    if not done.pieces:
        return {"error": done.error}
    flats = [piece.flat for piece in done.pieces]
    film, notes = flats[0].film, [note for flat in flats for note in flat.notes]
    return {
        "error": done.error,
        "first": done.first,
        "area": float(sum(flat.areas.sum() for flat in flats)),
        "stretch": per_cent(max(flat.stretch_figures.worst for flat in flats)),
        "compression": per_cent(max(flat.compression_figures.worst for flat in flats)),
        "window": [per_cent(film.stretch), per_cent(film.compression)],
        "bound": max(float(flat.bound) for flat in flats),
        "within_film": all(flat.within for flat in flats),
        "cuts": sum(len(flat.cuts) for flat in flats),
        "cutLength": sum(flat.cut_length for flat in flats),
        "parts": len(flats),
        "overlap": any(flat.overlap for flat in flats),
        "bridged": sum(len(piece.patch.details) for piece in done.pieces),
        "remarks": [] if done.first else list(dict.fromkeys([*done.remarks, *notes])),
    }


def pieces(done: Worked) -> dict[str, Any]:
    """A region's flat pieces as they are shown: outlines, paints and cuts as paths in mm."""
    found = done.pieces
    bounds = np.array([piece.outline.bounds for piece in found])
    return {
        "name": ", ".join(piece.name for piece in found),
        "key": done.key,
        "low": bounds[:, :2].min(axis=0).tolist(),
        "high": bounds[:, 2:].max(axis=0).tolist(),
        "outline": "".join(drawn(piece.outline) for piece in found),
        "paints": [
            {"colour": paint.colour, "label": paint.label, "path": drawn(paint.area), **dots_of(paint)}
            for piece in found
            for paint in piece.paints
        ],
        "slits": [slit.round(3).tolist() for piece in found for slit in piece.slits],
        "front": found[0].front.tolist(),
        "up": found[0].up.tolist(),
        "scale": strain_scale([piece.flat for piece in found]),
        "details": [detail for piece in found for detail in _details(piece.patch)],
        "lift": max((detail.height for piece in found for detail in piece.patch.details), default=0.0),
    }


def _details(patch: Patch) -> list[dict[str, Any]]:
    """What is carried over, each with the surface's direction there."""
    if not patch.details:
        return []
    corners = patch.vertices[patch.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-30)
    faces = cKDTree(corners.mean(axis=1)).query(np.array([d.at for d in patch.details]))[1]
    return [
        {"at": list(detail.at), "width": detail.width, "kind": detail.kind, "normal": normals[face].tolist()}
        for detail, face in zip(patch.details, np.atleast_1d(faces), strict=True)
    ]
