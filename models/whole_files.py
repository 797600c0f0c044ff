"""Files that are written whole or not at all, and in words why one cannot be."""

from __future__ import annotations

import errno
import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from models.errors import NotWrittenError

FULL = frozenset({errno.ENOSPC, errno.EDQUOT})
"""What a system says of a disk without room, or of a share of it that is used up."""

DISK_FULL = "its disk is full"

_TAKEN = frozenset({errno.EAGAIN, errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK})
"""What systems say of a lock that another process has."""

_FOLDER, _MAKING, _LOCK = ".driftbook-", "making.db", ".lock"
"""How folders begin in which a copy of a book is made, and what lies in one while a process is at it."""

_LONGEST = 40
"""So many letters of a name stand in that of the file that is being made: a name may be as long as a file system takes."""


def write_whole(path: Path, data: bytes, like: os.stat_result | None = None) -> None:
    """Write a file beside its place and move it there when it is finished; who looks sees the old one or the new one.

    Parameters
    ----------
    path : pathlib.Path
        Where it goes; one that is there is replaced. [unitless]
    data : bytes
        All of it. [unitless]
    like : os.stat_result, optional
        A file whose rights and, as far as the system lets us, owner it gets. [unitless]

    Raises
    ------
    OSError
        If it cannot be written, by the name of ``path``; what was there stays.
    """
    with _named(path), _beside(path, data, None if like is None else stat.S_IMODE(like.st_mode)) as making:
        if like is not None and os.name == "posix":
            with suppress(PermissionError):
                os.chown(making, like.st_uid, like.st_gid)
        making.replace(path)


def write_new(path: Path, data: bytes, rights: int | None = None) -> None:
    """Write a file that is not there yet: it stands under its name only when it is whole.

    Parameters
    ----------
    path : pathlib.Path
        Where it goes. [unitless]
    data : bytes
        All of it. [unitless]
    rights : int, optional
        Who may do what with it, as a file system writes it; else what is usual here. [unitless]

    Raises
    ------
    FileExistsError
        If anything is there.
    OSError
        If it cannot be written, by the name of ``path``; nothing of it is left.
    """
    with _named(path), _beside(path, data, rights) as making:
        give_name(making, path)


def add_whole(path: Path, data: bytes) -> None:
    """Add to the end of a file, all or nothing; one that is not there is made.

    It is done in place: the file may be a link, somebody else's, or one that takes nothing but additions.

    Parameters
    ----------
    path : pathlib.Path
        The file. [unitless]
    data : bytes
        What is added. [unitless]

    Raises
    ------
    OSError
        If it cannot be written, by the name of ``path``; what was there stays as it was.
    """
    with _named(path):
        if not path.exists():
            write_new(Path(os.path.realpath(path)), data)
            return
        with path.open("ab", buffering=0) as stream:
            before, left = os.fstat(stream.fileno()).st_size, memoryview(data)
            try:
                while left:  # a disk that fills up takes a part
                    left = left[stream.write(left) :]
                os.fsync(stream.fileno())
            except OSError:
                with suppress(OSError):
                    os.ftruncate(stream.fileno(), before)
                raise


def give_name(made: Path, target: Path) -> None:
    """Give a finished file its name, on the disk for good, unless somebody else has taken the name meanwhile.

    Raises
    ------
    FileExistsError
        If anything of that name is there.
    """
    with made.open("rb") as stream:
        os.fsync(stream.fileno())
    try:
        os.link(made, target)  # unlike a rename, it never replaces
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if os.path.lexists(target):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target)) from None
        made.rename(target)
    settle_names(target.parent)


def settle_names(folder: Path) -> None:
    """Wait until the names in a folder are on the disk, where the system knows such a thing.

    Parameters
    ----------
    folder : pathlib.Path
        The folder. [unitless]

    Raises
    ------
    OSError
        If the disk does not take them.
    """
    if os.name == "posix":
        place = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(place)
        finally:
            os.close(place)


