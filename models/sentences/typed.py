"""What is said of a text that somebody typed and that is not understood, and what was expected in its place."""

from __future__ import annotations

from typing import Final

SENTENCES: Final[dict[str, str]] = {
    "told.typed.not": "'{found}' is not {expected}.",
    "told.typed.missing": "Missing: {expected}.",
    "told.typed.both": "Give clock readings, or a list of angles and readings, not both.",
    # What was expected: all of these stand inside of one of the first two
    "told.expected.one_of": "one of {words}",
    "told.expected.angle": "an angle in degrees",
    "told.expected.method": "the method",
    "told.expected.sag_is": "what the sag stands for, 'half' or 'full' roll-over reading",
    "told.expected.bracket": "the shaft that carries the bracket, 'stationary' or 'movable'",
    "told.expected.reading_angle": "the angle of this reading",
    "told.expected.row": "the distance of this row of feet",
    "told.expected.number": "a number",
    "told.expected.finite": "a finite number",
    "told.expected.fraction": "a number with decimals: fractions are not read, so write {number}",
    "told.expected.blank": "a number without a blank inside; blanks group digits by threes only, as in 12 500",
    "told.expected.decimal": "a number with '{mark}' as decimal sign",
    "told.expected.one_way": "a number that reads only one way (is the comma a decimal sign?)",
    "told.expected.number_of": "a number of {quantity}",
    "told.expected.unit_of": "a unit of {quantity} (one of {units})",
    "told.expected.visit": "a date with its year and a time, such as 2026-11-25 14:30",
    "told.expected.date": "a date such as 2026-11-25 or 25.11.2026",
    "told.expected.day.day_first": "a date such as 2026-11-25 or 25.11.2026; there is no such day (read day first)",
    "told.expected.day.month_first": "a date such as 2026-11-25 or 25.11.2026; there is no such day (read month first)",
    "told.expected.day.by_rows": "a date such as 2026-11-25 or 25.11.2026; there is no such day",
    "told.expected.day.clear": "a date such as 2026-11-25 or 25.11.2026; there is no such day",
    "told.expected.either_day.by_rows": "a date that reads one way; write {one} or {other}; where the file has a mapping, dates = 'day first' or 'month first' in it tells",
    "told.expected.contrary_day": "a date that reads one way: other dates here tell {told} ({where}), and the reading says {fixed}; correct how this file is read (in a mapping: dates = '{told}'), or write {one} or {other}",
    "told.expected.contrary_number": "a number that reads only one way: other numbers here tell a decimal {told} ({where}), and the reading says a decimal {fixed}; correct how this file is read (in a mapping: decimal = '{sign}'), or write {one} or {other}",
    "told.expected.either_day.clear": "a date that reads one way: other dates here tell both that the day stands first and that the month does; write {one} or {other}",
    "told.expected.date.serial": "a date such as 2026-11-25 or 25.11.2026; this is a spreadsheet's number for a date: give the column a date format there, and save it again",
    "told.expected.clock": "a time of day such as 14:30",
    "told.expected.offset": "a time whose offset from UTC some clock shows, from -12:00 to +14:00",
    "told.expected.clock.serial": "a time of day such as 14:30; this is a spreadsheet's number for a time: give the column a time format there, and save it again",
    "told.expected.calculated": "a value; this formula was saved without one: open the file in a spreadsheet program and save it again, or put the value itself there",
    "told.expected.seen_name": "a name; the cell holds only characters that nobody sees",
    "told.expected.shorter": "at most {most} characters; nothing that is so long is read",
    "told.expected.unmerged": "a value of its own; the cell is merged with others that show this: part them, and write what holds in each",
    "told.expected.value": "a value; this is what a spreadsheet shows where it has none: put the value itself there",
    # What a number measures
    "told.quantity.offset": "offset",
    "told.quantity.angularity": "angularity",
    "told.quantity.distance": "distance",
    "told.quantity.temperature": "temperature",
    "told.quantity.speed": "speed",
    "told.quantity.power": "power",
    "told.quantity.duration": "duration",
}
