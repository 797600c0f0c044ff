"""Files that are written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def write_whole(path: Path, data: bytes) -> None:
    """Write a file beside its place and move it there when it is finished; who looks sees the old one or the new one.

    Parameters
    ----------
    path : pathlib.Path
        Where it goes; one that is there is replaced. [unitless]
    data : bytes
        All of it. [unitless]

    Raises
    ------
    OSError
        If it cannot be written; what was there stays.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    making = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        rights = os.umask(0)
        os.umask(rights)
        making.chmod(0o666 & ~rights)
        making.replace(path)
    except BaseException:
        making.unlink(missing_ok=True)
        raise
