"""What the page asks, read with bounds, and what goes wrong, said as one sentence."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable
from typing import Any

import numpy as np
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from unwrap.errors import BadInput
from unwrap.page.session import Stale

LARGEST_REQUEST = 2_000_000  # bytes of a change; a lasso of thousands of corners fits

Answer = Callable[[Request], Awaitable[Response]]


def spoken(answer: Answer) -> Answer:
    """Turn what goes wrong into one sentence for the page; the server goes on."""

    async def answering(request: Request) -> Response:
        try:
            return await answer(request)
        except Stale as error:
            return JSONResponse({"error": str(error), "stale": True}, status_code=409)
        except BadInput as error:
            return JSONResponse({"error": str(error)}, status_code=400)
        except ClientDisconnect:
            return Response(status_code=400)
        except Exception as error:  # whatever was sent
            return JSONResponse({"error": f"this could not be done ({error})."}, status_code=500)

    return answering


def binary(data: bytes) -> Response:
    """Bytes for the page's own arrays."""
    return Response(data, media_type="application/octet-stream")


async def received(request: Request, most: int) -> bytes:
    """The request's body, read only as far as it may go."""
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > most:
            raise BadInput(f"this is larger than {most // 1_000_000} MB; give a smaller file.")
        parts.append(part)
    return b"".join(parts)


async def asked_in(request: Request) -> dict[str, Any]:
    """The request's body as a table."""
    try:
        asked = json.loads(await received(request, LARGEST_REQUEST))
    except (ValueError, RecursionError):
        asked = None
    if not isinstance(asked, dict):
        raise BadInput("the page sent something that cannot be read; load it again.")
    return asked


def whole(value: Any) -> int:
    """A revision or a count."""
    try:
        return int(value)
    except (TypeError, ValueError, OverflowError):
        raise BadInput("the page sent no revision; load it again.") from None


def word(asked: dict[str, Any], key: str) -> str:
    """A text that was sent under a key."""
    if not isinstance(asked.get(key), str):
        raise _missing(key)
    return asked[key]


def table(asked: dict[str, Any], key: str) -> dict[str, Any]:
    """A table that was sent under a key."""
    if not isinstance(asked.get(key), dict):
        raise _missing(key)
    return asked[key]


def numbers(asked: dict[str, Any], key: str, count: int) -> list[float]:
    """A list of finite numbers that was sent under a key."""
    given = asked.get(key)
    found = given if isinstance(given, list) else []
    plain = all(isinstance(n, int | float) and not isinstance(n, bool) and np.isfinite(n) for n in found)
    if len(found) != count or not plain:
        raise _missing(key)
    return [float(n) for n in found]


def places(asked: dict[str, Any], key: str) -> list[list[float]]:
    """A list of places, mm; empty where none were sent."""
    given = asked.get(key) or []
    if not isinstance(given, list) or len(given) > 1000:
        raise _missing(key)
    return [numbers({key: place}, key, 3) for place in given]


def limits(asked: dict[str, Any]) -> dict[str, tuple[float, float]]:
    """Limits along the body's axes, mm, sent as `within`."""
    given = asked.get("within") or {}
    if not isinstance(given, dict):
        raise _missing("within")
    pairs = {axis: numbers(given, axis, 2) for axis in given if axis in ("x", "y", "z")}
    return {axis: (low, high) for axis, (low, high) in pairs.items()}


def _missing(key: str) -> BadInput:
    return BadInput(f"the page sent no {key}; load it again.")


def gets(answers: dict[str, Answer]) -> list[Route]:
    """Routes that only look."""
    return [Route(path, spoken(answer), methods=["GET"]) for path, answer in answers.items()]


def posts(answers: dict[str, Answer]) -> list[Route]:
    """Routes that send something."""
    return [Route(path, spoken(answer), methods=["POST"]) for path, answer in answers.items()]
