"""Texts about how far the pages have come: with reading a large book, and with what a replica has taken over."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    "picture.behind": "The book has grown: this page shows it up to entry {shown} of {head}. The rest is being worked in; "
    "open the page again in a while. Machine pages and the Book page list the newest entries already.",
    "copy.behind": "This page is read from a copy of the book that is a little behind: it shows the book up to entry {shown} of {head}. "
    "Open it again in a moment.",
    "copy.own": "Your entry {own} is in the book. This page is read from a copy of the book that has come to entry {shown} and does not "
    "show yours yet: open it again in a moment.",
    "copy.alone": "The book's own server does not answer. This page is read from a copy of the book and shows it up to entry {shown}; "
    "there may be more, and nothing can be recorded now.",
    "picture.fleet": "Every job, count and machine is shown up to entry {head}. Averages of classes, groups that move alike and "
    "calibration are up to entry {fleet}; they follow soon.",
    "picture.estimates": "Averages of classes and calibration are up to entry {fleet}.",
    "picture.no_study": "This large book is being studied for the first time since it was opened: forecasts, patterns and dates by "
    "risk come as soon as that is done.",
    "picture.reading": "This large book is being read.",
    "picture.reading.remedy": "Open the page again in a while; a book of a million jobs takes about a minute the first time.",
    "picture.reading.title": "The book is being read",
    "picture.reading.again": "Open the page again",
}  # fmt: skip
