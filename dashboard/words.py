"""Every text that the reader shows, in one place, so that a second language fits beside the first.

A text is asked for by its key with :func:`say`; what is in braces is filled in.
Another language is another table with the same keys.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import lru_cache, wraps
from typing import Final, ParamSpec, TypeVar

from dashboard.texts import (
    accounts,
    asset_desk,
    away,
    book,
    due,
    files,
    importing,
    limits,
    month_desk,
    offenders_desk,
    people,
    picture,
    proofs,
    record,
    reports,
    voiding,
)
from models.sentences.told import SENTENCES, Told

P = ParamSpec("P")
T = TypeVar("T")

WORDS: Final[dict[str, str]] = {
    "language": "en",
    "brand": "driftbook",
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
    "foot.site": "{name} · times in {zone}",
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
    "problem.site": "There is no site ‘{asked}’ in this book; {used} is shown.",
    "problem.units": "‘{asked}’ is no unit of length here (mm or mil); {used} is shown.",
    "problem.month": "‘{asked}’ is no month (written like 2026-10); the last month with jobs is shown.",
    "problem.window": "‘{asked}’ is no number of months; {used} months are shown.",
    "problem.class": "‘{asked}’ is no speed class; all speeds are shown.",
    # Writing
    "write.interval": "{low} to {high}",
    "verdict.within": "within",
    "verdict.over": "over",
    "noun.job.one": "{n} job",
    "noun.job.many": "{n} jobs",
    "noun.machine.one": "{n} machine",
    "noun.machine.many": "{n} machines",
    "noun.reading.one": "{n} as-found reading",
    "noun.reading.many": "{n} as-found readings",
    "noun.look.one": "{n} look",
    "noun.look.many": "{n} looks",
    "noun.run.one": "{n} run",
    "noun.run.many": "{n} runs",
    "noun.day.one": "{n} day",
    "noun.day.many": "{n} days",
    "noun.month.one": "{n} month",
    "noun.month.many": "{n} months",
    "month.short.1": "Jan", "month.short.2": "Feb", "month.short.3": "Mar", "month.short.4": "Apr",
    "month.short.5": "May", "month.short.6": "Jun", "month.short.7": "Jul", "month.short.8": "Aug",
    "month.short.9": "Sep", "month.short.10": "Oct", "month.short.11": "Nov", "month.short.12": "Dec",
    "month.long.1": "January", "month.long.2": "February", "month.long.3": "March", "month.long.4": "April",
    "month.long.5": "May", "month.long.6": "June", "month.long.7": "July", "month.long.8": "August",
    "month.long.9": "September", "month.long.10": "October", "month.long.11": "November", "month.long.12": "December",
    "class.upto": "up to {high} rpm",
    "class.between": "over {low} to {high} rpm",
    "class.above": "over {low} rpm",
    "class.unknown": "speed not known",
    "word.found": "as found",
    "word.left": "as left",
    "key.of": "{count} of {n}",
    "key.share": "{share}; 95\u202f% interval {interval}",
    "key.none_judged": "no reading was judged",
    # Limits
    "limits.none": "No limit set is in force today, so nothing new can be judged.",
    "limits.in_force": "Limit set in force today: {name}, version {version}, adopted by {by} on {on}. Source: {source}. "
    "Each job keeps the verdict under the limits of its own day.",
    "limits.nobody": "nobody yet",
    "limits.starter": "This is the starter set: a starting point to be replaced by the coupling or machine maker's limits "
    "or the site's own standard.",
    "limit.offset": "offset {value}",
    "limit.angle": "angularity {value}",
    "limit.flex": "angle at each flex plane {value}",
    "limit.soft": "soft foot {value}",
    "limit.each": "vertical and horizontal each by itself",
    "limit.resultant": "vertical and horizontal together, as a resultant",
    "limit.no_shafts": "none for offset and angularity",
    "limit.why.no_set": "none for offset and angularity, as no limit set is in force",
    "limit.why.no_speed": "none for offset and angularity, as the running speed of the machine is not known",
    "limit.why.no_row": "none for offset and angularity, as the limit set has none for this coupling and speed",
    # Month
    "month.pick": "Month to show",
    "month.earlier": "‹ earlier",
    "month.later": "later ›",
    "month.earlier_label": "One month earlier",
    "month.later_label": "One month later",
    "month.sentence.none": "No job was done in {month}.",
    "month.sentence.jobs": "{month}: {jobs} on {machines}.",
    "month.sentence.not_over": "The month is not over.",
    "month.sentence.found": "Over limit: {count} of {n}, {share}, or anything from {interval} when chance is allowed for.",
    "month.sentence.found_few": "Over limit: {count} of {n}; so few readings fit any share from {interval}.",
    "month.sentence.no_found": "None of them had an as-found reading that could be judged.",
    "month.sentence.no_before": "The twelve months before hold nothing to compare it with.",
    "month.sentence.change.more": "That is more than in the twelve months before ({share}, {count} of {n}), and more than chance would explain.",
    "month.sentence.change.fewer": "That is less than in the twelve months before ({share}, {count} of {n}), and chance would not explain it.",
    "month.sentence.change.no_sign": "The twelve months before had {share} ({count} of {n}): no sign of a change.",
    "month.sentence.change.unknown": "It cannot be compared with the twelve months before.",
    "month.sentence.left_none": "None of the machines that were measured afterwards was left over limit.",
    "month.sentence.left": "Left over limit: {count} of {n}.",
    "month.key.jobs": "Jobs done",
    "month.key.on": "on {machines}, in the month",
    "month.key.jobs_before": "{mean} a month in the 12 before",
    "month.key.found": "Found over limit",
    "month.key.left": "Left over limit",
    "month.key.before": "12 months before: {count} of {n}, {share}; {change}",
    "month.key.no_before": "12 months before: nothing judged",
    "change.more": "more than chance explains",
    "change.fewer": "less than chance explains",
    "change.no sign": "no sign of a change",
    "change.unknown": "cannot be compared",
    "month.key.returned": "Came back",
    "month.key.returned_below": "left within, found over",
    "month.key.returned_window": "visits in {month}",
    "month.key.due": "Overdue",
    "month.key.due_below": "of {n}, as of {day}",
    "month.key.due_soon": "{n} more due within {days} days",
    "month.classes.title": "By speed class",
    "month.classes.caption": "Jobs over limit by speed class, {month}, beside the twelve months before",
    "month.months.title": "Month by month",
    "month.left_over.title": "Left over limit in {month}: {n}",
    "month.left_over.caption": "Jobs of the month that were left over limit",
    "month.left_over.none": "No job of the month was left over limit.",
    "month.returned.title": "Came back over limit in {month}: {n}",
    "month.returned.caption": "Machines that were left within limit and found over it, the worst first",
    "month.returned.none": "No machine that had been left within limit was found over it.",
    "due.title": "What is to be checked",
    "due.text": "As of {day}, {overdue} of {n} in service are overdue and {soon} more fall due within {days} days.",
    "due.never": "{n} in service have no job in the book, so no date can be given.",
    "due.caption": "Machines to be checked, the longest overdue first",
    "due.more": "{n} more are not listed here.",
    "due.today": "today",
    "due.late": "{n} late",
    "due.in": "in {n}",
    "due.why.interval": "interval since the last visit",
    "due.why.left_over": "last visit left it over limit",
    "due.why.replaced": "something was replaced since",
    "calibration.title": "Calibrations",
    "calibration.none": "No calibration has run out, and none runs out within two months.",
    "calibration.caption": "Instruments whose calibration has run out or runs out within two months",
    # Repeat offenders
    "offenders.title": "Repeat offenders",
    "offenders.window": "Looks in the last",
    "offenders.speed": "Speed class",
    "offenders.all_time": "all years",
    "offenders.all_speeds": "all",
    "offenders.since": "since {day}",
    "offenders.whole": "in the whole history",
    "offenders.sentence": "{returns} of {looks} on {machines} found a machine over limit that had been left within it: {share}. "
    "{came_back} came back at least once, {repeated} of them twice or more.",
    "offenders.sentence.no_returns": "In {looks} on {machines}, none found a machine over limit that had been left within it.",
    "offenders.sentence.none": "Nobody looked at a machine in this window.",
    "offenders.too_few.title": "Nothing to rank",
    "offenders.too_few.text": "A look is a visit that was measured as found, after one that left the machine within limit. "
    "There is none in this window and speed class. Choose a longer window or all speeds.",
    "offenders.picture.title": "Is it chance?",
    "offenders.ranking.title": "Which machines come back",
    "offenders.ranking.caption": "Machines that came back over limit, ranked by the lower bound of their rate",
    "offenders.more": "The first {shown} of {n} are listed.",
    "offenders.show_all": "List them all",
    # Asset
    "asset.unknown": "This site has no machine with the tag ‘{tag}’.",
    "asset.unknown.title": "Tag not known",
    "asset.to_list": "To the list of machines",
    "asset.no_jobs.title": "No job yet",
    "asset.no_jobs.text": "The machine is in the book, but no alignment of it is. Its history begins with the first job.",
    "asset.sentence.none": "No job is in the book yet.",
    "asset.sentence.jobs": "{jobs} since {since}.",
    "asset.sentence.found": "Found over limit in {over} of {n}.",
    "asset.sentence.not_found": "None of them had an as-found reading that could be judged.",
    "asset.sentence.left": "Last left on {on} at limit ratio {ratio}: {verdict}.",
    "asset.sentence.not_left": "The last visit, on {on}, has no as-left that could be judged.",
    "asset.coupling.span": "{coupling}, {span} between flex planes",
    "asset.speed.upto": "{speed}, up to {most}",
    "asset.limits": "Limits at the last visit: {limits}; {how} ({name}).",
    "asset.limits.none": "No limit could be given at the last visit.",
    "asset.ratio.title": "Limit ratio over time",
    "asset.ratio.none": "Nothing could be judged: no reading, or no limit for this coupling and speed, or the running speed is not known.",
    "asset.break": "{part} replaced",
    "asset.break.line": "{day}: {name} ({reason})",
    "asset.components.title": "The four components",
    "asset.components.note": "Measured values; circle as found, square as left. A component outside its limit lines is over limit by itself; two together can be over before that.",
    "asset.components.spacer": "Measured values; circle as found, square as left. A spacer coupling is judged by the angle at its two flex planes, "
    "below, so no limit is drawn here.",
    "asset.flex.title": "Angle at the flex planes",
    "asset.flex.note": "Deviation from the target; circle as found, square as left. An angle outside its limit lines is over limit by itself.",
    "asset.flex.0": "Stationary end, vertical",
    "asset.flex.1": "Movable end, vertical",
    "asset.flex.2": "Stationary end, horizontal",
    "asset.flex.3": "Movable end, horizontal",
    "about.flex": "With y(x) = offset + angularity × x and the flex planes at half the span on each side of the coupling centre: α = y(+span/2) ÷ span at the "
    "stationary end, β = −y(−span/2) ÷ span at the movable end. The span is the one known today.",
    "asset.versions": "Described {n} times in the book",
    "asset.versions.caption": "Each description of the machine, the newest first; a job is judged by the one of its day",
    "column.from": "Holds from",
    "column.by": "Written by",
    "column.feet": "Feet, movable [{unit}]",
    "asset.feet.title": "Where the feet stand",
    "asset.feet.note": "Position of the shaft line above each row of feet of the movable machine, from the target. "
    "Vertical: + stands too high, take shim out. Horizontal: + stands too far right, seen from the movable machine towards the stationary one.",
    "asset.feet.unknown": "The book does not know how far the feet are from the coupling, so their positions cannot be given.",
    "asset.feet.v": "Row {row}, {x} from the coupling, vertical",
    "asset.feet.h": "Row {row}, {x} from the coupling, horizontal",
    "asset.soft.title": "Soft foot",
    "asset.soft.note": "Rise of each foot when its bolt was loosened, before the work and after it. "
    "Rows count from the coupling; left and right as seen from the movable machine.",
    "asset.soft.none": "No soft foot was measured.",
    "asset.soft.foot": "Foot {foot}",
    "asset.jobs.title": "Standing in the book: {n}",
    "asset.jobs.switch": "Numbers",
    "asset.jobs.shown": "in {unit}",
    "asset.jobs.typed": "as typed",
    "asset.jobs.label": "Every job of {tag}, amended versions included, newest first",
    "asset.jobs.note": "Newest first. A job that was amended stays here, marked with the entry that took its place; it counts in no picture.",
    "part.movable machine": "movable machine",
    "part.stationary machine": "stationary machine",
    "part.base": "base",
    "part.coupling": "coupling",
    "reason.installation": "installation",
    "reason.planned": "planned",
    "reason.condition": "condition",
    "reason.repair": "repair",
    "reason.failure": "failure",
    "reason.other": "other",
    "method.reverse indicator": "reverse indicator",
    "method.rim and face": "rim and face",
    "method.two faces": "two faces",
    "method.laser": "laser",
    "method.straightedge": "straightedge",
    "method.other": "other",
    "coupling.short flexible": "short flexible",
    "coupling.spacer": "spacer",
    "component.offset_v": "Offset, vertical",
    "component.angle_v": "Angularity, vertical",
    "component.offset_h": "Offset, horizontal",
    "component.angle_h": "Angularity, horizontal",
    "component.short.offset_v": "offset V",
    "component.short.angle_v": "angle V",
    "component.short.offset_h": "offset H",
    "component.short.angle_h": "angle H",
    "fact.where": "Where",
    "fact.train": "Train",
    "fact.machines": "Machines",
    "fact.drives": "{driver} drives {driven}",
    "fact.coupling": "Coupling",
    "fact.speed": "Speed",
    "fact.power": "Power",
    "fact.criticality": "Criticality",
    "fact.feet_movable": "Feet of the movable machine, from the coupling",
    "fact.feet_stationary": "Feet of the stationary machine, from the coupling",
    "fact.commissioned": "Commissioned",
    "fact.retired": "Retired",
    "fact.last_visit": "Last visit",
    "fact.last_left": "Last left",
    "fact.not_measured": "not measured",
    "fact.target": "Target",
    "fact.no_target": "none: zero is wanted",
    "fact.four": "offset V {offset_v}, H {offset_h} {offset_unit}; angularity V {angle_v}, H {angle_h} {angle_unit}",
    # List of machines
    "list.title": "Machines",
    "list.all": "{n} at this site.",
    "list.asked": "{n} of {of} answer to ‘{asked}’.",
    "list.hint": "Press / to find a machine by any part of its tag, description, train or area.",
    "list.clear": "Show all machines",
    "list.none.title": "No machine answers",
    "list.none.text": "Try a shorter part of the tag, description, train or area.",
    "list.caption": "Machines of this site",
    "list.more": "The first {shown} of {n} are listed. Find the others with the box in the header.",
    "list.retired": "retired",
    # Columns
    "column.class": "Speed class",
    "column.all": "all speeds",
    "column.jobs": "Jobs",
    "column.found_over": "Found over limit",
    "column.share": "Share",
    "column.interval": "95\u202f% interval",
    "column.before": "12 months before",
    "column.before_share": "Share then",
    "column.left_over": "Left over limit",
    "column.left_interval": "95\u202f% interval (left)",
    "column.left_before": "Left over, 12 months before",
    "column.month": "Month",
    "column.machine": "Machine",
    "column.what": "What it is",
    "column.what_where": "What and where",
    "column.what_where_speed": "What, where, how fast",
    "column.area": "Area",
    "column.train": "Train",
    "column.speed": "Speed [{unit}]",
    "column.day": "Day",
    "column.was_left": "Was left at",
    "column.days": "Days between",
    "column.found_ratio": "Found at (ratio)",
    "column.left_ratio": "Left at (ratio)",
    "column.person": "Person",
    "column.last": "Last visit",
    "column.last_left": "Last left at (ratio)",
    "column.due": "Due on",
    "column.late": "Late, or left",
    "column.why": "Why",
    "column.instrument": "Instrument",
    "column.returns": "Returns of looks",
    "column.worst": "Worst found (ratio)",
    "column.last_return": "Last return",
    # Grid of jobs
    "grid.visit": "Visit",
    "grid.why": "State and reason",
    "grid.ratio": "Limit ratio",
    "grid.who": "Who and with what",
    "grid.feet": "Feet",
    "grid.work": "Work",
    "grid.book": "In the book",
    "grid.checks": "Checks done",
    "grid.ref": "Job",
    "grid.date": "Date",
    "grid.stands": "Stands as",
    "grid.reason": "Reason",
    "grid.found_ratio": "found",
    "grid.left_ratio": "left",
    "grid.found": "As found",
    "grid.left": "As left",
    "grid.target": "Target",
    "grid.typed": "as typed",
    "grid.soft_before": "Soft foot before [{unit}]",
    "grid.soft_after": "Soft foot after [{unit}]",
    "grid.moves": "Moves [{unit}]",
    "grid.move_v": "shim {feet}",
    "grid.move_h": "side {feet}",
    "grid.people": "People",
    "grid.instrument": "Instrument",
    "grid.method": "Method",
    "grid.work_order": "Work order",
    "grid.hours": "Hours run [h]",
    "grid.temperatures": "Stationary / movable / air [{unit}]",
    "grid.limit_set": "Limit set",
    "grid.notes": "Notes",
    "grid.reviewer": "Reviewer",
    "grid.entry": "Entry",
    "grid.recorded": "Recorded",
    "grid.source": "Source",
    "grid.void": "void",
    "grid.superseded": "replaced by entry {entry}",
    "grid.amends": "amends entry {entry}: {why}",
    "grid.as_recorded": "as recorded",
    # Pictures
    "chart.as_table": "The numbers as a table",
    "figure.month": "this month",
    "figure.before": "12 months before",
    "figure.counts": "over/of",
    "figure.classes.found": "Found over limit, {month} [% of as-found readings]",
    "figure.classes.left": "Left over limit, {month} [% of as-left readings]",
    "figure.classes.note": "Circle (found) or square (left): the month, with its 95\u202f% interval; right of it the count, over limit / of so many. "
    "Upright stroke: the twelve months before, with theirs.",
    "figure.classes.found_says": "Found over limit by speed class: {classes}.",
    "figure.classes.left_says": "Left over limit by speed class: {classes}.",
    "figure.classes.none": "no reading was judged",
    "figure.months.title": "Share found over limit, 24 months [% of as-found readings]",
    "figure.months.caption": "Jobs over limit month by month, newest first",
    "figure.months.none": "No month of the 24 has an as-found reading that was judged.",
    "figure.limit_one": "limit: ratio 1",
    "figure.limit": "limit",
    "figure.target": "target",
    "figure.ratio_axis": "limit ratio",
    "figure.ratio_hover": "limit ratio {ratio}",
    "figure.ratio.title": "Limit ratio as found and as left",
    "figure.ratio.note": "A line is a run: from what a visit left (square) to what the next one found (circle). "
    "Dotted: one end was not measured. No line: something was replaced.",
    "figure.ratio.says": "Limit ratio over time. {text}",
    "figure.panel.title": "{title} [{unit}]",
    "figure.panel.says": "{title}: {readings}.",
    "figure.panel.reading": "{day} found {found}, left {left} {unit}",
    # What the numbers are
    "about.summary": "How these numbers are made",
    "about.wilson": "Over limit means a limit ratio above 1 under the limits in force on the day of the job. Shares are of jobs whose "
    "reading could be judged; an installation has no as-found. Intervals are Wilson's (1927), 95\u202f%: they say how far chance alone could move a share "
    "from so few readings. Whether two shares differ is judged by Fisher's exact test (two-sided, 5\u202f%), which holds for any number of readings. "
    "Jobs done because something was noticed find more over limit than planned ones.",
    "about.ratio": "Limit ratio = the largest |measured − target| ÷ limit over all that the limit set judges, unrounded. Within is at most 1, over is more. "
    "It was stored with the job, under the limits of its day.",
    "about.due": "The site's rule: {months} months after the last visit, at once where that left the machine over limit or something was replaced "
    "since. It is a rule of the calendar, not a forecast.",
    "about.offenders": "A look is a visit that was measured as found, after one that left the machine within limit, with nothing replaced in between. "
    "A return is a look that found it over. A return happens unseen and shows at the next look, so the rate is fitted to looks of their own length: hours run where the book has them for "
    "all of them, else the calendar. It is drawn towards that of the speed class (or of all machines where the class has fewer than thirty), the more so the less was seen; the ranking "
    "goes by its one-sided 90\u202f% lower bound, so that one return of one look does not come first. Visits that were called for find more. The speed class is the machine's of today.",
    "about.components": "Offset is the distance between the two shaft centrelines at the coupling centre, movable minus stationary; angularity is its "
    "slope along the shaft. Vertical + is up; horizontal + is to the right, seen from the movable machine towards the stationary one. "
    "Target and limits are those in force at each visit. 1 mil = 0.0254 mm; 1 mm/m = 1 mil/in.",
    "about.feet": "y = offset + angularity × distance from the coupling, of what was measured minus the target, with the distances known today.",
    "about.soft": "As it was measured, foot by foot. The limit holds for the excess of one foot over the others.",
    "about.typed": "Stored are mm, mm/m, °C and rpm; what a person typed, with its unit, is kept beside it and shown under ‘as typed’.",
}  # fmt: skip


for _page in (
    accounts,
    asset_desk,
    away,
    book,
    due,
    files,
    importing,
    limits,
    month_desk,
    offenders_desk,
    people,
    picture,
    proofs,
    record,
    reports,
    voiding,
):
    WORDS.update(_page.WORDS)
WORDS.update(SENTENCES)  # what the models say


@dataclass(frozen=True, eq=False, slots=True)
class Language:
    """A table of texts; two tables are never the same language."""

    words: Mapping[str, str]


ENGLISH = Language(WORDS)

_spoken: ContextVar[Language] = ContextVar("language", default=ENGLISH)


def spoken() -> Language:
    """Give the language in which this request is answered."""
    return _spoken.get()


@contextmanager
def speaking(language: Language) -> Iterator[None]:
    """Answer in a language for as long as the block lasts; other threads and requests keep theirs."""
    before = _spoken.set(language)
    try:
        yield
    finally:
        _spoken.reset(before)


def remembered(most: int) -> Callable[[Callable[P, T]], Callable[P, T]]:
    """Keep the latest results of a function that writes words, apart for each language.

    Parameters
    ----------
    most : int
        So many results are kept. [unitless]
    """

    def wrap(function: Callable[P, T]) -> Callable[P, T]:
        @lru_cache(maxsize=most)
        def ask(_language: Language, *given: P.args, **named: P.kwargs) -> T:
            return function(*given, **named)

        @wraps(function)
        def answer(*given: P.args, **named: P.kwargs) -> T:
            return ask(spoken(), *given, **named)  # type: ignore[arg-type]  # what is not hashable fails at once

        return answer

    return wrap


def say(key: str, **values: object) -> str:
    """Give the text of a key, with the values filled in.

    Parameters
    ----------
    key : str
        Key of the text. [unitless]
    **values : object
        What stands in braces in the text. [unitless]

    Raises
    ------
    KeyError
        If there is no such text: a fault of the program, found by its tests.
    """
    text = _spoken.get().words[key]
    return text.format(**values) if values else text


def tell(text: str) -> str:
    """Give what the models say in the language of the reader, with the words inside of it; any other text as it is.

    Parameters
    ----------
    text : str
        A sentence out of :mod:`models.sentences`, or data. [unitless]
    """
    if not isinstance(text, Told):
        return text
    return say(text.key, **{name: _told_value(value) for name, value in text.values.items()})


def _told_value(value: object) -> object:
    if isinstance(value, tuple):
        return ", ".join(tell(part) for part in value)
    return tell(value) if isinstance(value, str) else value
