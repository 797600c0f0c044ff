"""Texts of the frame around every page, and of what stands there while nothing can be shown."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    # The frame
    "shell.description": "The alignment history of rotating machines, and what it means.",
    "shell.skip": "Skip to the content",
    "shell.pages": "Pages",
    "shell.site": "Site",
    "shell.units": "Unit of length",
    "shell.scheme": "Light or dark",
    "shell.no_script": "This page needs JavaScript, which comes from this very server.",
    "page.month": "Month",
    "page.offenders": "Repeat offenders",
    "page.asset": "Machines",
    "page.waiting": "Reading the book …",
    "page.unknown.title": "There is no such page",
    "page.unknown.text": "The address leads nowhere. It may have been cut when it was copied.",
    "page.unknown.back": "To the month",
    "finder.label": "Find a machine by tag, description, train or area",
    "finder.placeholder": "Find a machine",
    "finder.nothing": "Type a part of a tag, description, train or area.",
    "caution.title": "Before you touch a machine: ",
    "caution.text": (
        "isolate it, lock out and tag, and check that it cannot turn. Put the guards back on. The maker's limits and local codes "
        "come first. A suggestion on these pages is not a diagnosis."
    ),
    "foot.site": "{name} · times in {zone}: how the site is set",
    "foot.no_site": "No site in this book yet",
    "foot.head": "as of entry {head} of the book",
    # States
    "book.empty.title": "The book is empty",
    "book.empty.text": "No site is in it yet. Import a register of machines and past alignments first:",
    "book.empty.command": "driftbook import FILE",
    "book.no_jobs.title": "No job yet",
    "book.no_jobs.text": "The book knows this site but holds no alignment job of it. Import the past jobs:",
    "error.title": "This page could not be made",
    "error.text": "The cause was logged under the reference {reference}.",
    "error.remedy": "The book is not harmed: pages only read. Try again; if it stays, pass the reference on to whoever runs this server.",
    "error.notice": "Something went wrong. The cause was logged under the reference {reference}.",
    "long.title": "That is too long",
    "long.sent": "{n} MB",
    "long.more": "more than {n} MB",
    "long.field": "What was sent has more fields, or a longer one, than are read here. Nothing was done with it.",
    "long.file": "What was sent has {sent}; a file of up to {most} MB is read here. Nothing of it was kept. Send it in parts, or import it by the command "
    "on the machine where the book is: driftbook import FILE",
    "long.text": "What was sent has {sent}; up to {most} MB are read here. Nothing was done with it.",
    "problem.site": "There is no site ‘{asked}’ here that you may read; {used} is shown.",
    "problem.site.lost": "You have no role at the site ‘{asked}’ any more; {used} is shown.",
    "problem.site.lost.remedy": "Ask an administrator of that site if that is not meant.",
    "problem.units": "‘{asked}’ is no unit of length here (mm or mil); {used} is shown.",
    "problem.month": "‘{asked}’ is no month (written like 2026-10); the last month with jobs is shown.",
    "problem.window": "‘{asked}’ is no number of months (1 to {most}, or all); {used} months are shown.",
    "problem.class": "‘{asked}’ is no speed class ({known}, or ‘all’); all speeds are shown.",
}  # fmt: skip
