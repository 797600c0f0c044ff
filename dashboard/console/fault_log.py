"""A fault of the program: told in words, and kept for whoever mends it."""

from __future__ import annotations

import errno
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

from dashboard.console.endings import NOT_DONE
from dashboard.console.typed import hidden
from models.whole_files import FULL, not_written


def unexpected(fault: Exception, typed: Sequence[str] = ()) -> int:
    """Say in words what the system said, and keep the details for whoever mends it.

    Parameters
    ----------
    fault : Exception
        What happened. [unitless]
    typed : sequence of str
        What was typed: a path of it that cannot be read or written is no fault of the program. [unitless]
    """
    system = next((one for one in (fault, fault.__cause__, fault.__context__) if isinstance(one, OSError)), None)
    if system is not None and system.errno in {*FULL, errno.EROFS}:
        told = not_written(system.filename or "The output", system)
        print(f"driftbook: {told} Nothing half-done is in the book.", file=sys.stderr)  # noqa: T201
        return NOT_DONE
    if system is not None and system.strerror and system.filename:
        place = Path(str(system.filename))
        if any(Path(word) in {place, *place.parents} for word in typed if word.strip(".")):
            print(  # noqa: T201
                f"driftbook: {place} cannot be read or written: {system.strerror}.\nCheck the name, its folder, and your rights there.",
                file=sys.stderr,
            )
            return NOT_DONE
    log = Path("driftbook-fault.log")
    kept = ""
    try:
        log.write_text(hidden("".join(traceback.format_exception(fault)), typed), encoding="utf-8")
        kept = f" The details are in {log}; send them along when you report it."
    except OSError:
        kept = " Run it again with DRIFTBOOK_DEBUG=1 to see the details."
    first = hidden(str(fault).splitlines()[0] if str(fault) else type(fault).__name__, typed)
    print(f"driftbook: this did not work: {first}\nNothing half-done is in the book.{kept}", file=sys.stderr)  # noqa: T201
    return NOT_DONE
