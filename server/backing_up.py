"""A copy of everything in one file, made while the service runs, and the way back from it.

The file is a gzip-compressed tar archive: the database as it was at one moment, every other file of the data
folder that cannot be made anew (keys, photographs), and a list of them all with their SHA-256 sums.
"""

import hashlib
import json
import os
import shutil
import tarfile
import tempfile
import zlib
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from sensors.clock import Millis, format_time
from server.data_folder import DATABASE, held, keepsakes
from server.store.copying import check_database, copy_database
from server.store.engine import StoreError, open_store

LIST = "list.json"
VERSION = 1


class BackupError(Exception):
    """A backup that cannot be made or taken back; the text says what, why, and what was left as it was."""


@dataclass(frozen=True)
class Backup:
    """What a backup holds: how many files, their size [bytes], and when it was made."""

    files: int
    size: int
    made_at: str

    def __str__(self) -> str:
        files = "1 file" if self.files == 1 else f"{self.files} files"
        return f"{files}, {self.size / 1e6:.1f} MB"


def back_up(data: Path, database_url: str, file: Path, now: Millis) -> Backup:
    """Write everything in a data folder to one file. `now` is the wall's time, for the list [ms].

    The file is there whole or not at all, and readable by its owner alone: it holds the shop's keys.
    Raises BackupError.
    """
    if file.exists():
        raise BackupError(f"{file} is there already, and was left as it is: give another name")
    with tempfile.TemporaryDirectory(dir=_folder_of(file), prefix=".backup-") as scratch:
        copy = Path(scratch) / DATABASE
        try:
            copy_database(database_url, copy)
            contents = [(copy, DATABASE)]
            contents += [(path, path.relative_to(data).as_posix()) for path in keepsakes(data)]
            made_at = format_time(now)
            about = Path(scratch) / LIST
            whole = Path(scratch) / "whole"
            with whole.open("xb") as raw:
                os.chmod(whole, 0o600)
                with tarfile.open(fileobj=raw, mode="w:gz", compresslevel=4) as archive:
                    packed = [done for path, name in contents if (done := _pack(archive, path, name))]
                    listed = {name: digest for name, digest, _ in packed}
                    list_of = {"version": VERSION, "made_at": made_at, "sha256": listed}
                    about.write_text(json.dumps(list_of, indent=1))
                    archive.add(about, LIST, recursive=False)
                raw.flush()
                os.fsync(raw.fileno())
            whole.rename(file)
        except (OSError, StoreError) as error:
            raise BackupError(f"no backup was made: {error}") from error
        return Backup(len(packed), sum(size for _, _, size in packed), made_at)


def restore(file: Path, data: Path, replace: bool = False) -> Backup:
    """Bring back everything of a backup into a data folder that holds no store yet.

    With `replace` a folder that holds one is moved aside first, beside itself, and is not deleted.
    Raises BackupError, with nothing changed, where the file is not whole or the folder is in use.
    """
    target = data.resolve()
    if (target / DATABASE).exists() and not replace:
        raise BackupError(
            f"data folder {data} holds a store already: give another --data, "
            "or --replace, which moves that one aside"
        )
    with tempfile.TemporaryDirectory(dir=_folder_of(target), prefix=".restore-") as scratch:
        unpacked = Path(scratch) / "data"
        unpacked.mkdir()
        about = _unpack(file, unpacked)
        try:
            check_database(unpacked / DATABASE)
            # Opening it brings it up to date, or says that it was written by a newer version.
            open_store(f"sqlite:///{unpacked / DATABASE}").dispose()
        except StoreError as error:
            raise BackupError(f"{file} was not restored: {error}") from error
        files = [path for path in unpacked.rglob("*") if path.is_file()]
        found = Backup(len(files), sum(path.stat().st_size for path in files), str(about["made_at"]))
        try:
            if target.exists():
                with held(target):
                    _set_aside(target)
            unpacked.rename(target)
        except (OSError, RuntimeError) as error:
            raise BackupError(f"{file} was not restored: {error}") from error
    return found


def _pack(archive: tarfile.TarFile, path: Path, name: str) -> tuple[str, str, int] | None:
    """Put one file in: its name, its SHA-256 and its size [bytes]; None where it is there no more.

    A photograph may be taken back meanwhile. It is read by the one handle, so that the sum is of what is in.
    """
    try:
        stream = path.open("rb")
    except FileNotFoundError:
        return None
    with stream:
        about = archive.gettarinfo(arcname=name, fileobj=stream)
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
        stream.seek(0)
        archive.addfile(about, stream)
    return name, digest, about.size


def _folder_of(file: Path) -> Path:
    folder = file.resolve().parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BackupError(f"folder {folder} cannot be made: {error.strerror}") from error
    return folder


def _set_aside(target: Path) -> None:
    """Move a folder out of the way under a name that is free; an empty one goes."""
    number = 1
    while (aside := target.with_name(f"{target.name}.before-{number}")).exists():
        number += 1
    target.rename(aside)
    if not (aside / DATABASE).exists() and not keepsakes(aside):
        shutil.rmtree(aside)


def _unpack(file: Path, into: Path) -> dict[str, Any]:
    """Unpack, and hold every file against the list."""
    try:
        with tarfile.open(file, "r:gz") as archive:
            for member in archive:
                _unpack_one(archive, member, into)
        listing = into / LIST
        about: dict[str, Any] = json.loads(listing.read_text())
        listing.unlink()
        version, sums = about["version"], dict(about["sha256"])
        about["made_at"] = str(about["made_at"])
    except (OSError, EOFError, zlib.error, tarfile.TarError, ValueError, KeyError, TypeError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "it is no whole backup"
        raise BackupError(f"{file} cannot be read: {reason}; nothing was changed") from error
    if version != VERSION:
        raise BackupError(f"{file} is a backup of version {version!r}; this program reads version {VERSION}")
    there = {path.relative_to(into).as_posix(): path for path in into.rglob("*") if path.is_file()}
    if there.keys() != sums.keys() or DATABASE not in there:
        odd = sorted(there.keys() ^ sums.keys()) or [DATABASE]
        raise BackupError(f"{file} is not whole: {', '.join(odd)} should not be there or is missing")
    broken = [name for name, path in there.items() if _sum(path) != sums[name]]
    if broken:
        raise BackupError(f"{file} is damaged at {', '.join(sorted(broken))}; nothing was changed")
    return about


def _unpack_one(archive: tarfile.TarFile, member: tarfile.TarInfo, into: Path) -> None:
    """Write one plain file below the folder. By hand: not every Python 3.11 has PEP 706."""
    parts = PurePosixPath(member.name).parts
    content = archive.extractfile(member) if member.isfile() else None
    if content is None or ".." in parts or member.name.startswith("/"):
        raise ValueError(f"{member.name!r} is no plain file of a data folder")
    path = into.joinpath(*parts)
    path.parent.mkdir(parents=True, exist_ok=True)
    with content, path.open("xb") as stream:
        shutil.copyfileobj(content, stream)
    path.chmod(member.mode & 0o777)


def _sum(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
