"""What the page changes in the job, one step at a time, and what is dropped on it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from unwrap.errors import BadInput
from unwrap.page import reshaping, uploads
from unwrap.page.asked import asked_in, numbers, posts, received, table, whole, word
from unwrap.page.bench_work import BenchWork
from unwrap.page.session import Session
from unwrap.page.showing import state_now

RESHAPING: dict[str, Callable[..., dict[str, Any]]] = {
    "add place": reshaping.with_place,
    "leave out place": reshaping.without_place,
    "trim region": reshaping.trimmed,
}


class Changing:
    """Answers that change the job; each gives its new state."""

    def __init__(self, session: Session, work: BenchWork) -> None:
        self.session, self.work = session, work

    def routes(self) -> list[Route]:
        """The addresses below the token."""
        return posts(
            {"/change": self.change, "/step": self.step, "/body": self.body, "/artwork": self.artwork}
        )

    async def change(self, request: Request) -> Response:
        """Change the job."""
        asked = await asked_in(request)
        revision, what = whole(asked.get("revision")), word(asked, "what")
        how = {key: value for key, value in asked.items() if key not in ("revision", "what")}
        if what in RESHAPING:
            how = await run_in_threadpool(self._reshaped, what, how)
            what = "set region"
        await run_in_threadpool(self.session.do, revision, what, how)
        return await state_now(self.session, self.work)

    def _reshaped(self, what: str, how: dict[str, Any]) -> dict[str, Any]:
        """What a click or a line drawn round sets in a region's mark."""
        name = word(how, "name")
        told = table(how, "values") if what == "trim region" else numbers(how, "at", 3)
        return {"name": name, "values": RESHAPING[what](self.session, name, told)}

    async def step(self, request: Request) -> Response:
        """Undo or redo."""
        asked = await asked_in(request)
        steps = asked.get("steps")
        if steps not in (1, -1):
            raise BadInput("the page sent no steps; load it again.")
        await run_in_threadpool(self.session.step, whole(asked.get("revision")), steps)
        return await state_now(self.session, self.work)

    async def body(self, request: Request) -> Response:
        """Take a dropped body into the job's folder and work on it."""
        data = await received(request, uploads.LARGEST_BODY_BYTES)
        asked, source = request.query_params, self.session.job().body
        name = await run_in_threadpool(
            uploads.keep_body,
            self.session.folder,
            asked.get("name", ""),
            data,
            source.units,
            source.front,
            source.up,
        )
        how = {"section": "body", "values": {"file": name}}
        await run_in_threadpool(self.session.do, whole(asked.get("revision")), "set section", how)
        return await state_now(self.session, self.work)

    async def artwork(self, request: Request) -> Response:
        """Take a dropped view drawing into the job's folder and lay it on."""
        data = await received(request, uploads.LARGEST_DRAWING_BYTES)
        asked = request.query_params
        name = await run_in_threadpool(uploads.keep_drawing, self.session.folder, asked.get("name", ""), data)
        values = {"view": asked.get("view", "left"), "file": name}
        how = {"kind": "artwork", "values": values}
        await run_in_threadpool(self.session.do, whole(asked.get("revision")), "add mark", how)
        return await state_now(self.session, self.work)
