"""What a paper says of itself: of which site and book, as of which entry, made when; on its cover and at every foot."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dashboard.words import say
from dashboard.writing import count, moment
from models.values.story import Site


@dataclass(frozen=True, slots=True)
class Identity:
    """Which site and book a paper speaks of.

    ``head`` is the number of the last entry of the book, ``root`` the root hash of its
    tree where the reader gives one.
    """

    site: Site
    head: int
    made_at: datetime
    root: str = ""


def head_lines(head: int, root: str = "") -> tuple[tuple[str, str], ...]:
    """Give the head of the book as names with their values.

    Parameters
    ----------
    head : int
        Number of the last entry. [unitless]
    root : str
        Root hash of the tree of entries; blank where the reader gives none. [hex]
    """
    lines = [(say("report.head.entry"), count(head))]
    if root:
        lines.append((say("report.head.root"), root))
    return tuple(lines)


def common(identity: Identity, subject: str) -> dict[str, Any]:
    """Give what every template asks for: the foot of each page, its words, the caution.

    Parameters
    ----------
    identity : Identity
        Which site and book. [unitless]
    subject : str
        What the paper is of, in a few words. [unitless]
    """
    site = identity.site
    foot = say("report.foot", subject=subject, site=site.name, head=count(identity.head), at=made(identity))
    return {
        "foot": foot,
        "words": {"page": say("report.page", page="{page}", pages="{pages}")},
        "caution": say("caution.title") + say("caution.text"),
    }


def made(identity: Identity) -> str:
    """Write when a paper was made, on the site's clock."""
    return moment(identity.made_at, identity.site.zone)
