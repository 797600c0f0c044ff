"""What is said where a measurement is worked out: readings, dials, what each foot needs, soft foot."""

from __future__ import annotations

from typing import Final

_STRAIN: Final = "suggests a strain from pipe or coupling, or a base that is not level"
_FIRST: Final = "shim nothing before that is known."
_PART: Final = "Part the coupling or loosen the pipe flanges and measure again: does the rise change?"
_CLEAN: Final = "Take the shims out, clean feet and base, use few thick shims, and measure again."

SENTENCES: Final[dict[str, str]] = {
    # Readings around the shaft
    "told.finding.short_arc": "The sweep covers less than half a turn: the result is less certain than it looks.",
    "told.finding.small_arc": "The sweep covers less than a third of a turn: it is too small to trust. Sweep further.",
    "told.finding.poorly_spread": "The readings lie so close together that their errors are multiplied: spread them further.",
    "told.finding.outlier": "One reading does not fit the others: read it again.",
    "told.finding.poor_fit": "The readings scatter far more than the instrument should: check clamps, backlash and sag, and read again.",
    "told.finding.few_for_noise": "The noise of a reading is not given, and the sweep holds too few readings to tell it well.",
    "told.finding.not_closed": "The dial did not come back to its first reading: fix it and take the sweep again.",
    "told.reading.angle": "Every reading needs the angle at which it was taken.",
    "told.reading.finite": "Angles and readings are finite numbers.",
    "told.reading.sd": "The standard deviation of a reading must be above 0.",
    "told.reading.sd_unknown": "The standard deviation of a reading is above 0, or unknown.",
    "told.reading.uncertainty": "A standard uncertainty is 0 or more.",
    "told.reading.positions": "Positions at which the readings were taken: {n}; at least 3 are needed.",
    "told.reading.positions.remedy": "Read at three or more positions, spread as far around the shaft as it can be turned.",
    "told.reading.arc": "The sweep covers {arc:.0f}°; below {least:.0f}° the result would be mostly error.",
    "told.reading.arc.remedy": "Turn the shaft further, or measure in another way.",
    # Dials
    "told.dials.one_plane": "Both dials run in the same plane; the angularity needs two planes.",
    "told.dials.one_plane.remedy": "Give the distance of each dial from the coupling centre, + towards the movable machine.",
    "told.dials.opposite": "The second face dial must stand opposite to the first at every reading.",
    "told.dials.diameter": "The swept diameter must be above 0.",
    "told.dials.no_residual": "The noise of a reading is not given, and three readings leave no residual to tell it.",
    "told.dials.sag": "A sag and its uncertainty are finite numbers.",
    # What is not there yet
    "told.missing.parts": "Still missing: {parts}.",
    "told.missing.dials": "This method has two dials; {n} are given.",
    "told.missing.span": "Still missing: the span between the flex planes.",
    "told.missing.plane": "Still missing: the distance of dial {n} from the coupling centre.",
    "told.missing.which": "Dial {n} has a distance from the coupling centre and a swept diameter. On a rim it has the distance only, on a face the diameter only: "
    "empty the other one.",
    "told.missing.diameter": "Still missing: the diameter that dial {n} sweeps.",
    "told.missing.opposite": "Still missing: readings of the dial opposite to dial {n}.",
    "told.missing.readings": "Readings of dial {n}: {count}; at least 3 are needed.",
    # How sure it is
    "told.unsure.results": "No uncertainty was given with the results.",
    "told.unsure.noise": "The noise of a reading is not given, and so few readings do not tell it.",
    "told.unsure.uncertainty": "The uncertainty of this measurement is not known.",
    "told.unsure.no_limits": "The limit set judges nothing on this machine.",
    "told.unsure.computed": "Its uncertainties hang together so closely that the probability could not be computed well enough.",
    # What each foot needs
    "told.needs.rows.movable": "The distances of two rows of feet of the movable machine are needed to tell what each foot needs.",
    "told.needs.rows.stationary": "The distances of two rows of feet of the stationary machine are needed to tell what each foot needs.",
    "told.needs.apart.movable": "The moves of the movable machine need two rows of feet at different distances.",
    "told.needs.apart.stationary": "The moves of the stationary machine need two rows of feet at different distances.",
    "told.needs.apart.remedy": "Give the distances from the coupling centre to its feet.",
    "told.needs.side.movable": "The feet of the movable machine lie on the + side of the coupling centre.",
    "told.needs.side.stationary": "The feet of the stationary machine lie on the − side of the coupling centre.",
    "told.needs.side.remedy": "Distances run towards the movable machine; those of the stationary machine are below 0.",
    "told.needs.at_zero": "A row of feet lies at a distance from the coupling centre that is not 0.",
    "told.needs.room": "The room of a foot is 0 or more in every direction.",
    # Soft foot
    "told.soft.no_limit": "The limit set holds no limit for soft foot.",
    "told.soft.too_few": "{measured} of {feet} feet were measured; at least 3 are needed to compare one with the others.",
    "told.soft.pairs": "{n} feet were given; feet come in pairs, left and right.",
    "told.soft.finite": "The rise of a foot is a finite number, or blank where it was not measured.",
    "told.soft.limit": "The soft-foot limit must be above 0.",
    "told.pattern.none": "no foot rises more than the limit above the lowest",
    "told.pattern.one": "one foot high",
    "told.pattern.diagonal": "two diagonal feet high",
    "told.pattern.one_side": "feet on one side high",
    "told.pattern.one_end": "both feet of one end high",
    "told.pattern.several": "several feet high",
    "told.pattern.all": "all feet rise alike",
    "told.pattern.unknown": "too few feet measured",
    "told.suggests.one": "suggests a short foot: a shim of the difference. If the gap is open on one edge only, it suggests a bent foot.",
    "told.suggests.diagonal": "suggests an even gap on which the machine rocks over the other diagonal: "
    "shim one of the two, normally the larger.",
    "told.suggests.one_side": f"{_STRAIN} across: {_FIRST}",
    "told.suggests.one_end": f"{_STRAIN} along: {_FIRST}",
    "told.suggests.several": "suggests something springy under several feet: dirt, rust, paint or too many thin shims.",
    "told.suggests.all": "suggests something springy under all feet: dirt, rust, paint or too many thin shims.",
    "told.check_next.one": "Feel for the gap at all four corners of that foot before the shim goes in.",
    "told.check_next.diagonal": "Shim one foot, tighten everything crosswise, and measure all feet again.",
    "told.check_next.one_side": _PART,
    "told.check_next.one_end": _PART,
    "told.check_next.several": _CLEAN,
    "told.check_next.all": _CLEAN,
    "told.check_next.unknown": "Measure every foot, with all other bolts tight.",
}
