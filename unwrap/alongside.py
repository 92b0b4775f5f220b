"""Work given to other processes beside this one, with the same result whoever does it.

A helper is a fresh interpreter that takes functions and their arguments from its standard
input and writes what they return to its standard output. It does not import the program
that asked, so it serves a script, a notebook, the page and the commands alike, on every
system.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from queue import SimpleQueue
from threading import Event, Lock, Thread
from types import TracebackType
from typing import IO, Any

# More helpers than this only share the memory's speed among them.
MOST_HELPERS = 3
# What a helper runs.
_START = "from unwrap.alongside import serve; serve()"


class Task:
    """A function with its arguments that one of several processes will call.

    Parameters
    ----------
    function : callable
        Found by its module and name, as are the arguments' classes.
    arguments : tuple
        Copied even where this process does the work, so that nothing depends on who does.
    """

    def __init__(self, function: Callable[..., Any], arguments: tuple[Any, ...]) -> None:
        self._request = pickle.dumps((function, arguments), protocol=pickle.HIGHEST_PROTOCOL)
        self._lock = Lock()
        self._claimed = False
        self._answered = Event()
        self._answer: tuple[bool, Any] = False, None

    def claim(self) -> bytes | None:
        """What is to be done, for the first who asks."""
        with self._lock:
            if self._claimed:
                return None
            self._claimed = True
            return self._request

    def settle(self, answer: tuple[bool, Any]) -> None:
        """Whether it was done, and what it returned or raised."""
        self._answer = answer
        self._answered.set()

    def result(self) -> Any:
        """What the function returned, once somebody has called it; raised here if it raised."""
        while not self._answered.wait(0.1):  # a wait without end cannot be interrupted everywhere
            pass
        done, value = self._answer
        if not done:
            raise value
        return value


class Helper(subprocess.Popen[bytes]):
    """A fresh interpreter that calls one function after another.

    Raises
    ------
    OSError
        If none can be started.
    """

    def __init__(self) -> None:
        super().__init__(
            [sys.executable, "-c", _START],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
        )

    def answer(self, request: bytes) -> tuple[bool, Any]:
        """Whether a pickled function could be called with its arguments, and what it returned or raised.

        Raises
        ------
        OSError or EOFError
            If the helper was ended meanwhile.
        """
        assert self.stdin is not None and self.stdout is not None
        _send(self.stdin, request)
        answer: tuple[bool, Any] = pickle.loads(_receive(self.stdout))
        return answer


class Alongside:
    """Helpers for one piece of work; a context manager that ends them with it.

    Parameters
    ----------
    processes : int or None
        How many processes work, this one among them; None for one per processor.
    """

    def __init__(self, processes: int | None = None) -> None:
        self._helpers_left = min((processes or _processors()) - 1, MOST_HELPERS)
        self._processes: list[Helper] = []
        self._threads: list[Thread] = []
        self._tasks: SimpleQueue[Task | None] = SimpleQueue()

    def __enter__(self) -> Alongside:
        """Nothing starts before there is work for it."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the helpers, whatever they are doing."""
        for process in self._processes:
            process.kill()
            self._tasks.put(None)
        for thread, process in zip(self._threads, self._processes, strict=True):
            thread.join()
            process.communicate()

    def get_ready(self, function: Callable[..., Any]) -> None:
        """Have a helper begin and import what a function needs, seconds ahead of work that is worth one."""
        self.submit(callable, function)  # the helper imports it to answer

    def submit(self, function: Callable[..., Any], *arguments: Any, worth: bool = True) -> Task:
        """Hand in work; a helper begins it when one is free.

        Parameters
        ----------
        function : callable
        *arguments : object
        worth : bool
            Whether it is worth starting a helper for, which takes a second by itself.

        Returns
        -------
        Task
        """
        task = Task(function, arguments)
        self._tasks.put(task)
        if worth and self._helpers_left > 0:
            self._helpers_left -= 1
            self._start()
        return task

    def results(self, tasks: Sequence[Task], tell: Callable[[int], None] | None = None) -> list[Any]:
        """What tasks returned, in their order; what nobody has begun yet is done here.

        Parameters
        ----------
        tasks : sequence of Task
        tell : callable, optional
            Told the number of each that is done here.

        Raises
        ------
        Exception
            What the first of them that failed raised.
        """
        for number, task in enumerate(tasks):
            request = task.claim()
            if request is not None:
                if tell:
                    tell(number)
                task.settle(_answer(request))
        return [task.result() for task in tasks]

    def _start(self) -> None:
        try:
            process = Helper()
        except OSError:  # then this process does all
            return
        thread = Thread(target=self._drive, args=(process,), daemon=True)
        self._processes.append(process)
        self._threads.append(thread)
        thread.start()

    def _drive(self, process: Helper) -> None:
        """Give a helper one task after another until this work is over."""
        while (task := self._tasks.get()) is not None:
            if process.poll() is not None:
                return
            request = task.claim()
            if request is None:
                continue
            try:
                task.settle(process.answer(request))
            except (OSError, EOFError):
                # The work is over, or the helper was ended for want of memory.
                task.settle((False, MemoryError()))
                return


def serve() -> None:
    """What a helper does: answer requests until there are no more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever asked is told, and ends this process
    requests, answers = sys.stdin.buffer, os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # nothing that is printed may get among the answers
    while True:
        try:
            request = _receive(requests)
        except EOFError:
            return
        _send(answers, pickle.dumps(_answer(request), protocol=pickle.HIGHEST_PROTOCOL))


def timed(function: Callable[..., Any], *arguments: Any) -> tuple[Any, float]:
    """What a function returns, and the seconds that it took wherever it ran."""
    begun = time.perf_counter()
    return function(*arguments), time.perf_counter() - begun


def _processors() -> int:
    """How many of the machine's processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _answer(request: bytes) -> tuple[bool, Any]:
    """Whether the work was done, and what it returned or raised."""
    try:
        function, arguments = pickle.loads(request)
        return True, function(*arguments)
    except Exception as error:
        return False, error


def _send(stream: IO[bytes], message: bytes) -> None:
    stream.write(len(message).to_bytes(8, "little"))
    stream.write(message)
    stream.flush()


def _receive(stream: IO[bytes]) -> bytes:
    head = stream.read(8)
    size = int.from_bytes(head, "little")
    message = stream.read(size) if len(head) == 8 else b""
    if len(head) < 8 or len(message) < size:
        raise EOFError
    return message
