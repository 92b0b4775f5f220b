"""Make the sheets when the page asks, and hand over the files that were made."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from unwrap.page.asked import gets, posts
from unwrap.page.making import Making


class HandingOver:
    """Answers about the making that was asked for last."""

    def __init__(self, making: Making) -> None:
        self.making = making

    def routes(self) -> list[Route]:
        """The addresses below the token."""
        return gets({"/making": self.state, "/made/{name}": self.file}) + posts({"/make": self.begin})

    async def begin(self, request: Request) -> Response:
        """Make the sheets."""
        self.making.begin()
        return JSONResponse(self.making.state())

    async def state(self, request: Request) -> Response:
        """How far the making has come."""
        return JSONResponse(self.making.state())

    async def file(self, request: Request) -> Response:
        """A file that was made; shown as a picture where it is one, else saved."""
        path = self.making.file(request.path_params["name"])
        shown_here = path.suffix in (".png", ".svg")
        return FileResponse(
            path,
            content_disposition_type="inline" if shown_here else "attachment",
            filename=path.name,
            headers={"Content-Security-Policy": "default-src 'none'; sandbox"},  # a picture and nothing more
        )
