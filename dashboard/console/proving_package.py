"""What 'driftbook verify --package' prints: a package held against the book."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from dashboard.console.common import out
from dashboard.words import say
from models.errors import UnreadableFileError
from models.store.verify_package import PackageSeen

SHOWN = 20
"""So many entries that are left out, or are of another machine, are named; all are counted."""


def read_package(name: str) -> bytes:
    """Read the file of a package.

    Raises
    ------
    UnreadableFileError
        If it cannot be read.
    """
    try:
        return Path(name).read_bytes()
    except OSError as fault:
        raise UnreadableFileError(f"{name} cannot be read: {fault.strerror or fault}.") from fault


def package_as_json(seen: PackageSeen) -> dict[str, Any]:
    """Give what was seen of a package for another program."""
    return {"package": asdict(seen) | {"fits": seen.fits}}


def tell_package(name: str, seen: PackageSeen) -> None:
    """Print what was seen of a package."""
    if seen.refused:
        _print(say("verify.package.refused", name=name, why=seen.refused))
        return
    _print(say("verify.package.seen", name=name, n=f"{seen.entries:,}", tag=seen.tag, size=f"{seen.size:,}"))
    if not seen.root_fits:
        _print(say("verify.package.root", size=f"{seen.size:,}"))
    for number in seen.other[:SHOWN]:
        _print(say("verify.package.other", entry=number))
    for text, entries in (("verify.package.strange", seen.strange), ("verify.package.left_out", seen.left_out)):
        if entries:
            _print(say(text, n=f"{len(entries):,}"))
        for one in entries[:SHOWN]:
            _print(say("verify.package.entry", entry=one.number, kind=one.kind, author=one.author))
    if seen.left_out and seen.other_version:
        _print(say("verify.package.other_version", tag=seen.tag))
    for said in seen.unsigned:
        _print(said)
    if seen.replaced:
        _print(say("verify.package.replaced", entry=seen.replaced))
    if seen.fits:
        _print(say("verify.package.fits"))
    if seen.newer:
        _print(say("verify.package.newer", n=f"{seen.newer:,}", size=f"{seen.size:,}"))


def _print(text: str) -> None:
    out.print(text, markup=False, soft_wrap=True)
