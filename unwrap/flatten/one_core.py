"""Keep BLAS to one core while many small dense blocks are worked on.

The solver's fronts are mostly a few dozen unknowns wide. Sharing such a block out among
cores costs more than the arithmetic: it doubles the time on an idle machine of two
cores, and multiplies it by ten and more on a busy one.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, wraps
from typing import ParamSpec, TypeVar

import scipy.linalg  # noqa: F401  (its BLAS must be loaded before it can be found)
from threadpoolctl import ThreadpoolController

P = ParamSpec("P")
R = TypeVar("R")


def on_one_core(function: Callable[P, R]) -> Callable[P, R]:
    """The function, with BLAS on the calling core alone while it runs."""

    @wraps(function)
    def limited(*args: P.args, **kwargs: P.kwargs) -> R:
        with _controller().limit(limits=1, user_api="blas"):
            return function(*args, **kwargs)

    return limited


@cache
def _controller() -> ThreadpoolController:
    # Looking through the loaded libraries takes milliseconds: once is enough.
    return ThreadpoolController()
