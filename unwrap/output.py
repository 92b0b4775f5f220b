"""Write a set of files into a folder, all at once or not at all."""

from __future__ import annotations

import secrets
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from unwrap.errors import BadInput

_STAGING = ".unwrap-new-"
_KEPT = ".unwrap-old"
_ABANDONED_AFTER = 3600.0  # seconds; a younger staging folder may belong to a run beside this one


@contextmanager
def all_at_once(out_dir: str | Path, stale: tuple[str, ...] = ()) -> Iterator[Path]:
    """Give a staging folder whose files replace those of `out_dir` when the block ends well.

    Where the block or the replacing fails (an error, Ctrl-C, a full disk), `out_dir` is
    left as it was. A run that was killed in the moment of replacing is put right by the
    next one. Files of other names in `out_dir` are not touched.

    Parameters
    ----------
    out_dir : path
        Made, with its parents, where it is missing.
    stale : tuple of str
        Glob patterns of files that an earlier run may have left and this one replaces,
        so that no sheet of an older job stays among the new ones.

    Raises
    ------
    BadInput
        If the folder cannot be made or written.
    """
    out_dir = Path(out_dir)
    if out_dir.exists() and not out_dir.is_dir():
        raise BadInput(f"{out_dir}: this is a file; give a folder for the results.")
    made = _missing_parents(out_dir)
    # Named before it is made, so that a Ctrl-C in that very moment leaves nothing behind.
    staging = out_dir / (_STAGING + secrets.token_hex(4))
    try:
        try:
            out_dir.mkdir(parents=True, exist_ok=True)
            _put_back(out_dir)
            staging.mkdir(mode=0o700)
        except OSError as error:
            raise BadInput(
                f"{out_dir}: cannot be written ({error.strerror}); choose another folder."
            ) from None
        yield staging
        _replace(out_dir, staging, stale)
    except OSError as error:
        raise BadInput(f"{out_dir}: writing failed ({error.strerror}); nothing there was changed.") from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)
        _remove_empty(made)


def _missing_parents(folder: Path) -> list[Path]:
    """The folders that would have to be made, innermost first."""
    return [part for part in (folder, *folder.parents) if not part.exists()]


def _remove_empty(folders: list[Path]) -> None:
    for folder in folders:
        try:
            folder.rmdir()
        except OSError:
            return


def _replace(out_dir: Path, staging: Path, stale: tuple[str, ...]) -> None:
    """Swap the staged files in; put the old ones back if anything goes wrong on the way."""
    new = sorted(path.relative_to(staging) for path in staging.rglob("*") if path.is_file())
    old = {path.relative_to(out_dir) for pattern in stale for path in out_dir.glob(pattern) if path.is_file()}
    old |= {name for name in new if (out_dir / name).is_file()}
    kept = out_dir / _KEPT
    kept.mkdir()
    try:
        for name in sorted(old):
            (kept / name).parent.mkdir(parents=True, exist_ok=True)
            (out_dir / name).replace(kept / name)
        # From here a listing of the new files tells an interrupted swap what to undo.
        (kept / ".new").write_text("\n".join(name.as_posix() for name in new), encoding="utf-8")
        for name in new:
            (out_dir / name).parent.mkdir(parents=True, exist_ok=True)
            (staging / name).replace(out_dir / name)
    except BaseException:
        _put_back(out_dir)
        raise
    # Renaming ends the swap in one step: a kill after it leaves only a folder to clear.
    done = Path(tempfile.mkdtemp(prefix=_STAGING, dir=out_dir))
    kept.replace(done / "old")
    shutil.rmtree(done, ignore_errors=True)


def _put_back(out_dir: Path) -> None:
    """Undo a swap that was broken off, and clear what broken-off runs left."""
    kept = out_dir / _KEPT
    if kept.is_dir():
        listing = kept / ".new"
        if listing.is_file():
            for name in listing.read_text(encoding="utf-8").splitlines():
                (out_dir / name).unlink(missing_ok=True)
            listing.unlink()
        for path in sorted(kept.rglob("*")):
            if path.is_file():
                path.replace(out_dir / path.relative_to(kept))
        shutil.rmtree(kept, ignore_errors=True)
    for left in out_dir.glob(f"{_STAGING}*"):
        if time.time() - left.stat().st_mtime > _ABANDONED_AFTER:
            shutil.rmtree(left, ignore_errors=True)
