"""Making the sheets from the page: in a thread, with progress, into a folder beside the job."""

from __future__ import annotations

import threading
import traceback
from pathlib import Path
from typing import Any

from unwrap.errors import BadInput
from unwrap.make import make


class Making:
    """The making that was asked for last."""

    def __init__(self, job_path: Path) -> None:
        self.job_path = job_path
        self.out = job_path.with_name(f"{job_path.stem}-sheets")
        self._lock = threading.Lock()
        self._state: dict[str, Any] = {"running": False, "doing": "", "share": 0.0, "files": []}

    def begin(self) -> None:
        """Start, unless it is running."""
        with self._lock:
            if self._state["running"]:
                return
            self._state = {"running": True, "doing": "beginning", "share": 0.0, "files": []}
        threading.Thread(target=self._run, name="making", daemon=True).start()

    def state(self) -> dict[str, Any]:
        """How far it has come; the files and the warnings when it is done."""
        with self._lock:
            return dict(self._state)

    def file(self, name: str) -> Path:
        """A file that was made. Raises BadInput for any other."""
        if name not in self.state()["files"]:
            raise BadInput(f"{name}: this was not made.")
        return self.out / name

    def _tell(self, doing: str, share: float) -> None:
        with self._lock:
            self._state |= {"doing": doing, "share": share}

    def _run(self) -> None:
        try:
            result = make(self.job_path, self.out, tell=self._tell)
            done = {
                "files": sorted(path.name for path in result.files),
                "warnings": result.report["warnings"],
                "seconds": result.report["seconds"],
                "folder": self.out.name,
                "share": 1.0,
                "doing": "done",
            }
        except BadInput as error:
            done = {"error": str(error)}
        except Exception as error:  # said on the page; the server goes on
            traceback.print_exc()
            done = {"error": f"the sheets could not be made ({error})."}
        with self._lock:
            self._state |= done | {"running": False}
