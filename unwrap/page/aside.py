"""Work in a process beside the page's own, ended as soon as nobody wants what it works out.

So the page answers at once whatever is being worked out, and what was begun for a region as it
was before the last change is never waited for.
"""

from __future__ import annotations

import pickle
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from typing import Any

from unwrap.alongside import Helper
from unwrap.errors import BadInput

_WANTED: ContextVar[Callable[[], bool] | None] = ContextVar("wanted", default=None)


class Dropped(Exception):
    """What was being worked out is wanted no more."""


@contextmanager
def wanted_while(holds: Callable[[], bool]) -> Iterator[None]:
    """What is worked out in the block, on this thread, is wanted as long as this holds."""
    token = _WANTED.set(holds)
    try:
        yield
    finally:
        _WANTED.reset(token)


def go_on() -> None:
    """Between two steps of the work: raises Dropped where its result is wanted no more."""
    holds = _WANTED.get()
    if holds is not None and not holds():
        raise Dropped


class Aside:
    """One helper, and a fresh one in its place where it was ended in the middle of its work."""

    def __init__(self) -> None:
        self._helper: Helper | None = None
        self._turn = threading.Lock()
        self._dropped = False
        self._over = False

    def get_ready(self) -> None:
        """Start the helper ahead, as its first second goes into loading what it needs."""
        with suppress(Dropped, BadInput):
            self.call(_load)

    def call(self, function: Callable[..., Any], *arguments: Any) -> Any:
        """What a function returns, worked out beside; here where no helper can be had.

        Parameters
        ----------
        function : callable
            Found by its module and name, as are the arguments' classes.
        *arguments : object
            Copied.

        Raises
        ------
        Dropped
            If `drop` was called meanwhile.
        BadInput
            If there is not memory enough for it.
        """
        with self._turn:
            go_on()
            helper = self._present()
            if helper is None:
                return function(*arguments)
            try:
                done, value = helper.answer(pickle.dumps((function, arguments), pickle.HIGHEST_PROTOCOL))
            except (OSError, EOFError):
                self._clear_away()
                if self._dropped or self._over:
                    raise Dropped from None
                raise BadInput("there is not memory enough to work this out.") from None
        if not done:
            raise value
        return value

    def drop(self) -> None:
        """End what is being worked out, if anything is."""
        if self._turn.locked() and self._helper is not None:
            self._dropped = True
            self._helper.kill()

    def stop(self) -> None:
        """End the helper for good, whatever it is doing."""
        self._over = True
        if self._helper is not None:
            self._helper.kill()
        with self._turn:
            self._clear_away()

    def _present(self) -> Helper | None:
        if self._over:
            raise Dropped
        if self._helper is not None and self._helper.poll() is not None:
            self._clear_away()
        if self._helper is None:
            self._dropped = False
            with suppress(OSError):
                self._helper = Helper()
        return self._helper

    def _clear_away(self) -> None:
        """Close what is left of a helper that was ended."""
        if self._helper is not None:
            self._helper.communicate()
            self._helper = None


def _load() -> None:
    """Load what lays regions flat and dresses them."""
    import unwrap.dress
    import unwrap.lay_flat  # noqa: F401
