"""Texts for while the book cannot be worked with; none of them names a server, a file or a form."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    "away.title": "The book cannot be worked with now",
    "away.gone": "The book does not answer: its database or its disk is away.",
    "away.replaced": "The file of the book was taken away, was replaced by another file, or an older one lies in it, while this server ran: nothing is recorded.",
    "away.full": "The disk of the book is full: nothing was recorded.",
    "away.read_only": "The book takes no writing now: nothing was recorded.",
    "away.damaged": "The book is damaged: a part of it cannot be read.",
    "away.revision": "The book is of another version than this program, which does not work with it.",
    "away.crowded": "Too many are asking: every connection to the book is in use.",
    "away.cut_off": "The database broke off what was asked: it took longer than is allowed there. Nothing was recorded.",
    "away.remedy": "Nothing half-done is in the book. Ask again in a while; whoever runs this server finds the cause in its log.",
    "away.kept": "What you have typed is still in the form, and as a draft in this browser. Record it again in a while: it is not recorded twice.",
    "page.later": "This page comes by itself when the book can be worked with.",
    "page.later.again": "Load this page again",
    "files.unknown_site": "There is no site ‘{asked}’ here that you may read.",
    "files.lost_site": "You have no role at the site ‘{asked}’ any more.",
    "files.unknown_site.remedy": "Take the code of a site from the address of its page.",
}  # fmt: skip
