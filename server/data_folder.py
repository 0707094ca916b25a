"""The data folder: what is in it, and that one program at a time works on it."""

import fcntl
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

DATABASE = "slowcorner.db"
COMPILED = "compiled"
"""Compiled code, made anew wherever it is missing."""

IN_USE = "in-use"
"""The file that whoever works on the folder holds locked."""


@contextmanager
def held(data: Path) -> Iterator[None]:
    """Hold the folder, made where there is none, for one program alone.

    Raises RuntimeError where another one holds it.
    """
    data.mkdir(parents=True, exist_ok=True)
    with (data / IN_USE).open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise RuntimeError(
                f"data folder {data}: another Slowcorner is at work on it; stop it or give --data"
            ) from None
        yield


def in_use(data: Path) -> bool:
    """Whether a program holds the folder."""
    try:
        with (data / IN_USE).open() as lock:
            fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except FileNotFoundError:
        return False
    except OSError:
        return True
    return False


def keep_secret(path: Path, content: bytes) -> None:
    """Write a file whole, for its owner alone (mkstemp's 0600): a loss of power leaves no half of it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def keepsakes(data: Path) -> list[Path]:
    """Every file of the folder that a backup keeps, beside the database: keys, photographs, certificates."""
    left_out = {IN_USE, *(DATABASE + end for end in ("", "-wal", "-shm", "-journal"))}
    return sorted(
        path
        for path in data.rglob("*")
        if path.is_file()
        and not path.is_symlink()
        # What is on its way to being written, such as this backup itself, is no keepsake.
        and not any(part.startswith(".") for part in path.relative_to(data).parts)
        and path.relative_to(data).parts[0] not in (COMPILED, *left_out)
    )
