"""What is said where a site is not made or set as it was asked for."""

from __future__ import annotations

from typing import Final

SENTENCES: Final[dict[str, str]] = {
    "told.site.no_name": "A site needs a name, with a letter or a digit in it.",
    "told.site.no_name.remedy": "Give one; on the command line in quotes.",
    "told.site.long_name": "The name of a site has at most {most} letters; this one has {n}.",
    "told.site.long_name.remedy": "Give a shorter one.",
    "told.site.interval.short": "The interval between checks is at least one month.",
    "told.site.interval.long": "The interval between checks is at most a hundred years, which are 1200 months.",
    "told.site.interval.remedy": "Give 12, say.",
    "told.site.taken": "The book already holds the site '{other}' ({code}), which the name '{name}' would find.",
    "told.site.taken.remedy": "Choose another name.",
    "told.site.taken.remedy.there": "Choose another name. A site that is there is given by its code: --site CODE.",
    "told.site.zone": "'{zone}' is not a time zone.",
    "told.site.zone.hours": "A zone is named by a place, not by hours: the place says when its clocks are changed."
    " Give its IANA name, such as Europe/Lisbon or America/Halifax.",
    "told.site.zone.name": "Give its IANA name, such as Europe/Lisbon or America/Halifax.",
    "told.site.zone.near.one": "Near to it: {first}. Give the IANA name.",
    "told.site.zone.near.two": "Near to it: {first} or {second}. Give the IANA name.",
    "told.site.zone.near.three": "Near to it: {first}, {second} or {third}. Give the IANA name.",
    "told.site.nothing": "Nothing was changed: the site is set so already.",
    "told.site.nothing.remedy": "Change something, or leave it.",
    "told.site.reason": "Setting a site needs a reason.",
    "told.site.reason.remedy": "Say why: it stays in the book, beside what was changed.",
    "told.site.name": "Setting a site needs the name of who does it.",
    "told.site.overtaken": "Nothing was changed: {author} has set the site meanwhile, by entry {entry}.",
    "told.site.overtaken.remedy": "Look at how it is set now, and do it again where it is still meant.",
    "told.site.other": "Nothing was changed: the book does not hold what this was made from. An older state of the book was put back meanwhile, as it seems.",
}
