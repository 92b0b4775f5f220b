"""Where the command line begins: an interrupt or a mistake ends it with one sentence, however early.

Exit status: 0 done; 1 done, but something in the result needs the user; 2 the input
cannot be used, and nothing was written; 130 stopped by the user.
"""

from __future__ import annotations

import io
import signal
import sys
from typing import NoReturn


def main() -> None:
    """Run the command line; every error that a user can mend is one sentence and status 2."""
    try:
        # Asked to end, clear up as after Ctrl-C.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        _spell_what_can_be()
        _run()
    except KeyboardInterrupt:
        # All is cleared up; nothing may break off this sentence.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        print("Stopped; nothing was changed.", file=sys.stderr)
        sys.exit(130)


def _spell_what_can_be() -> None:
    """Let letters that the screen, or the file that is written to, cannot spell become question marks."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _run() -> None:
    # Imported here, where an interrupt is met: it takes a fifth of a second.
    from unwrap.commands import app
    from unwrap.errors import BadInput

    try:
        app()
    except BadInput as error:
        _complain(str(error))
    except MemoryError:
        _complain("There is not enough memory for this body; simplify it or cut it into parts.")
    except SystemExit as end:
        if _interrupted(end):
            raise KeyboardInterrupt from None
        raise


def _interrupted(end: BaseException | None) -> bool:
    """Whether the library that reads the command line turned an interrupt into an exit of its own."""
    while end is not None:
        if isinstance(end, KeyboardInterrupt):
            return True
        end = end.__cause__ or end.__context__
    return False


def _complain(sentence: str) -> NoReturn:
    from unwrap.commands import complaints

    complaints.print(sentence, style="bold", markup=False, soft_wrap=True)
    sys.exit(2)


if __name__ == "__main__":
    main()
