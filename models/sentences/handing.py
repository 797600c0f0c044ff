"""What is said where a job is handed in, or an old one amended, and the book does not take it."""

from __future__ import annotations

from typing import Final

SENTENCES: Final[dict[str, str]] = {
    "told.both": "{first} {then}",
    "told.decision.confidence": "The confidence of a decision rule lies above 50 % and below 100 %.",
    "told.decision.confidence.remedy": "Give 95, say.",
    "told.handing.doubtful": "The job was not recorded. {sentences}",
    "told.handing.doubtful.correct": "Correct what is wrong.",
    "told.handing.doubtful.state": "Correct it, or state a reason for {doubts}: it is kept with the job.",
    "told.handing.machine": "The site {site} has no machine '{tag}'.",
    "told.handing.machine.remedy": "Check the tag, or bring the machine into the book first: driftbook import assets.csv",
    "told.handing.again": "Job '{ref}' is in the book already, with the same content, as entry {entry}.",
    "told.handing.ref": "The job number '{ref}' is taken by entry {entry}, which says something else.",
    "told.handing.ref.remedy": "Give another number. A job that is in the book is changed by an amendment.",
    "told.handing.ref.void": "The job number '{ref}' belongs to a job that is void, by entry {entry}; a number is never given to another job.",
    "told.handing.ref.void.remedy": "Give another number, with a letter behind it for instance. Was it voided by mistake? Take it back, "
    "on its page or with: driftbook void {entry} --take-back",
    "told.amending.moved": "Entry {entry} is a job of {old}; an amendment cannot move it to {new}.",
    "told.amending.moved.remedy": "Void it, on its page or with: driftbook void {entry}. Then record the job on {new}, under a number of its own.",
    "told.amending.other": "Nothing was written: under the number {entry} the book holds something else than what this was made from. "
    "An older state of the book was put back meanwhile, as it seems.",
    "told.amending.other.remedy": "Open entry {entry} again, and look whether it is the job that you mean.",
    "told.amending.nothing": "Nothing was changed: entry {entry} says the same already.",
    "told.amending.uncertain": "Nothing was changed: entry {entry} says the same already, and the rule of the site is simple acceptance, for which no uncertainty is kept.",
    "told.unmeasured.found": "An uncertainty of the as-found is given, but the job has no as-found.",
    "told.unmeasured.left": "An uncertainty of the as-left is given, but the job has no as-left.",
    "told.unmeasured.remedy": "Give the measurement too, or leave its uncertainty out.",
    "told.amending.nothing.remedy": "Change something, or leave it.",
    "told.amending.reason": "An amendment needs a reason.",
    "told.amending.reason.void": "Voiding a job needs a reason.",
    "told.amending.reason.back": "Taking a void job back needs a reason.",
    "told.amending.reason.remedy": "Say why: it stands beside the old and the new version.",
    "told.amending.name": "Voiding a job, or taking one back, needs the name of who does it.",
    "told.amending.no_job": "Entry {entry} is no job of the site {site}.",
    "told.amending.no_job.remedy": "Take the number from the page of the machine.",
    "told.amending.amended": "Entry {entry} was amended already, by entry {later} of {author}.",
    "told.amending.amended.remedy": "Look at entry {later} first, and amend that one.",
    "told.amending.voided": "The job of entry {entry} is void, by entry {later} of {author}.",
    "told.amending.voided.remedy": "Look at entry {later}. If it was voided by mistake, take it back, on its page or with: driftbook void {later} --take-back",
    "told.amending.void": "Job '{ref}' is void already, by entry {entry}.",
    "told.amending.counts": "Job '{ref}' is not void: entry {entry} counts already.",
    "told.amending.is_void": "Job '{ref}' is void, by entry {entry} of {author}: there is nothing to amend.",
    "told.amending.is_void.remedy": "If it was voided by mistake, take it back first, on its page or with: driftbook void {entry} --take-back",
    "told.busy": "The book is busy: somebody else is writing, perhaps a large import.",
    "told.busy.remedy": "Wait until it has ended and do it again.",
}
