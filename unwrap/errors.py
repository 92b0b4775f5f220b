"""The one kind of error that a user is shown."""

from __future__ import annotations


class BadInput(ValueError):
    """Something the user gave cannot be used.

    The message is one sentence for a modeller: which file, key or region, what is
    wrong with it, and how to mend it. The command prints it and ends with status 2.
    """
