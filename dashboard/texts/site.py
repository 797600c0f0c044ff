"""Texts of how a site is set: the page that shows and changes it, and the ways to it."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    "site.title": "How {site} is set",
    "site.link": "How this site is set: name, time zone, units, calendar rule, decision rule",
    "site.now.link": "How the site is set now",
    "site.entries": "The entries of this site",
    "site.code": "Its code is {code}. That never changes: addresses, roles, tokens and names of files go by it.",
    "site.other_sites": "Other sites:",
    "site.now": "What holds now",
    "site.now.caption": "Each value, and the entry that set it last",
    "site.column.setting": "Setting",
    "site.column.value": "Value",
    "site.column.since": "Since",
    "site.column.at": "When",
    "site.column.by": "By",
    "site.column.why": "Reason",
    "site.column.entry": "Entry",
    "site.column.changed": "What was set",
    "site.made": "set when the site was made",
    "site.before": "Every time that it was set",
    "site.before.caption": "The newest first; each is an entry of the book and stays readable",
    "site.changed": "{name}: {new}, before {old}",
    "site.first": "{name}: {new}",
    "site.same": "the same again",
    "site.readers": "An administrator of this site can change it.",
    "site.shows_only": "This server only shows the book. It is changed on the machine where the book is: driftbook site",
    "site.change": "Change it",
    "site.change.about": "Change one value or several; the others stay. It becomes one entry of the book, with your name, the time and your reason. "
    "No job, reading or verdict that is recorded is changed by it.",
    "site.name.about": "What people read from now on. The code stays, the earlier names still find the site, and entries keep what they said.",
    "site.zone.about": "Its IANA name, such as Europe/Lisbon. By its clock and calendar days and months are counted, and a time that is typed or imported from now on "
    "is read. What is recorded stays the same moment; a visit near midnight may come to count for another day or month.",
    "site.length.mm": "mm and mm/m",
    "site.length.mil": "mil and mil/in",
    "site.units.about": "How numbers are shown and asked for, and what a number that is typed or imported without a unit is taken for from now on. Nothing that is recorded "
    "is converted: the book holds mm, mm/m and °C, and beside them what was typed. The interface for programs stays with these.",
    "site.temperature.about": "The same holds for it: nothing is converted.",
    "site.interval": "Interval between checks, in months",
    "site.interval.about": "The calendar rule: so long after the last check the next one is due; from 1 to {most}. Dates by this rule move at once for all machines: on Month and Due, in the calendar and on papers. Dates by an accepted risk "
    "stay, except for machines of which there is no forecast.",
    "site.rule.about": "For jobs that are recorded or amended from now on; what was decided before stays with its job. Counts, runs, returns and forecasts go by the limit "
    "ratio under both rules.",
    "site.rule.simple": "Simple acceptance: within up to a limit ratio of 1, over above it.",
    "site.rule.guarded": "Guarded (ISO 14253-1): within only where the probability that the true deviation is within limit is at least the confidence; over only where it is at "
    "most what is left to 100\u202f% and the ratio is above 1; between them undecided. That needs the uncertainty of the readings.",
    "site.rule.lists": "Lists bring no uncertainty: under the guarded rule each job of an imported list is undecided, whatever it measured.",
    "site.confidence": "Confidence of the guarded rule, in per cent",
    "site.confidence.about": "Above 50 and below 100; 95 is usual. Simple acceptance asks for none.",
    "site.interval.none": "‘{typed}’ is no interval between checks, which is a whole number of months.",
    "site.simple": "Simple acceptance asks for no confidence.",
    "site.simple.remedy": "Choose the guarded rule with it, or leave the confidence as it was.",
    "site.no_confidence": "‘{typed}’ is no confidence, which is a number of per cent.",
    "site.why": "Why it is changed",
    "site.why.about": "It stays in the book, beside what was changed.",
    "site.as": "You set it as {person}, {at}.",
    "site.button": "Set the site so",
    "site.done": "This was set, by entry {entry}:",
    "site.again": "Look at how the site is set now",
    "site.kept": "What you typed stands in the form still, which cannot be sent any more.",
}
