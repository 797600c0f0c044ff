"""Texts about how far the pages have come: with reading a large book, with what a replica has taken over, and where no answer comes."""

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
    "picture.new_day": "With a new day other descriptions of machines hold. This page shows them as they were before; the rest is being worked "
    "in: open the page again in a while.",
    "picture.reading": "This large book is being read.",
    "picture.reading.remedy": "A book of a million jobs takes about a minute the first time.",
    "picture.reading.title": "The book is being read",
    "line.away": "The server does not answer. This page waits for it and then goes on by itself; nothing in the book is harmed, and a draft "
    "of a job stays in this browser.",
    "line.failed": "The server could not answer this. Load the page again; if it stays, tell whoever runs this server.",
    "line.unasked": "The job was not recorded: its page was left before it was on its way. What was typed is kept as a draft.",
    "line.unsaved": "No answer came, so it is not certain that the job is in the book. Record it again when the server answers: it is not "
    "recorded twice.",
    "line.renewed": "The program on the server was renewed while this page was open. Nothing was done; a draft of a job stays in this browser.",
    "line.again": "Load this page again",
}  # fmt: skip
