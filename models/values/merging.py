"""The reason that stands in the book where two records of one machine were brought together: written and read again."""

from __future__ import annotations

from typing import Final

_AND: Final = " and "
_ARE_ONE: Final = " are one machine: "
_DOUBLES: Final = "; this job doubles job "


def merged_reason(double: str, kept: str, said: str) -> str:
    """Write the reason of everything that a merge writes.

    Parameters
    ----------
    double : str
        Tag of the record that is given up. [unitless]
    kept : str
        Tag of the record that is kept. [unitless]
    said : str
        What whoever merged them gave as reason. [as typed]
    """
    return f"{double}{_AND}{kept}{_ARE_ONE}{said}"


def kept_of(reason: str, double: str) -> str:
    """Give the tag of the record that was kept, from the reason of a description; empty where it tells of no merge.

    Parameters
    ----------
    reason : str
        Reason of the entry that took the double out of service. [as stored]
    double : str
        Tag that the double bore in that description. [unitless]
    """
    begin = f"{double}{_AND}"
    kept, found, _ = reason.removeprefix(begin).partition(_ARE_ONE)
    return kept if found and reason.startswith(begin) else ""


def doubled_reason(reason: str, ref: str, entry: int) -> str:
    """Write the reason why a job of the double is void: it is a job that the kept record holds.

    Parameters
    ----------
    reason : str
        Reason of the merge, as :func:`merged_reason` writes it. [as stored]
    ref : str
        Number of the job that it doubles. [unitless]
    entry : int
        Entry of that job. [unitless]
    """
    return f"{reason}{_DOUBLES}{ref} (entry {entry})"
