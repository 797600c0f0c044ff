"""Which sign stands before decimals, told by numbers that cannot be groups of thousands."""

from __future__ import annotations

import re

from models.units import Decimal

_NUMBER = re.compile(r"\s*+(?:'\s*+)?(?:[-+−–‒\ufe63\uff0d]\s*+)?([\d.,'’\s]*+)(?![-+:/]|[eE][-+]?\d)")
"""A number before its unit; no date, no range of two numbers, and none with an exponent, which parts no thousands."""
_PARTED = re.compile(r"(?<=\d)[\s'’](?=\d{3}(?!\d))")
_TWO_WAYS = re.compile(r"[1-9]\d{0,2}[.,]\d{3}")
_TOLD = {
    Decimal.POINT: re.compile(r"\d*\.\d+|\d{1,3}(?:,\d{3})+\.\d+|\d{1,3}(?:,\d{3}){2,}"),
    Decimal.COMMA: re.compile(r"\d*,\d+|\d{1,3}(?:\.\d{3})+,\d+|\d{1,3}(?:\.\d{3}){2,}"),
}


def sign_told(text: str) -> Decimal | None:
    """Give the decimal sign by which alone a number can be read; ``None`` where it tells none, or is no number.

    Parameters
    ----------
    text : str
        A number, with or without a unit. [as typed]
    """
    number = _bare(text)
    if _TWO_WAYS.fullmatch(number):
        return None
    return next((sign for sign, shape in _TOLD.items() if shape.fullmatch(number)), None)


def two_readings(text: str) -> tuple[str, str] | None:
    """Write a number whose sign may stand before decimals or part thousands, such as 1.250, the one way and the other.

    Parameters
    ----------
    text : str
        A number, with or without a unit. [as typed]

    Returns
    -------
    tuple of str, or None
        It with decimals and without; each reads one way only. ``None`` for any other text.
    """
    number = _bare(text)
    if not _TWO_WAYS.fullmatch(number):
        return None
    whole, sign, rest = number.partition("." if "." in number else ",")
    decimals = rest.rstrip("0") or "0"
    one, other = (text.strip().replace(number, way, 1) for way in (f"{whole}{sign}{decimals}", f"{whole}{rest}"))
    return one, other


def _bare(text: str) -> str:
    """Give the digits and signs with which a text begins, without blanks between groups; empty where it begins otherwise."""
    match = _NUMBER.match(text)
    return "" if match is None else _PARTED.sub("", match[1].strip())
