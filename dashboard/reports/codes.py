"""QR codes of the reader's pages, and the addresses that they open."""

from __future__ import annotations

import io
from collections.abc import Mapping
from urllib.parse import urlencode, urlsplit

import segno

from dashboard.place import asset_path
from dashboard.words import say
from models.errors import InvalidValueError

VARIABLE = "DRIFTBOOK_ADDRESS"
"""The environment's name of the address under which phones reach the reader."""

_LONGEST = 1000


def base_address(given: str | None, environ: Mapping[str, str], otherwise: str = "") -> str:
    """Give the address under which the reader is reached: what was typed, then the environment, then the last one.

    Parameters
    ----------
    given : str or None
        What was typed. [unitless]
    environ : mapping of str to str
        The environment. [unitless]
    otherwise : str
        What is taken where neither says anything. [unitless]

    Raises
    ------
    InvalidValueError
        If it is no address that a browser opens.
    """
    address = (given or environ.get(VARIABLE) or otherwise).strip().rstrip("/")
    if not address:
        return ""
    parts = urlsplit(address)
    if (
        parts.scheme not in {"http", "https"}
        or not parts.netloc
        or parts.path  # every link of a page begins at the root of its host
        or parts.query
        or parts.fragment
        or len(address) > _LONGEST
    ):
        raise InvalidValueError(say("report.address.wrong", asked=address), remedy=say("report.address.remedy"))
    return address


def only_here(address: str) -> bool:
    """Tell whether an address leads to this very machine, which a phone cannot reach."""
    host = urlsplit(address).hostname or ""
    return host in {"localhost", "::1"} or host.startswith("127.")


def asset_address(base: str, tag: str, site: str = "") -> str:
    """Write the address of a machine's page; the site is named where the book holds several."""
    return _address(base, asset_path(tag), {"site": site} if site else {})


def record_address(base: str, tag: str, site: str = "") -> str:
    """Write the address on which a job of a machine is recorded."""
    return _address(base, "/record", {"asset": tag} | ({"site": site} if site else {}))


def _address(base: str, path: str, choices: Mapping[str, str]) -> str:
    return f"{base}{path}?{urlencode(choices)}" if choices else f"{base}{path}"


def qr_picture(text: str) -> str:
    """Draw a QR code with its quiet zone, with a quarter of it allowed to be dirty (level Q) where it is short.

    Parameters
    ----------
    text : str
        What it says. [unitless]

    Returns
    -------
    str
        SVG.
    """
    # A long address at level Q would make modules too small to read from a label.
    code = segno.make(text, micro=False, error="q" if len(text) <= 90 else "m", boost_error=False)
    told = io.BytesIO()
    code.save(told, kind="svg", border=4, xmldecl=False, dark="#000000", light="#ffffff", svgclass=None, lineclass=None)
    return told.getvalue().decode("utf-8")
