"""Writing a file whole or not at all, one writer at a time.

What is promised
    A crash, a kill or a full disk leaves the old file whole: the content goes to a temporary file
    beside it, is forced to the disk, and takes the name in one step; then the folder is forced to
    the disk too. The file keeps its mode, its owner and, where it is a symbolic link, its target.
    Whoever changes a file reads it inside `locked`, so that of two writers the second sees what
    the first wrote. Temporary files that a killed writer left are swept by the next one: their
    names say which process of which machine they are of.

Limits
    A hard link to the file keeps the old content. Where the file system or the user's rights do
    not let a file be given away, the new file belongs to whoever wrote it. The lock holds between
    machines only as far as the file system's own locks do.
"""

from __future__ import annotations

import contextlib
import os
import platform
import shutil
import stat
import tempfile
import time
import zlib
from collections.abc import Iterable, Iterator
from contextvars import ContextVar
from pathlib import Path
from typing import TypedDict

from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.io.files import real_path
from fewtone.io.interrupts import held

__all__ = [
    "LOCK_FILE",
    "files_written",
    "locked",
    "new_folder",
    "note_written",
    "record_writes",
    "refuse_to_overwrite",
    "require_replaceable",
    "write_atomic",
]

LOCK_FILE = ".fewtone.lock"
# A lock is held while one file is read, checked and written, and that takes well under a second.
_LONGEST_WAIT_S = 30.0
_TEMPORARY = ".fewtone-part"
# Where no lock says that a temporary file is nobody's, its age does.
_ABANDONED_S = 3600.0


class _TemporaryName(TypedDict):
    prefix: str
    suffix: str
    dir: Path


