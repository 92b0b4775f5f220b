"""Places on the body and on the pieces: what lies under the pointer, and a region at a glance."""

from __future__ import annotations

from typing import Any

import numpy as np
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from unwrap.errors import BadInput
from unwrap.page import shown
from unwrap.page.asked import asked_in, binary, limits, numbers, places, posts, table, word
from unwrap.page.bench_work import BenchWork
from unwrap.page.pointing import Pointing
from unwrap.page.session import USUAL_CREASE, Session
from unwrap.page.showing import region_shown

# Off the surface by more than this, a place is not on a piece, mm.
ON_PIECE = 0.6


class Placing:
    """Answers to pointing and trying; nothing is saved."""

    def __init__(self, session: Session, work: BenchWork) -> None:
        self.session, self.work = session, work
        self._pointing: dict[str, tuple[str, Pointing]] = {}

    def routes(self) -> list[Route]:
        """The addresses below the token."""
        return posts(
            {
                "/pick": self.pick,
                "/point": self.point,
                "/first-look": self.first_look,
                "/try": self.try_region,
            }
        )

    # ------------------------------------------------------------ regions

    async def first_look(self, request: Request) -> Response:
        """A region at a glance: the faces that would be coloured, before the exact answer."""
        return binary(await run_in_threadpool(self._first_look, await asked_in(request)))

    def _first_look(self, asked: dict[str, Any]) -> bytes:
        crease = numbers({"crease": [asked.get("crease", USUAL_CREASE)]}, "crease", 1)[0]
        within, further = limits(asked), places(asked, "also")
        face = asked.get("face")
        count = len(self.session.on_bench().body.faces)
        if face is not None and not (isinstance(face, int) and 0 <= face < count):
            raise BadInput("the page sent no face; load it again.")
        look, outside = self.session.first_look(), self.session.outside_if_known()
        starts = [look.face_at(numbers(asked, "at", 3), outside) if face is None else face]
        starts += [look.face_at(place, outside) for place in further]
        return shown.glance_bytes(look.faces(starts, crease, within, outside), count)

    async def try_region(self, request: Request) -> Response:
        """Where a region would lie with other settings."""
        asked = await asked_in(request)
        return binary(await run_in_threadpool(self._tried, word(asked, "name"), table(asked, "values")))

    def _tried(self, name: str, values: dict[str, Any]) -> bytes:
        return region_shown(self.session, self.session.tried(name, values), self.session.job())

    # ------------------------------------------------------------ pointing

    async def pick(self, request: Request) -> Response:
        """The place of the body under the pointer; with `pieces`, also where it lies on a piece."""
        asked = await asked_in(request)
        ray = numbers(asked, "origin", 3), numbers(asked, "direction", 3)
        hit = await run_in_threadpool(self.session.pick, *ray)
        if hit is None:
            return JSONResponse({"at": None})
        place, face = hit
        found = {"at": [round(value, 3) for value in place], "face": face}
        if asked.get("pieces") is True:
            found |= await run_in_threadpool(self._on_a_piece, np.array(place))
        return JSONResponse(found)

    async def point(self, request: Request) -> Response:
        """The place on the body of a point on a piece, or the other way round."""
        asked = await asked_in(request)
        if "flat" not in asked:
            return JSONResponse(await run_in_threadpool(self._on_a_piece, np.array(numbers(asked, "at", 3))))
        name, point = word(asked, "name"), numbers(asked, "flat", 2)
        return JSONResponse(await run_in_threadpool(self._on_the_body, name, np.array(point)))

    def _on_the_body(self, name: str, point: np.ndarray) -> dict[str, Any]:
        pointing = self._pointing_of(name)
        found = pointing.to_body(point, ON_PIECE) if pointing else None
        return {} if found is None else {"name": name, "flat": point.tolist(), "at": found[0].tolist()}

    def _on_a_piece(self, place: np.ndarray) -> dict[str, Any]:
        """The piece that lies nearest to a place of the body, within reach."""
        best: dict[str, Any] = {}
        nearest = ON_PIECE
        for mark in self.session.job().region:
            pointing = self._pointing_of(mark.name)
            found = pointing.to_flat(place, nearest) if pointing else None
            if found is not None:
                nearest = found[1]
                best = {"name": mark.name, "flat": found[0].tolist(), "at": place.tolist()}
        return best

    def _pointing_of(self, name: str) -> Pointing | None:
        done = self.work.result(name)
        if done is None or not done.pieces:
            return None
        if self._pointing.get(name, ("",))[0] != done.key:
            self._pointing[name] = (done.key, Pointing([piece.flat for piece in done.pieces]))
        return self._pointing[name][1]
