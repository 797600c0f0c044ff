"""Texts about how far the pages have come with reading a large book."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    "picture.behind": "The book has grown: this page shows it up to entry {shown} of {head}. The rest is being worked in; "
    "open the page again in a while. Machine pages and the Book page list the newest entries already.",
    "picture.no_study": "This large book is being studied for the first time since it was opened: forecasts, patterns and dates by "
    "risk come as soon as that is done.",
    "picture.reading": "This large book is being read.",
    "picture.reading.remedy": "Open the page again in a while; a book of a million jobs takes about a minute the first time.",
    "picture.reading.title": "The book is being read",
    "picture.reading.again": "Open the page again",
}  # fmt: skip
