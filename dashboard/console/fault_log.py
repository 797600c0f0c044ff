"""A fault of the program: told in words, and kept for whoever mends it."""

from __future__ import annotations

import sys
import traceback
from pathlib import Path


def unexpected(fault: Exception) -> int:
    """Say in words what the system said, and keep the details for whoever mends it."""
    log = Path("driftbook-fault.log")
    kept = ""
    try:
        log.write_text("".join(traceback.format_exception(fault)), encoding="utf-8")
        kept = f" The details are in {log}; send them along when you report it."
    except OSError:
        kept = " Run it again with DRIFTBOOK_DEBUG=1 to see the details."
    first = str(fault).splitlines()[0] if str(fault) else type(fault).__name__
    print(f"driftbook: this did not work: {first}\nNothing half-done is in the book.{kept}", file=sys.stderr)  # noqa: T201
    return 2
