"""What a check of plausibility says of one measurement, of a whole job, and of the usual slips of a pen."""

from __future__ import annotations

from typing import Final

SENTENCES: Final[dict[str, str]] = {
    # What a check is about, as a reader calls it; the name that the book keeps beside a stated reason stays English
    "told.doubt.not_closed": "dial does not return",
    "told.doubt.sums": "sums differ",
    "told.doubt.short_arc": "short sweep",
    "told.doubt.spread": "readings poorly spread",
    "told.doubt.outlier": "one reading does not fit",
    "told.doubt.scatter": "readings scatter",
    "told.doubt.few": "few readings",
    "told.doubt.foot_distance": "foot distance",
    "told.doubt.distance": "distance",
    "told.doubt.span": "span is not the described one",
    "told.doubt.hub_side": "dial beyond the coupling centre",
    "told.doubt.unit": "wrong unit",
    "told.doubt.size": "size",
    "told.doubt.flipped": "signs swapped",
    "told.doubt.doubled": "doubled",
    "told.doubt.left_over": "as-left over limit",
    "told.doubt.worse": "as-left worse than as-found",
    "told.doubt.loose": "bolts not tight",
    "told.doubt.soft_foot": "soft foot left",
    "told.doubt.rise": "rise of a foot",
    "told.doubt.calibration": "calibration overdue",
    "told.doubt.new_instrument": "instrument not known",
    "told.doubt.alike_instrument": "instrument spelled otherwise",
    "told.doubt.new_person": "person not known",
    "told.doubt.several_people": "several people in one name",
    "told.doubt.move": "size of a move",
    "told.doubt.moved_nothing": "moves without a change",
    "told.doubt.moved_against": "moves against the change",
    "told.doubt.misplaced": "moves at other feet",
    "told.doubt.twisted": "left and right moved apart",
    "told.doubt.hours": "hours run backwards",
    "told.doubt.temperature": "temperature",
    "told.doubt.earlier": "before the last job",
    "told.doubt.same_time": "same time",
    "told.doubt.same_visit": "same visit",
    "told.doubt.meanwhile": "another job meanwhile",
    "told.doubt.future": "in the future",
    "told.doubt.not_judged": "not judged",
    "told.doubt.retired": "out of service",
    # One dial
    "told.dial.returned": "The dial came back {away} away from its first reading; {accepted} is accepted. Fix it and take the sweep again.",
    "told.dial.sums": "Top and bottom together are {both}, left and right together {sides}: they differ by {apart}; {accepted} is accepted. "
    "Read again.",
    "told.dial.arc.refused": "The sweep covers {arc:.0f}°; below {least:.0f}° the result would be mostly error. Turn the shaft further.",
    "told.dial.arc.poor": "The sweep covers {arc:.0f}°; less than a third of a turn: it is too small to trust. Sweep further.",
    "told.dial.arc.short": "The sweep covers {arc:.0f}°; less than half a turn: the result is less certain than it looks.",
    # Distances
    "told.distance.span": "The span between the flex planes must be above 0.",
    "told.distance.span.other": "The span typed is {typed}; {tag} is described with {known}, and is judged by that. If the description is right, leave "
    "the span blank. If the coupling is another one now, bring in the register of machines first, with its span and from which day it is valid.",
    "told.distance.diameter": "The diameter that dial {n} sweeps must be above 0: measure twice the plunger's distance from the axis.",
    "told.distance.one_plane": "Both dials run in the same plane; the angularity needs two planes. "
    "Give the distance of each from the coupling centre.",
    "told.distance.hub.stationary": "Dial {n} runs on the stationary hub, but {at} from the coupling centre is on the movable machine's side. "
    "This distance should be below 0: was a minus forgotten, or is the bracket on the other shaft?",
    "told.distance.hub.movable": "Dial {n} runs on the movable hub, but {at} from the coupling centre is on the stationary machine's side. "
    "This distance should be above 0: is the minus wrong, or is the bracket on the other shaft?",
    # Rises of the feet
    "told.rise.negative": "The rise of foot {foot} is {rise}; a foot whose bolt is loosened rises by 0 or more. Is the sign right?",
    "told.rise.odd": "The rise of foot {foot} is {rise}; it is at most {bound} as a rule. Is the unit right?",
    "told.rise.impossible": "The rise of foot {foot} is {rise}; no foot rises by more than {bound}. Is the unit right?",
    "told.row.zero.movable": "Row {n} of the movable machine lies at a distance of 0: no foot stands at the coupling centre. "
    "Measure to the bolts.",
    "told.row.zero.stationary": "Row {n} of the stationary machine lies at a distance of 0: no foot stands at the coupling centre. "
    "Measure to the bolts.",
    "told.row.side.movable": "Row {n} of the movable machine lies on the wrong side of the coupling: distances run towards the movable "
    "machine, so those of the movable machine are above 0.",
    "told.row.side.stationary": "Row {n} of the stationary machine lies on the wrong side of the coupling: distances run towards the movable "
    "machine, so those of the stationary machine are below 0.",
    "told.row.twice.movable": "Row {n} of the movable machine lies where another row does, at {at}.",
    "told.row.twice.stationary": "Row {n} of the stationary machine lies where another row does, at {at}.",
    # What was moved
    "told.move.odd.v": "The shim at foot {foot} is {move}; it is at most {bound} as a rule. Is the unit right?",
    "told.move.odd.h": "The side move of row {row} is {move}; it is at most {bound} as a rule. Is the unit right?",
    "told.move.nothing": "Moves are given, but what is left is what was found. If something was moved, measure again; if not, leave the "
    "moves out.",
    "told.move.against.v.movable": "By the shims, row {row} of the movable machine went {moved} (+ is up); from as-found to as-left it went {went}. "
    "Is the sign right (+ is put in), are moves missing, or was the other machine moved?",
    "told.move.against.v.stationary": "By the shims, row {row} of the stationary machine went {moved} (+ is up); from as-found to as-left it went "
    "{went}. Is the sign right (+ is put in), are moves missing, or was the other machine moved?",
    "told.move.against.h.movable": "By the side moves, row {row} of the movable machine went {moved} (+ is to the right); from as-found to as-left "
    "it went {went}. Is the sign right, are moves missing, or was the other machine moved?",
    "told.move.against.h.stationary": "By the side moves, row {row} of the stationary machine went {moved} (+ is to the right); from as-found to "
    "as-left it went {went}. Is the sign right, are moves missing, or was the other machine moved?",
    "told.move.rows.v": "By the shims, row {row} went {moved} (+ is up); from as-found to as-left it went {went}. With the numbers of rows {one} and {other} "
    "exchanged both agree: do they stand at the wrong rows?",
    "told.move.rows.h": "By the side moves, row {row} went {moved} (+ is to the right); from as-found to as-left it went {went}. With the numbers of rows "
    "{one} and {other} exchanged both agree: do they stand at the wrong rows?",
    "told.move.sides": "By the shims, row {row} went {moved} (+ is up); from as-found to as-left it went {went}. With the numbers of the left feet at row 1 "
    "and those of the right feet at row 2 both agree: do they stand at the wrong feet?",
    "told.move.twist": "The shims of row {row}, {left} on the left and {right} on the right, twist or tilt the machine by more than soft foot may come to ({limit}), "
    "and no rise of a foot accounts for it. Is a number missing, or at the wrong foot?",
    "told.move.half": "One foot of row {row} is blank and the other one has {move}: blank is not known. Where nothing was moved there, type 0.",
    # A whole job
    "told.job.retired": "{tag} is out of service since {on}. Is it the right machine, and the right date?",
    "told.job.merged": "{tag} was merged into {kept} and is out of service since {on}: what is recorded on it stands in no history that is "
    "looked at. Record it on {kept}.",
    "told.job.future": "The day {day} has not come yet. Check the date.",
    "told.job.future.today": "The time {time} of {day} has not come yet. Check the time.",
    "told.job.same_visit": "Job {ref} of this machine has the same readings on the same day ({day}, {time}). Is this the same visit once more? It would count "
    "twice: amend that job where something is missing in it. If this is a visit of its own, say why.",
    "told.job.meanwhile": "Job {ref} of this machine, of the same day ({day}, {time}), went into the book after this form was begun. Is this the "
    "same visit once more? It would count twice. If this is a visit of its own, say why.",
    "told.job.same_time": "Job {ref} of this machine has the very same time. Is this the same visit once more?",
    "told.job.earlier": "The last job of this machine, {ref}, is of {day}, {time}, later than this one. Are date and time right?",
    "told.job.new_instrument": "The book does not know the instrument {serial}; it is added without calibration dates.",
    "told.job.alike_instrument": "The book does not know the instrument {serial}; it knows {known}, which differs only by capitals, blanks or "
    "dashes. If it is that one, write it so; if it is another, say so.",
    "told.job.new_person": "The book does not know {name}; the name is added.",
    "told.job.alike_person": "The book does not know {name}; it knows {known}, which differs only by capitals, blanks, signs, letters that look alike or the order of words. If it is the same "
    "person, write the name so; else it is added.",
    "told.job.several_people": "The book knows no '{name}', but {known}. If these are several people, put a semicolon between them: {typed}",
    "told.job.several_people.perhaps": "'{name}' is taken for one name. If these are several people, put a semicolon between them: {typed}",
    "told.job.nobody": "'{name}' names nobody. Give the name, or leave the field empty.",
    "told.job.calibration": "The calibration of instrument {name} ran out on {due}, before this job of {day}.",
    "told.job.hours.later": "The hours run are {hours:.10g}, but {other:.10g} at the later job {ref}. "
    "A counter does not run backwards; was it replaced?",
    "told.job.hours.earlier": "The hours run are {hours:.10g}, but {other:.10g} at the earlier job {ref}. "
    "A counter does not run backwards; was it replaced?",
    "told.job.temperature": "The temperature is {value}; between {least} and {most} is usual when machines are aligned. Are unit and sign right?",
    "told.job.temperature.never": "The temperature is {value}; nothing beyond {least} and {most} can be recorded. Are unit and sign right?",
    "told.job.left_over": "What is left is over limit, at {ratio:.3g} times the limit.",
    "told.job.worse": "What is left is farther off than what was found: {left:.2f} of the limit, and {found:.2f} before. Were as-found and "
    "as-left swapped, or was it moved the wrong way?",
    "told.job.loose": "The as-left was measured before the last bolt was tight. Tighten crosswise and measure again.",
    "told.job.loose.asked": "Was the as-left measured after the last bolt was tight? Tightening moves a machine.",
    "told.job.soft_foot": "Foot {foot} still rises by {rise} after the work; feet may differ by {limit}.",
    # What a job cannot be
    "told.job.misalignment": "A misalignment is four finite numbers.",
    "told.job.foot_value": "A foot value is a finite number or unknown.",
    "told.job.names": "A job needs a reference and an asset.",
    "told.job.zone": "The time of a job needs its zone.",
    "told.job.nothing": "A job holds an as-found, an as-left, or both.",
    "told.job.installation": "An installation has no as-found: nothing stood there before.",
    "told.job.negative_hours": "Hours run cannot be negative.",
    # Slips
    "told.word.offset": "offset",
    "told.word.angularity": "angularity",
    "told.word.offset_v": "vertical offset",
    "told.word.angle_v": "vertical angularity",
    "told.word.offset_h": "horizontal offset",
    "told.word.angle_h": "horizontal angularity",
    "told.slip.unit.large": "The {what} of {size} is {times:.0f} times too large for this machine, which is usually near {usual}. Is the unit "
    "right? Inch for mm, or mil for µm, makes 25 times; mil for mm makes 39 times.",
    "told.slip.unit.small": "The {what} of {size} is {times:.0f} times too small for this machine, which is usually near {usual}. Is the unit "
    "right? Inch for mm, or mil for µm, makes 25 times; mil for mm makes 39 times.",
    "told.slip.size.impossible": "The {what} comes to {size}; no coupled machines have more than {bound}. Are the unit and the "
    "decimal sign right?",
    "told.slip.size.odd": "The {what} comes to {size}; it is seldom more than {bound}. Are the unit and the decimal sign right?",
    "told.swap.flipped": "all signs are the other way round",
    "told.swap.flipped_v": "the vertical signs are the other way round",
    "told.swap.flipped_h": "the horizontal signs are the other way round",
    "told.swap.doubled": "all of it is about twice as large",
    "told.swap.doubled_offsets": "the offsets are about twice as large",
    "told.swapped.found.flipped": "Against what was left last time, {swap}. Check the signs and from which side it was read.",
    "told.swapped.found.doubled": "Against what was left last time, {swap}. Is it a total reading that was not halved?",
    "told.swapped.left.flipped": "Against what was found, {swap}. Check the signs, or whether it was moved twice as far.",
    "told.swapped.left.doubled": "Against what was found, {swap}. Was it moved the wrong way?",
}
