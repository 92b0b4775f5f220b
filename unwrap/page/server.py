"""The marking page's server: small requests from one browser on this computer."""

from __future__ import annotations

import secrets
import socket
import threading
import webbrowser
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from unwrap.errors import BadInput
from unwrap.page.bench_work import BenchWork
from unwrap.page.changing import Changing
from unwrap.page.guard import Guard
from unwrap.page.handing_over import HandingOver
from unwrap.page.making import Making
from unwrap.page.opening import job_for
from unwrap.page.placing import Placing
from unwrap.page.session import Session
from unwrap.page.showing import Showing


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
        self.session = Session(job_for(path))
        self._socket = _listen(port)
        self.port: int = self._socket.getsockname()[1]
        self.work = BenchWork(self.session)
        token = secrets.token_urlsafe(24)
        self.address = f"http://127.0.0.1:{self.port}/{token}/"
        routes = [
            *Showing(self.session, self.work).routes(),
            *Changing(self.session, self.work).routes(),
            *Placing(self.session, self.work).routes(),
            *HandingOver(Making(self.session.path)).routes(),
        ]
        config = uvicorn.Config(
            Guard(Starlette(routes=routes), token, self.port),
            log_level="critical",
            access_log=False,
            lifespan="off",
            server_header=False,
            timeout_graceful_shutdown=1,  # a page that waits for news must not hold the program
        )
        self._server = uvicorn.Server(config)

    def run(self) -> None:
        """Serve until the program is interrupted."""
        try:
            self._server.run(sockets=[self._socket])
        finally:
            self.work.stop()
            self._socket.close()

    def __enter__(self) -> Serving:
        self._thread = threading.Thread(target=self.run, name="server", daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.work.stop()
        self._server.should_exit = True
        self._thread.join(timeout=30)


def _listen(port: int) -> socket.socket:
    """A socket on the loopback address alone; a browser that comes early waits."""
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind(("127.0.0.1", port))
        made.listen()
    except OSError as error:
        made.close()
        raise BadInput(
            f"port {port} cannot be used ({error.strerror}); choose another, or 0 for any."
        ) from None
    return made


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
