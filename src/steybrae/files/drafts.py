"""Drafts of plans: one small text for each, kept at once, whole, and by one writer at a time."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from steybrae.errors import FileReadError, FileWriteError
from steybrae.files.whole import locked, write_text

LOCK_WAIT_S: Final = 5.0
"""How long another writer is waited for, seconds (our choice: one writes some kilobytes)."""

MOST_BYTES: Final = 4_000_000
"""Largest draft read, bytes (our choice: twice the largest message)."""


def draft_path(parts: Sequence[str]) -> Path:
    """File of the draft that belongs to these: in the user's folder for state, named by their hash."""
    state = os.environ.get("XDG_STATE_HOME") or os.path.expanduser("~/.local/state")  # noqa: PTH111
    name = hashlib.sha256("\n".join(parts).encode(errors="surrogatepass")).hexdigest()[:24]
    return Path(state) / "steybrae" / f"draft-{name}.json"


def read_draft(path: Path) -> str | None:
    """Read a draft; None where there is none. `FileReadError` where one is there, and cannot be read."""
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
        return content.decode() if len(content) <= MOST_BYTES else ""
    except FileNotFoundError:
        return None
    except UnicodeDecodeError:
        return ""
    except OSError as error:
        message = f"The draft {path} could not be read: {error.strerror}. Check its folder."
        raise FileReadError(message) from error


def change_draft(path: Path, change: Callable[[str | None], str | None]) -> None:
    """Write a draft anew from what is there, while no other writer does.

    `change` takes what is there, None for nothing; what it returns is written, None leaves it. The
    folder is made where there is none. Refused where the system does, or another writer does not
    end.
    """
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        message = f"The folder {path.parent} for drafts could not be made: {error.strerror}. Check the name."
        raise FileWriteError(message) from error
    lock = path.with_suffix(".lock")
    busy = f"The draft beside {lock} should be free; another program holds it. Close that."
    with locked(lock, LOCK_WAIT_S, busy, instead=lock):
        text = change(read_draft(path))
        if text is not None:
            write_text(path, text, force=True)


def put_aside(path: Path) -> None:
    """Keep a draft that cannot be used under another name: nothing is lost."""
    with suppress(OSError):
        path.replace(path.with_suffix(f".{time.time_ns()}.damaged"))
