"""What the page looks at: itself, the job, the body, the regions and their pieces."""

from __future__ import annotations

import mimetypes
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from unwrap.errors import BadInput
from unwrap.job import Job
from unwrap.job_regions import RegionMark
from unwrap.page import fields, shown, telling
from unwrap.page.asked import asked_in, binary, gets, posts, whole, word
from unwrap.page.bench_work import BenchWork
from unwrap.page.session import Session, mark_named
from unwrap.page.working_out import Worked

STATIC = Path(__file__).parent / "static"
NEWS_SECONDS = 20


class Showing:
    """Answers that change nothing in the job."""

    def __init__(self, session: Session, work: BenchWork) -> None:
        self.session, self.work = session, work

    def routes(self) -> list[Route]:
        """The addresses below the token."""
        return gets(
            {
                "/": self.page,
                "/static/{name}": self.static,
                "/fields": self.fields,
                "/state": self.state,
                "/news": self.news,
                "/body": self.body,
                "/region/{name}": self.region,
                "/piece/{name}": self.piece,
                "/piece/{name}/mesh": self.piece_mesh,
            }
        ) + posts({"/look-at": self.look_at})

    async def page(self, request: Request) -> Response:
        """The page."""
        return FileResponse(STATIC / "page.html", media_type="text/html; charset=utf-8")

    async def static(self, request: Request) -> Response:
        """A script or the style sheet of the page."""
        name = request.path_params["name"]
        if name not in {path.name for path in STATIC.iterdir()}:
            raise BadInput(f"{name}: there is no such part of the page.")
        return FileResponse(STATIC / name, media_type=mimetypes.guess_type(name)[0])

    async def fields(self, request: Request) -> Response:
        """The table of the settings that the page has fields for."""
        return JSONResponse(fields.told())

    async def state(self, request: Request) -> Response:
        """The job as it stands."""
        await run_in_threadpool(self.session.follow_file)
        return await state_now(self.session, self.work)

    async def news(self, request: Request) -> Response:
        """Answers once there is a piece or a change in the file after the given event, or after a while."""
        after = whole(request.query_params.get("after", "0"))
        await run_in_threadpool(self.work.get_ready)  # who waits for news has something to see already
        for _ in range(NEWS_SECONDS):
            events = await run_in_threadpool(self.work.wait_for_news, after, 1.0)
            if await run_in_threadpool(self.session.follow_file) or events > after:
                break
        return JSONResponse({"events": events, "revision": self.session.revision})

    async def body(self, request: Request) -> Response:
        """The body's mesh."""
        bench = await run_in_threadpool(self.session.on_bench)
        return binary(await run_in_threadpool(shown.body_bytes, bench.body))

    async def region(self, request: Request) -> Response:
        """Where a marked region lies on the body."""
        return binary(await run_in_threadpool(self._region, request.path_params["name"]))

    def _region(self, name: str) -> bytes:
        job = self.session.job()
        return region_shown(self.session, mark_named(job, name), job)

    async def piece(self, request: Request) -> Response:
        """A flat piece with what is printed on it."""
        return JSONResponse(await run_in_threadpool(telling.pieces, self._worked(request)))

    async def piece_mesh(self, request: Request) -> Response:
        """A flat piece's faces, on the body and on the sheet, with their stretches."""
        flats = [piece.flat for piece in self._worked(request).pieces]
        return binary(await run_in_threadpool(shown.piece_bytes, flats))

    def _worked(self, request: Request) -> Worked:
        done = self.work.result(request.path_params["name"])
        if done is None or not done.pieces:
            raise BadInput((done and done.error) or "this piece is not worked out yet.")
        return done

    async def look_at(self, request: Request) -> Response:
        """Say which region is looked at, so that its piece is worked out first."""
        self.work.looked_at = word(await asked_in(request), "name")
        await run_in_threadpool(self.work.wake)
        return JSONResponse({})


async def state_now(session: Session, work: BenchWork) -> Response:
    """The job as it stands, and the work told of it."""
    await run_in_threadpool(work.wake)
    return JSONResponse(await run_in_threadpool(telling.state, session, work))


def region_shown(session: Session, mark: RegionMark, job: Job) -> bytes:
    """A region, or the reflection of one, as the page draws it."""
    body = session.on_bench().body
    if mark.mirror_of is not None:
        return shown.reflected_bytes(body, session.region(mark_named(job, mark.mirror_of), job))
    return shown.region_bytes(body, session.region(mark, job))
