"""The marking page's server: small requests from one browser on this computer."""

from __future__ import annotations

import json
import mimetypes
import secrets
import socket
import threading
import webbrowser
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import numpy as np
import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from unwrap.errors import BadInput
from unwrap.job import RegionMark
from unwrap.page import answers, shown, uploads
from unwrap.page.bench_work import BenchWork
from unwrap.page.guard import Guard
from unwrap.page.making import Making
from unwrap.page.opening import job_for
from unwrap.page.pointing import Pointing
from unwrap.page.session import Session, Stale, mark_named

STATIC = Path(__file__).parent / "static"
LARGEST_REQUEST = 2_000_000  # bytes of a change; a lasso of thousands of corners fits
NEWS_SECONDS = 20.0
# Off the surface by more than this, a place is not on a piece, mm.
ON_PIECE = 0.6

Answer = Callable[[Request], Awaitable[Response]]


class Page:
    """The answers to everything that the page asks."""

    def __init__(self, job_path: Path) -> None:
        self.session = Session(job_path)
        self.work = BenchWork(self.session)
        self.making = Making(self.session.path)
        self._pointing: dict[str, tuple[str, Pointing]] = {}

    def routes(self) -> list[Route]:
        """The addresses below the token."""
        gets: dict[str, Answer] = {
            "/": self.page,
            "/static/{name}": self.static,
            "/state": self.state,
            "/news": self.news,
            "/body": self.body,
            "/region/{name}": self.region,
            "/piece/{name}": self.piece,
            "/piece/{name}/mesh": self.piece_mesh,
            "/making": self.making_state,
            "/made/{name}": self.made,
        }
        posts: dict[str, Answer] = {
            "/change": self.change,
            "/step": self.step,
            "/try": self.try_region,
            "/first-look": self.first_look,
            "/pick": self.pick,
            "/point": self.point,
            "/look-at": self.look_at,
            "/make": self.make,
            "/body": self.new_body,
            "/artwork": self.new_artwork,
        }
        return [Route(path, _spoken(answer), methods=["GET"]) for path, answer in gets.items()] + [
            Route(path, _spoken(answer), methods=["POST"]) for path, answer in posts.items()
        ]

    # ------------------------------------------------------------ the page itself

    async def page(self, request: Request) -> Response:
        """The page."""
        return FileResponse(STATIC / "page.html", media_type="text/html; charset=utf-8")

    async def static(self, request: Request) -> Response:
        """A script or the style sheet of the page."""
        name = request.path_params["name"]
        if name not in {path.name for path in STATIC.iterdir()}:
            raise BadInput(f"{name}: there is no such part of the page.")
        return FileResponse(STATIC / name, media_type=mimetypes.guess_type(name)[0])

    # ------------------------------------------------------------ what is shown

    async def state(self, request: Request) -> Response:
        """The job as it stands."""
        await run_in_threadpool(self.session.follow_file)
        return await self._state()

    async def _state(self) -> Response:
        self.work.wake()
        return JSONResponse(await run_in_threadpool(answers.state, self.session, self.work))

    async def news(self, request: Request) -> Response:
        """Answers as soon as a piece is finished after the given event, or after a while."""
        after = _whole(request.query_params.get("after", "0"))
        events = await run_in_threadpool(self.work.wait_for_news, after, NEWS_SECONDS)
        changed = await run_in_threadpool(self.session.follow_file)
        return JSONResponse({"events": events, "revision": self.session.revision, "changed": changed})

    async def body(self, request: Request) -> Response:
        """The body's mesh."""
        bench = await run_in_threadpool(self.session.on_bench)
        return _binary(await run_in_threadpool(shown.body_bytes, bench.body))

    async def region(self, request: Request) -> Response:
        """Where a marked region lies on the body."""
        return _binary(await run_in_threadpool(self._region, request.path_params["name"], None))

    async def try_region(self, request: Request) -> Response:
        """Where a region would lie with other settings."""
        asked = await _asked(request)
        return _binary(await run_in_threadpool(self._region, _word(asked, "name"), _table(asked, "values")))

    async def first_look(self, request: Request) -> Response:
        """A region at a glance: the faces that would be coloured, before the exact answer."""
        return _binary(await run_in_threadpool(self._first_look, await _asked(request)))

    def _first_look(self, asked: dict[str, Any]) -> bytes:
        look = self.session.first_look()
        crease = _numbers(
            {"crease": [asked.get("crease", RegionMark.model_fields["crease"].default)]}, "crease", 1
        )[0]
        within = {
            axis: _numbers(asked["within"], axis, 2) for axis in asked.get("within") or {} if axis in "xyz"
        }
        face = asked.get("face")
        if face is None:
            face = look.face_at(_triple(asked, "at"))
        elif not isinstance(face, int) or not 0 <= face < len(self.session.on_bench().body.faces):
            raise BadInput("the page sent no face; load it again.")
        limits = {axis: (pair[0], pair[1]) for axis, pair in within.items()}
        return shown.glance_bytes(look.faces(face, crease, limits))

    def _region(self, name: str, values: dict[str, Any] | None) -> bytes:
        job = self.session.job()
        mark = mark_named(job, name) if values is None else self.session.tried(name, values)
        body = self.session.on_bench().body
        if mark.mirror_of is not None:
            original = self.session.region(mark_named(job, mark.mirror_of), job)
            return shown.reflected_bytes(original)
        return shown.region_bytes(body, self.session.region(mark, job))

    async def piece(self, request: Request) -> Response:
        """A flat piece with what is printed on it."""
        return JSONResponse(await run_in_threadpool(answers.piece, self._worked(request)))

    async def piece_mesh(self, request: Request) -> Response:
        """A flat piece's faces, on the body and on the sheet, with their stretches."""
        done = self._worked(request)
        if done.piece is None:
            raise BadInput(done.error or "this piece is not worked out yet.")
        return _binary(await run_in_threadpool(shown.piece_bytes, done.piece.flat))

    def _worked(self, request: Request) -> Any:
        done = self.work.result(request.path_params["name"])
        if done is None:
            raise BadInput("this piece is not worked out yet.")
        return done

    # ------------------------------------------------------------ what is changed

    async def change(self, request: Request) -> Response:
        """Change the job."""
        asked = await _asked(request)
        how = {key: value for key, value in asked.items() if key not in ("revision", "what")}
        await run_in_threadpool(self.session.do, _whole(asked.get("revision")), _word(asked, "what"), how)
        return await self._state()

    async def step(self, request: Request) -> Response:
        """Undo or redo."""
        asked = await _asked(request)
        steps = asked.get("steps")
        if steps not in (1, -1):
            raise BadInput("the page sent no steps; load it again.")
        await run_in_threadpool(self.session.step, _whole(asked.get("revision")), steps)
        return await self._state()

    async def look_at(self, request: Request) -> Response:
        """Say which region is looked at, so that its piece is worked out first."""
        self.work.looked_at = str((await _asked(request)).get("name"))
        self.work.wake()
        return JSONResponse({})

    async def new_body(self, request: Request) -> Response:
        """Take a dropped body into the job's folder and work on it."""
        data = await _received(request, uploads.LARGEST_BODY_BYTES)
        asked = request.query_params
        revision, source = _whole(asked.get("revision")), self.session.job().body
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
        await run_in_threadpool(self.session.do, revision, "set section", how)
        return await self._state()

    async def new_artwork(self, request: Request) -> Response:
        """Take a dropped view drawing into the job's folder and lay it on."""
        data = await _received(request, uploads.LARGEST_DRAWING_BYTES)
        asked = request.query_params
        name = await run_in_threadpool(uploads.keep_drawing, self.session.folder, asked.get("name", ""), data)
        how = {"kind": "artwork", "values": {"view": asked.get("view", "left"), "file": name}}
        await run_in_threadpool(self.session.do, _whole(asked.get("revision")), "add mark", how)
        return await self._state()

    # ------------------------------------------------------------ pointing

    async def pick(self, request: Request) -> Response:
        """The place of the body under the pointer, and the region there."""
        asked = await _asked(request)
        hit = await run_in_threadpool(
            self.session.pick, _triple(asked, "origin"), _triple(asked, "direction")
        )
        if hit is None:
            return JSONResponse({"at": None})
        return JSONResponse({"at": [round(value, 3) for value in hit[0]], "face": hit[1]})

    async def point(self, request: Request) -> Response:
        """The same place on a piece and on the body: given one, answers both."""
        asked = await _asked(request)
        return JSONResponse(await run_in_threadpool(self._point, asked))

    def _point(self, asked: dict[str, Any]) -> dict[str, Any]:
        found: dict[str, Any]
        if "flat" in asked:
            pointing = self._pointing_of(_word(asked, "name"))
            point = np.array(_numbers(asked, "flat", 2))
            if pointing is None:
                return {}
            place, off = pointing.to_body(point)
            return (
                {"name": asked["name"], "flat": point.tolist(), "at": place.tolist()}
                if off < ON_PIECE
                else {}
            )
        place = np.array(_triple(asked, "at"))
        found = {}
        nearest = ON_PIECE
        for mark in self.session.job().region:
            pointing = self._pointing_of(mark.name)
            if pointing is None:
                continue
            flat, off = pointing.to_flat(place)
            if off < nearest:
                nearest = off
                found = {"name": mark.name, "flat": flat.tolist(), "at": place.tolist()}
        return found

    def _pointing_of(self, name: str) -> Pointing | None:
        done = self.work.result(name)
        if done is None or done.piece is None:
            return None
        if self._pointing.get(name, ("",))[0] != done.key:
            self._pointing[name] = (done.key, Pointing(done.piece.flat))
        return self._pointing[name][1]

    # ------------------------------------------------------------ making

    async def make(self, request: Request) -> Response:
        """Make the sheets."""
        self.making.begin()
        return JSONResponse(self.making.state())

    async def making_state(self, request: Request) -> Response:
        """How far the making has come."""
        return JSONResponse(self.making.state())

    async def made(self, request: Request) -> Response:
        """A file that was made; shown as a picture where it is one, else saved."""
        path = self.making.file(request.path_params["name"])
        shown_here = path.suffix in (".png", ".svg")
        return FileResponse(
            path, content_disposition_type="inline" if shown_here else "attachment", filename=path.name
        )


