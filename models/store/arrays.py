"""Frozen values full of arrays, to files and back: each array a ``.npy`` file that is opened without being read.

Only known dataclasses are built again, and no pickled object is ever
loaded: a file that somebody else put there can be wrong, but it cannot act.
What a disk changed by itself is found by checksums: every file is gone through
once, which takes a small part of the time that reading the book would take.
"""

from __future__ import annotations

import json
import os
import sys
import zlib
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

HOMES = ("models.", "dashboard.views.")
"""Only classes of these modules are built again."""

_PIECE = 1 << 22
"""So much of a file is gone through at a time. [byte]"""

SMALL = 1 << 16
"""Arrays below this length are read at once; a map of its own would cost more. [byte]"""


class UnfitError(Exception):
    """What stands in the files is not what was written."""


def write(folder: Path, value: Any) -> tuple[Any, int]:
    """Write the arrays of a value into a folder, and wait until the disk has them.

    Parameters
    ----------
    folder : Path
        An empty folder. [unitless]
    value : Any
        Dataclasses of the modules above, tuples, arrays, numbers, texts and ``None``, nested. [unitless]

    Returns
    -------
    tree, length : Any, int
        What :func:`read` needs, fit for JSON; length of all files [byte].
    """
    writer = _Writer(folder)
    return writer.tree(value), writer.length


class _Writer:
    def __init__(self, folder: Path) -> None:
        self.folder, self.count, self.length = folder, 0, 0
        self.known: dict[int, tuple[Any, Any]] = {}

    def tree(self, value: Any) -> Any:
        if value is None or isinstance(value, (bool, str, int, float)):
            return value
        if isinstance(value, np.generic):
            return value.item()
        if isinstance(value, tuple):
            return {"tuple": [self.tree(one) for one in value]}
        if id(value) not in self.known:
            # The value is kept with its tree: an id is given again after its object is gone.
            self.known[id(value)] = (
                value,
                self._array(value) if isinstance(value, np.ndarray) else self._object(value),
            )
        return self.known[id(value)][1]

    def _object(self, value: Any) -> dict[str, Any]:
        kind = type(value)
        if not is_dataclass(value) or not kind.__module__.startswith(HOMES):
            raise TypeError(f"cannot be kept: {kind}")
        parts = {field.name: self.tree(getattr(value, field.name)) for field in fields(value)}
        return {"class": f"{kind.__module__}:{kind.__qualname__}", "fields": parts}

    def _array(self, value: NDArray[Any]) -> dict[str, Any]:
        if value.dtype == object:
            return {"texts": [str(one) for one in value.tolist()]}
        name = f"{self.count:04d}.npy"
        self.count += 1
        path = self.folder / name
        with path.open("wb") as stream:
            np.lib.format.write_array(stream, np.ascontiguousarray(value), allow_pickle=False)
            stream.flush()
            # A name without its contents must never be found after a power cut.
            os.fsync(stream.fileno())
        length = path.stat().st_size
        self.length += length
        return {"file": name, "length": length, "sum": checksum(path)}


def read(folder: Path, tree: Any) -> Any:
    """Build a value again; long arrays are mapped, not read.

    Parameters
    ----------
    folder : Path
        Where its arrays are. [unitless]
    tree : Any
        What :func:`write` gave. [unitless]

    Raises
    ------
    UnfitError
        If a file is missing, has another length or checksum, or does not hold what it should.
    """
    try:
        return _built(folder, tree, {})
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as fault:
        raise UnfitError(str(fault)) from fault


def _built(folder: Path, tree: Any, known: dict[str, NDArray[Any]]) -> Any:
    if not isinstance(tree, dict):
        return tree
    if "tuple" in tree:
        return tuple(_built(folder, one, known) for one in tree["tuple"])
    if "texts" in tree:
        array = np.empty(len(tree["texts"]), dtype=object)
        array[:] = tree["texts"]
        return array
    if "file" in tree:
        name = tree["file"]
        if name not in known:
            known[name] = _mapped(folder / Path(name).name, tree["length"], tree["sum"])
        return known[name]
    parts = {name: _built(folder, one, known) for name, one in tree["fields"].items()}
    return _class(tree["class"])(**parts)


def _mapped(path: Path, length: int, summed: int) -> NDArray[Any]:
    if path.stat().st_size != length:
        raise UnfitError(f"{path.name} has another length")
    if checksum(path) != summed:
        raise UnfitError(f"{path.name} has another checksum")
    array = np.load(path, mmap_mode=None if length < SMALL else "r", allow_pickle=False)
    # A plain array over the map: the map's own class would follow every result around.
    plain = np.asarray(array)
    plain.flags.writeable = False
    return plain


def _class(name: str) -> Any:
    module, _, called = name.partition(":")
    found = getattr(sys.modules.get(module), called, None) if module.startswith(HOMES) else None
    if found is None or not isinstance(found, type) or not is_dataclass(found):
        raise UnfitError(f"no class {name}")
    return found


def checksum(path: Path) -> int:
    """Give the CRC-32 of a file."""
    found, piece = 0, bytearray(_PIECE)
    with path.open("rb", buffering=0) as stream:
        while taken := stream.readinto(piece):
            found = zlib.crc32(memoryview(piece)[:taken], found)
    return found


def dump(path: Path, value: Any) -> None:
    """Write a value as JSON behind its checksum, and wait until the disk has it."""
    said = json.dumps(value, ensure_ascii=False).encode()
    with path.open("wb") as stream:
        stream.write(b"%08x\n%b" % (zlib.crc32(said), said))
        stream.flush()
        os.fsync(stream.fileno())


def load(path: Path) -> Any:
    """Read what :func:`dump` wrote.

    Parameters
    ----------
    path : Path
        The file. [unitless]

    Raises
    ------
    UnfitError
        If its checksum is another one.
    """
    summed, _, said = path.read_bytes().partition(b"\n")
    if summed != b"%08x" % zlib.crc32(said):
        raise UnfitError(f"{path.name} has another checksum")
    return json.loads(said)
