"""What a paper says of itself: of which site and book, as of which entry, made when; on its cover and at every foot."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dashboard.version import program
from dashboard.words import say
from dashboard.writing import DASH, count, counted, moment
from models.ledger.checkpoint import read_note
from models.values.proof import BookProof, Misfit
from models.values.story import Site


@dataclass(frozen=True, slots=True)
class Identity:
    """Which site and book a paper speaks of.

    ``head`` is the number of the last entry that the paper knows, ``proof`` the newest head of the tree
    of entries where the book has one.  ``estimates`` is the entry up to which the estimates over all machines go,
    where that is not as far as everything else.  ``misfit`` is in what the story that is printed is not what was written.
    ``maker`` is the program that makes it and for whom, in words.
    """

    site: Site
    head: int
    made_at: datetime
    proof: BookProof | None = None
    estimates: int | None = None
    misfit: Misfit | None = None
    maker: str = ""


def head_lines(identity: Identity) -> tuple[tuple[str, str], ...]:
    """Give the head of the book as names with their values: what an auditor compares with a head kept elsewhere.

    Parameters
    ----------
    identity : Identity
        Which site and book. [unitless]
    """
    lines = [(say("report.head.entry"), count(identity.head))]
    proof = identity.proof
    if proof is None:
        return (*lines, (say("report.head.root"), say("report.head.none")))
    if identity.misfit is not None:
        # Root and signature beside rows that were changed would vouch for them.
        return (*lines, (say("report.head.root"), say("report.misfit.root", why=misfit_words(identity.misfit))))
    checkpoint = read_note(proof.note).checkpoint
    at = moment(proof.at, identity.site.zone)
    return (
        *lines,
        (say("report.head.book"), proof.origin),
        (say("report.head.root"), b64encode(checkpoint.root).decode()),
        (say("report.head.over"), say("report.head.over_n", n=counted(proof.size, "entry"), at=at)),
        (
            say("report.head.signed"),
            say("report.head.unsigned")
            if proof.key_entry is None
            else say("report.head.signed_by", entry=count(proof.key_entry)),
        ),
    )


def book_sentence(identity: Identity) -> str:
    """Say of which book a paper is that counts over all machines, and by what it was made.

    It bears no root: nothing of what it counts was held against the seals, and a root beside it would vouch for it.

    Parameters
    ----------
    identity : Identity
        Which site and book. [unitless]
    """
    name = DASH if identity.proof is None else identity.proof.origin
    return say("report.head.line", name=name, entry=count(identity.head), maker=identity.maker)


def misfit_words(misfit: Misfit) -> str:
    """Say in what the story of a machine is not what was written.

    Parameters
    ----------
    misfit : Misfit
        The first thing. [unitless]
    """
    return say(f"report.misfit.flaw.{misfit.flaw}", entry=DASH if misfit.entry is None else count(misfit.entry))


def maker(by: str) -> str:
    """Say which program makes a paper, and for whom or by what.

    Parameters
    ----------
    by : str
        For whom, or by what; blank where nobody says. [unitless]
    """
    return say("report.maker.for", program=program(), by=by) if by else program()


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
    if identity.estimates is not None:
        foot += " · " + say("picture.estimates", fleet=count(identity.estimates))
    return {
        "foot": foot,
        "words": {"page": say("report.page", page="{page}", pages="{pages}")},
        "caution": say("caution.title") + say("caution.text"),
    }


def made(identity: Identity) -> str:
    """Write when a paper was made, on the site's clock."""
    return moment(identity.made_at, identity.site.zone)
