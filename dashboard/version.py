"""Which program this is: what papers, packages, the log and --version say of it."""

from __future__ import annotations

from functools import cache


def program_version() -> str:
    """Give the version of the program; in words where it runs from a checkout."""
    from importlib.metadata import PackageNotFoundError, version  # half of the start, and needed for nothing else

    try:
        return version("driftbook")
    except PackageNotFoundError:
        return "from a checkout"


@cache
def program() -> str:
    """Give name and version of the program, and the revision of the books that it writes."""
    from models.store.revision import needed_revision

    return f"driftbook {program_version()}, books of revision {needed_revision()}"
