"""What a command made of the project's own files, kept in the user's cache folder for the next."""

from __future__ import annotations

import os
import pickle
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

_T = TypeVar("_T")


def kept_file(name: str) -> Path | None:
    """Return where something of this name is kept, or None where there is no folder that only this
    user may write to: what is read back is a pickle.
    """
    try:
        base = Path(os.environ.get("XDG_CACHE_HOME", "") or Path.home() / ".cache")
        folder = base / "rework"
        for each in (base, folder):
            each.mkdir(mode=0o700, exist_ok=True)
        state = folder.stat()
    except (OSError, RuntimeError):  # without a home, or on a disk that is full or read only
        return None
    is_ours = not hasattr(os, "getuid") or state.st_uid == os.getuid()
    if not is_ours or state.st_mode & 0o022 or not os.access(folder, os.W_OK):
        return None
    return folder / name


def kept(name: str, stamp: str, make: Callable[[], _T]) -> _T:
    """Return what ``make`` returned when it was last called under this name and stamp, else what it
    returns now, which is then kept.

    ``stamp`` names everything that the value depends on. What cannot be kept, or read back, is
    made anew.
    """
    path = kept_file(name)
    if path is None:
        return make()
    with suppress(Exception):  # cut short, or written by another version: a pickle raises anything
        written, value = pickle.loads(path.read_bytes())
        if written == stamp:
            kept_value: _T = value
            return kept_value
    value = make()
    with suppress(OSError, AttributeError, pickle.PicklingError):
        data = pickle.dumps((stamp, value), pickle.HIGHEST_PROTOCOL)
        handle, draft = tempfile.mkstemp(dir=path.parent, prefix=f".{name}.")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        os.replace(draft, path)
    return value


def stamp_of(*folders: Path) -> str:
    """Return a text that changes when a file in one of the folders is written, added or removed."""
    states = []
    for folder in folders:
        for path in sorted(folder.rglob("*")):
            if path.suffix in (".py", ".lark", ".rule"):
                state = path.stat()
                states.append(f"{path}:{state.st_mtime_ns}:{state.st_size}")
    return "\n".join(states)