# ------------------------------------------------------------------ requests


def _spoken(answer: Answer) -> Answer:
    """Turn what goes wrong into one sentence for the page."""

    async def answering(request: Request) -> Response:
        try:
            return await answer(request)
        except Stale as error:
            return JSONResponse({"error": str(error), "stale": True}, status_code=409)
        except BadInput as error:
            return JSONResponse({"error": str(error)}, status_code=400)
        except ClientDisconnect:
            return Response(status_code=400)
        except Exception as error:  # whatever was sent, the server goes on
            return JSONResponse({"error": f"this could not be done ({error})."}, status_code=500)

    return answering


async def _received(request: Request, most: int) -> bytes:
    """The request's body, read only as far as it may go."""
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > most:
            raise BadInput(f"this is larger than {most // 1_000_000} MB; give a smaller file.")
        parts.append(part)
    return b"".join(parts)


async def _asked(request: Request) -> dict[str, Any]:
    try:
        asked = json.loads(await _received(request, LARGEST_REQUEST))
    except (ValueError, RecursionError):
        asked = None
    if not isinstance(asked, dict):
        raise BadInput("the page sent something that cannot be read; load it again.")
    return asked


def _binary(data: bytes) -> Response:
    return Response(data, media_type="application/octet-stream")


def _whole(value: Any) -> int:
    try:
        return int(value)
    except (TypeError, ValueError, OverflowError):
        raise BadInput("the page sent no revision; load it again.") from None