@contextmanager
def making_book(place: Path) -> Iterator[Path]:
    """Give an empty file for a copy of a book, for its owner's eyes, in a folder of its own that goes away in the end with all that is beside it.

    What a process left that was killed at it goes too: nobody would find it, and it holds a whole book.

    Parameters
    ----------
    place : pathlib.Path
        Where the folder is made. [unitless]

    Raises
    ------
    OSError
        If it cannot be made.
    """
    for left in place.glob(f"{_FOLDER}*/{_MAKING}"):  # whoever makes one has the lock before
        if _is_free(left.with_name(_LOCK)):
            with suppress(OSError):
                for other in set(left.parent.iterdir()) - {left, left.with_name(_LOCK)}:
                    shutil.rmtree(other) if other.is_dir() and not other.is_symlink() else other.unlink()
                left.unlink()  # by it and its lock the next one knows the folder, should this one be stopped before
            shutil.rmtree(left.parent, ignore_errors=True)
    with tempfile.TemporaryDirectory(prefix=_FOLDER, dir=place, ignore_cleanup_errors=True) as folder:
        making = Path(folder) / _MAKING
        with only_writer(making.with_name(_LOCK), making):
            making.touch(mode=0o600)
            yield making


def _is_free(lock: Path) -> bool:
    """Tell whether the process that made a lock has ended; no where that cannot be known."""
    try:
        handle = os.open(lock, os.O_RDWR)
    except OSError:
        return False
    try:
        _lock(handle)
    except OSError:
        return False
    finally:
        os.close(handle)
    return True


@contextmanager
def only_writer(lock: Path, what: Path) -> Iterator[None]:
    """Keep other processes that ask by the same file from writing meanwhile; the system lets go when a process ends, however it ends.

    The file stays: whoever takes a lock away takes it from under the next.  A disk that knows no locks keeps nobody.

    Parameters
    ----------
    lock : pathlib.Path
        A file that is there for this only; it is made where it lacks. [unitless]
    what : pathlib.Path
        What is written, as it is named to whoever comes second. [unitless]

    Raises
    ------
    NotWrittenError
        If another process has it.
    OSError
        If the file cannot be made.
    """
    handle = _lock_file(lock)
    try:
        try:
            _lock(handle)
        except OSError as fault:
            if fault.errno in _TAKEN:
                raise NotWrittenError(
                    f"{what} is being written by another process just now.",
                    remedy="Nothing was changed there by this one. Do it again when the other has ended.",
                ) from fault
        yield
    finally:
        os.close(handle)


def _lock_file(lock: Path) -> int:
    try:
        return os.open(lock, os.O_RDWR | os.O_CREAT, 0o666)
    except PermissionError:
        if not lock.exists():
            raise
        return os.open(lock, os.O_RDONLY)  # somebody else's, in a folder in which both may write


def _lock(handle: int) -> None:
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def why_not(fault: OSError) -> str:
    """Say why a file cannot be written, to be put behind a colon: of a full disk and of one that is only read, by every command alike."""
    if fault.errno in FULL:
        return DISK_FULL
    if fault.errno == errno.EROFS:
        return "its disk can only be read"
    return (fault.strerror or str(fault)).rstrip(".")


def not_written(path: Path | str, fault: OSError, elsewhere: str = "") -> NotWrittenError:
    """Say that a file cannot be written, and what to do.

    Parameters
    ----------
    path : pathlib.Path or str
        The file or folder, as it was asked for. [unitless]
    fault : OSError
        What the system said. [unitless]
    elsewhere : str
        How another place is named: ``'-o FILE'``; empty where there is no way to. [unitless]
    """
    if fault.errno in FULL:
        remedy = "Make room on that disk and do it again"
    elif fault.errno == errno.EROFS:
        remedy = "Mount that disk for writing"
    else:
        remedy = "Check the name, its folder, and your rights there"
    other = f", or name another place: {elsewhere}" if elsewhere else ""
    return NotWrittenError(f"{path} cannot be written: {why_not(fault)}.", remedy=f"{remedy}{other}.")


@contextmanager
def _beside(path: Path, data: bytes, rights: int | None) -> Iterator[Path]:
    """Give a file beside a place with all of the data in it; nothing of it is left there afterwards."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name[:_LONGEST]}.", dir=path.parent)
    making = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if rights is None:
            hidden = os.umask(0)
            os.umask(hidden)
            rights = 0o666 & ~hidden
        making.chmod(rights)
        yield making
    finally:
        making.unlink(missing_ok=True)


@contextmanager
def _named(path: Path) -> Iterator[None]:
    """Let a fault of the system bear the name that was asked for: that of the file being made says nothing to anybody."""
    try:
        yield
    except OSError as fault:
        fault.filename, fault.filename2 = str(path), None
        raise
