"""Texts of voiding a job: one that was recorded on the wrong machine, twice, or by mistake."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    "void.page": "Void entry {entry}",
    "void.page.is": "Entry {entry} is void",
    "void.about": "For a job that was recorded on the wrong machine, twice, or by mistake. It then counts nowhere: in no history, figure, forecast or list of "
    "what is due. It stays readable, marked as void, with who said so, when and why.",
    "void.number": "Its job number stays its own: a job that is recorded in its place needs another one. A file that holds it is not imported again.",
    "void.amend": "Only something in it is wrong? Amend it instead",
    "void.what": "The job",
    "void.do": "Void this job",
    "void.as": "You void it as {person}, {at}.",
    "void.why": "Why there was no such job on this machine",
    "void.why.about": "It stays in the book, beside the job.",
    "void.button": "Void this job",
    "void.is": "The job {ref} on {tag} is void, by {person} on {at}, entry {entry}: it counts nowhere. Reason: {why}",
    "void.record": "Record the job where it was done",
    "void.back": "Voided by mistake?",
    "void.back.about": "The job then counts again, exactly as it stood.",
    "void.back.as": "You take it back as {person}, {at}.",
    "void.back.why": "Why the job counts after all",
    "void.back.button": "Take the job back",
    "void.later.amended": "Entry {entry} was amended by entry {later} of {person}. Only the version that stands can be voided.",
    "void.later.void": "The job of entry {entry} is void already, by entry {later} of {person}.",
    "void.later.link": "Look at entry {later}",
    "void.undone": "Nothing was voided.",
    "void.back.undone": "Nothing was taken back.",
    "void.unknown": "Entry {entry} is no job of this site.",
    "void.no_signing": "Entry {entry} says that the job is void, so there is no work to sign for.",
    "void.link": "void it",
    "void.link.label": "Void entry {entry}",
    "void.link.whole": "Not done on this machine, or recorded twice? Void it",
    "void.link.back": "Voided by mistake? Take it back",
    "record.amend.void.title": "The job is void",
    "record.amend.void": "Entry {entry} says that the job {ref} is void, by {by}. There is nothing to amend.",
    "record.amend.voided": "The job of entry {entry} is void, by entry {later} of {by}. There is nothing to amend.",
    "asset.amended.back": "It takes the job back: it counts again.",
    "entry.sentence.back": "It takes the job back, which was void: it counts again.",
}