def _word(asked: dict[str, Any], key: str) -> str:
    if not isinstance(asked.get(key), str):
        raise BadInput(f"the page sent no {key}; load it again.")
    return asked[key]


def _table(asked: dict[str, Any], key: str) -> dict[str, Any]:
    if not isinstance(asked.get(key), dict):
        raise BadInput(f"the page sent no {key}; load it again.")
    return asked[key]


def _numbers(asked: dict[str, Any], key: str, count: int) -> list[float]:
    given = asked.get(key)
    numbers = given if isinstance(given, list) else []
    if len(numbers) != count or not all(isinstance(n, int | float) and np.isfinite(n) for n in numbers):
        raise BadInput(f"the page sent no {key}; load it again.")
    return [float(n) for n in numbers]


def _triple(asked: dict[str, Any], key: str) -> list[float]:
    return _numbers(asked, key, 3)


# ------------------------------------------------------------------ serving


class Serving:
    """A running server, for as long as the `with` block lasts.

    Parameters
    ----------
    path : path
        A job file or a body.
    port : int
        0 for any free one.
    """

    def __init__(self, path: str | Path, port: int = 0) -> None:
        self.page = Page(job_for(path))
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            self._socket.bind(("127.0.0.1", port))
            self._socket.listen()  # a browser that comes early waits
        except OSError as error:
            self._socket.close()
            raise BadInput(
                f"port {port} cannot be used ({error.strerror}); choose another, or 0 for any."
            ) from None
        self.port: int = self._socket.getsockname()[1]
        token = secrets.token_urlsafe(24)
        self.address = f"http://127.0.0.1:{self.port}/{token}/"
        app = Guard(Starlette(routes=self.page.routes()), token, self.port)
        config = uvicorn.Config(
            app,
            log_level="critical",
            access_log=False,
            lifespan="off",
            server_header=False,
            timeout_graceful_shutdown=1,  # a page that waits for news must not hold the program
        )
        self.server = uvicorn.Server(config)

    def run(self) -> None:
        """Serve until the program is interrupted."""
        try:
            self.server.run(sockets=[self._socket])
        finally:
            self.page.work.stop()
            self._socket.close()

    def __enter__(self) -> Serving:
        self._thread = threading.Thread(target=self.run, name="server", daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.page.work.stop()
        self.server.should_exit = True
        self._thread.join(timeout=30)


def serve(path: str | Path, port: int = 0, open_browser: bool = True) -> None:
    """Serve the marking page for a job or a body until Ctrl-C.

    Parameters
    ----------
    path : path
        A job file, or a body: a first job is then written beside it.
    port : int
        0 for any free one.
    open_browser : bool
        Open the address in the user's browser.

    Raises
    ------
    BadInput
        If the file or the port cannot be used.
    """
    serving = Serving(path, port)
    print(f"The marking page is at {serving.address}")
    print("The job file is saved after every change. Stop with Ctrl-C.")
    if open_browser:
        threading.Timer(0.4, webbrowser.open, [serving.address]).start()
    serving.run()