# The file and the inode that its new content has, from just before it takes the name.
_record: ContextVar[list[tuple[Path, int]] | None] = ContextVar("_record", default=None)


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Keep other writers of this file's folder waiting; may be entered again inside itself.

    Parameters
    ----------
    path
        The file that is to be changed.

    Raises
    ------
    FewtoneError
        The folder cannot be written to, or another writer holds on to it.
    """
    from filelock import FileLock, Timeout

    target = real_path(path)
    lock = FileLock(target.parent / LOCK_FILE, timeout=_LONGEST_WAIT_S, is_singleton=True)
    try:
        lock.acquire()
    except Timeout as error:
        raise FewtoneError(
            Fault(
                "Another fewtone is writing in this folder and has not finished in "
                f"{_LONGEST_WAIT_S:g} s; this file was not changed.",
                fix="Wait for it, or end it, and run the command again.",
                file=str(path),
            )
        ) from error
    except (OSError, NotImplementedError) as error:
        raise _unwritable(path, error) from error
    try:
        _sweep(target, older_than_s=0.0)
        yield
    finally:
        lock.release()


def write_atomic(path: Path, content: str | bytes | Iterable[bytes]) -> None:
    """Write a file so that a crash or a full disk leaves the old one whole.

    Text is written as UTF-8 with plain newlines; pieces are written as they come.

    Parameters
    ----------
    path
        The file.
    content
        What is to stand in it.

    Raises
    ------
    FewtoneError
        The file is none that can be replaced, or the folder cannot be written to; the file is as
        it was.
    """
    data = content.encode("utf-8", "replace") if isinstance(content, str) else content
    pieces = [data] if isinstance(data, bytes) else data
    temporary: Path | None = None
    try:
        target = real_path(path)
        old = _replaceable(path, target)
        _sweep(target, older_than_s=_ABANDONED_S)
        handle, name = tempfile.mkstemp(**_temporary_name(target))
        temporary = Path(name)
        with os.fdopen(handle, "wb") as file:
            for piece in pieces:
                file.write(piece)
            file.flush()
            _take_after(file.fileno(), old)
            os.fsync(file.fileno())
            inode = os.fstat(file.fileno()).st_ino
        record = _record.get()
        if record is not None:
            record.append((target, inode))
        with held():
            temporary.replace(target)
            _sync_folder(target.parent)
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from error
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)


@contextlib.contextmanager
def new_folder(folder: Path) -> Iterator[Path]:
    """Make a folder whole or not at all: what is written into the one that is yielded becomes it.

    Parameters
    ----------
    folder
        The folder.

    Raises
    ------
    OSError
        It cannot be made, or stands there with something in it.
    """
    target = real_path(folder)
    _sweep(target, older_than_s=_ABANDONED_S)
    temporary = Path(tempfile.mkdtemp(**_temporary_name(target)))
    try:
        temporary.chmod(0o777 & ~_mask())
        yield temporary
        with held():
            if target.exists():
                target.rmdir()
            temporary.rename(target)
            _sync_folder(target.parent)
            note_written(target)
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def require_replaceable(path: Path) -> None:
    """Refuse, before any work is done, what `write_atomic` would refuse to write over.

    Raises
    ------
    FewtoneError
        Something stands there that is no ordinary file or may only be read.
    """
    with contextlib.suppress(OSError, ValueError):
        _replaceable(path, real_path(path))


def refuse_to_overwrite(files: Iterable[Path]) -> None:
    """Refuse to write over what is there.

    Parameters
    ----------
    files
        What is to be written.

    Raises
    ------
    UsageError
        Every file that exists already.
    """
    faults = [
        Fault(
            "There is something of this name already; nothing was written.",
            fix="Write to another name, or say `force` to overwrite it.",
            file=str(file),
        )
        for file in files
        if os.path.lexists(file)
    ]
    if faults:
        raise UsageError(*faults)


@contextlib.contextmanager
def record_writes() -> Iterator[None]:
    """Remember which files are written from here on, for `files_written`."""
    token = _record.set([])
    try:
        yield
    finally:
        _record.reset(token)


def note_written(path: Path) -> None:
    """Note for `files_written` a file that another library wrote, such as a database.

    Parameters
    ----------
    path
        The file.
    """
    record = _record.get()
    if record is not None:
        with contextlib.suppress(OSError):
            record.append((real_path(path), path.stat().st_ino))


def files_written() -> tuple[Path, ...]:
    """The files that were written since `record_writes` was entered, as the disk has them."""
    files: dict[Path, None] = {}
    for path, inode in _record.get() or ():
        with contextlib.suppress(OSError):
            # A writer may have been stopped between noting a file and giving it its name.
            if path.stat().st_ino == inode:
                files[path] = None
    return tuple(files)


def _replaceable(path: Path, target: Path) -> os.stat_result | None:
    """What stands there now; a fault where it must not be replaced."""
    try:
        old = target.stat()
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(old.st_mode):
        problem = "This is not an ordinary file, so it was not written to."
    elif not os.access(target, os.W_OK):
        problem = "This file may only be read, so it was not written to."
    else:
        return old
    raise FewtoneError(Fault(problem, "Name another, or change what it is.", str(path)))


def _take_after(handle: int, old: os.stat_result | None) -> None:
    """Give the new file the mode and the owner of the old one."""
    if os.name == "nt":
        return
    if old is None:
        os.fchmod(handle, 0o666 & ~_mask())
        return
    new = os.fstat(handle)
    if (new.st_uid, new.st_gid) != (old.st_uid, old.st_gid):
        try:
            os.fchown(handle, old.st_uid, old.st_gid)
        except OSError:
            with contextlib.suppress(OSError):
                os.fchown(handle, -1, old.st_gid)
    os.fchmod(handle, stat.S_IMODE(old.st_mode))


def _mask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":  # a folder cannot be opened there
        return
    # The file has its name already: where a file system cannot sync folders, that must do.
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _prefix(target: Path) -> str:
    return f".{target.name[:40]}."


def _machine() -> str:
    """The name of this machine, in few letters."""
    return f"{zlib.crc32(platform.node().encode('utf-8', 'replace')):08x}"


def _temporary_name(target: Path) -> _TemporaryName:
    """Where temporary content of a file stands, and how it is named, but for a random part."""
    return {
        "prefix": f"{_prefix(target)}{_machine()}-{os.getpid()}-",
        "suffix": _TEMPORARY,
        "dir": target.parent,
    }


def _sweep(target: Path, *, older_than_s: float) -> None:
    """Remove what a killed writer of this file or folder left.

    That of a process of this machine that is gone goes at once, other things by their age.
    """
    prefix = _prefix(target)
    with contextlib.suppress(OSError):
        for file in target.parent.iterdir():
            if file.name.startswith(prefix) and file.name.endswith(_TEMPORARY):
                with contextlib.suppress(OSError):
                    age = time.time() - file.stat().st_mtime
                    if age >= older_than_s or _is_of_the_dead(file.name.removeprefix(prefix)):
                        if file.is_dir() and not file.is_symlink():
                            shutil.rmtree(file, ignore_errors=True)
                        else:
                            file.unlink()


def _is_of_the_dead(name: str) -> bool:
    """Whether what is named so is of a process of this machine that has ended."""
    machine, _, rest = name.partition("-")
    process = rest.partition("-")[0]
    if machine != _machine() or not process.isdecimal() or os.name == "nt":
        return False
    try:
        os.kill(int(process), 0)
    except ProcessLookupError:
        return True
    except (OSError, OverflowError):
        return False
    return False


def _unwritable(path: Path, error: Exception) -> FewtoneError:
    reason = getattr(error, "strerror", None) or error
    return FewtoneError(
        Fault(
            f"This file cannot be written: {reason}. It is as it was.",
            fix="Make the folder writable or free some space, then run the command again.",
            file=str(path),
        )
    )
