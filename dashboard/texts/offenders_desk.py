"""Texts of the desk of the repeat offenders."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    "offenders.sentence.window": "Counted: {window}.",
    "offenders.filter.more": "More filters: area, coupling, instrument, person",
    "offenders.filter.all": "all",
    "offenders.filter.area": "Area",
    "offenders.filter.coupling": "Coupling",
    "offenders.filter.instrument": "Left with instrument",
    "offenders.filter.person": "Left by",
    "offenders.problem.filter": "‘{asked}’ is nothing that can be chosen under ‘{label}’; all are shown.",
    "offenders.funnel.title": "Share of looks that were returns, by number of looks [% of looks]",
    "offenders.funnel.note": "A point: all machines with the same counts; the larger, the more machines, with their number in it. Dashed: the share of all. "
    "Dotted and full: within these 95\u202f% and 99.8\u202f% of machines would lie if all had that share. A diamond lies beyond.",
    "offenders.funnel.text": "{above} of {n} came back more often than chance allows if all were alike; chance alone would put {chance} there.",
    "offenders.funnel.hardly": "none or hardly one",
    "offenders.funnel.below": "{n} came back less often than chance allows.",
    "offenders.funnel.one": "One return of one look is nothing unusual: {n}.",
    "offenders.funnel.none": "All looks went the same way: there is nothing that chance could explain.",
    "offenders.funnel.says": "Beyond the outer limit: {tags}.",
    "offenders.funnel.nobody": "none",
    "offenders.funnel.caption": "Machines by returns of looks",
    "offenders.funnel.outer": "99.8\u202f% limit",
    "offenders.funnel.inner": "95\u202f% limit",
    "offenders.funnel.all": "all machines",
    "offenders.funnel.inside": "chance explains it",
    "offenders.funnel.beyond": "beyond the 99.8\u202f% limit",
    "offenders.funnel.above_word": "more often than chance allows",
    "offenders.funnel.below_word": "less often than chance allows",
    "offenders.funnel.looks": "looks",
    "offenders.groups.title": "Groups that move alike",
    "offenders.groups.none": "No group moves alike more than chance explains.",
    "offenders.groups.looked": "Looked at over the whole history: {areas} areas, {trains} trains of two or more machines, {instruments} instruments.",
    "offenders.groups.caption": "Areas and trains whose machines move the same way, and instruments that read apart, the surest first",
    "offenders.group.area": "Area {name}",
    "offenders.group.train": "Train {name}",
    "offenders.group.instrument": "Instrument {name}",
    "offenders.part.near_v": "feet next to the coupling, up (+) or down (−)",
    "offenders.part.far_v": "feet away from the coupling, up (+) or down (−)",
    "offenders.part.near_h": "feet next to the coupling, right (+) or left (−)",
    "offenders.part.far_h": "feet away from the coupling, right (+) or left (−)",
    "offenders.moves": "{value} {unit} a year: {part}",
    "offenders.moves.below": "95\u202f% interval {low} to {high}; all others {others} {unit} a year",
    "offenders.reads": "reads {value} {unit} against the others: {part}",
    "offenders.reads.below": "90\u202f% interval {low} to {high} {unit}",
    "offenders.chance": "{q}\u202f% false",
    "offenders.chance.rare": "below 0.1\u202f% false",
    "offenders.column.machines": "Machines",
    "offenders.column.chance": "Chance",
    "offenders.column.group": "Group",
    "offenders.column.moves": "What is alike",
    "offenders.column.members": "Same way",
    "offenders.column.seen": "Seen [returns a year in service]",
    "offenders.column.rate": "Drawn to its class [returns a year]",
    "offenders.column.interval": "90\u202f% interval [a year]",
    "offenders.column.bound": "Ranked by: lower bound [a year]",
    "offenders.column.suggests": "What its history suggests",
    "offenders.seen": "{rate} in {years} years",
    "offenders.about.funnel": "All machines in the picture are held against one share, their own in window and filters, with exact binomial limits for so many looks "
    "(a funnel plot after Spiegelhalter 2005). Filter by speed class to compare like with like. The picture does not allow for how long each look was; the ranking does.",
    "offenders.about.groups": "A group's rate is the weighted mean of its machines' own rates at a row of feet since the last replacement, against that of all other machines. "
    "Two thirds of its machines have to move its way, and it has to stand out without the one that moves most. An instrument's reading is compared through the runs that it began or ended, "
    "against the median of all instruments. The chance of a false line is adjusted for all groups that were looked at (Benjamini and Hochberg 1995); up to 10\u202f% are shown. "
    "The whole history counts here, whatever the filters. A group is a question to its foundation, pipes or method, never a verdict on a person.",
}
