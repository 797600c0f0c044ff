"""The Record page's view: how a form is read, what is said of it, and what keeps it out of the book."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from math import cos, pi
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from history_maker import NOW, STARTER, job, line, story_of
from hypothesis import given
from hypothesis import strategies as st

from dashboard.components.record_form import measure_part
from dashboard.components.record_results import chance
from dashboard.views.record_fields import (
    ROOMS,
    STAGES,
    TEMPERATURES,
    carried_over,
    exact_text,
    fields_of,
    in_units,
    placed_as_found,
    places_of,
    quantity_of,
    rows_of,
    stage_names,
    taken_over,
    typed_or_exact,
    usual,
    way_of,
)
from dashboard.views.record_growth import grown, material_name
from dashboard.views.record_names import field_label
from dashboard.views.record_sheet import Around, Basis
from dashboard.views.record_view import build, last_of, stated_field, stated_fields
from dashboard.views.record_when import moment_of, read_when
from models.maths.growth import RowGrowth, target_from_growth
from models.maths.judged import limits_for
from models.maths.plausible import Doubt
from models.units import Display, Quantity, parse
from models.values.asset import Asset
from models.values.decision import DecisionRule, Rule
from models.values.draft import Way, WorkCheck
from models.values.job import COMPONENTS, FeetValues, Misalignment
from models.values.kinds import Coupling, Method, Reason
from models.values.people import Instrument

MM, MIL = Display(), Display("mil", "°F")
PUMP = Asset("P-1", "brine pump", coupling=Coupling.SPACER, span_mm=180.0, speed_rpm=2970.0, feet_movable_mm=(250.0, 700.0),
             feet_stationary_mm=(-260.0, -620.0))  # fmt: skip
LAST = line(
    job("P-1", "2026-05-04T09:00", Misalignment(0.05, 0.3, 0.02, 0.2), Misalignment(0.04, 0.3, -0.03, 0.25)), PUMP, 20
)
OLD = line(
    job("P-1", "2025-05-04T09:00", Misalignment(0.06, 0.28, 0.015, 0.22), Misalignment(0.01, 0.1, 0.0, 0.05)), PUMP, 10
)
START = {"by": "R. Almeida (invented)", "performed": "2026-11-18 09:00", "ref": "P-1/new", "reason": "planned"}
RESULTS = {
    "found.method": "results",
    "found.by": "laser",
    "found.results.offset_v": "2.5 mil",
    "found.results.angle_v": "0,3",
    "found.results.offset_h": "0.02 mm",
    "found.results.angle_h": "0.2",
}


def around(display: Any = MM, amends: Any = None, jobs: Any = (OLD, LAST), **changes: Any) -> Any:
    basis = Basis(PUMP, STARTER, limits_for(STARTER, PUMP.coupling, PUMP.limit_speed_rpm))
    instruments = (Instrument("LX-01", "laser set", date(2025, 12, 1), date(2026, 12, 1)), Instrument("D-9", "", date(2024, 1, 1), date(2025, 1, 1)), Instrument("LX-01", "laser set", date(2024, 12, 1), date(2025, 11, 30)))  # fmt: skip
    return Around(
        story_of(PUMP, list(jobs)), basis, instruments, display, changes.get("now", NOW), changes.get("day", NOW.date()), amends, changes.get("people", frozenset())
    )  # fmt: skip


@pytest.mark.parametrize(
    ("day", "text"),
    [
        (date(2026, 11, 25), "laser set · calibration holds until 1 Dec 2026"),
        (date(2025, 6, 1), "laser set · calibration holds until 30 Nov 2025"),
        (date(2024, 6, 1), "laser set · the book knows no calibration for that day"),
    ],
)
def test_the_calibration_of_the_day_of_the_job_is_told(day: date, text: str) -> None:
    assert texts(build(START | RESULTS | {"instrument": "LX-01"}, around(day=day)), "instrument", "ok") == [text]


def texts(view: Any, name: Any, *kinds: Any) -> Any:
    return [one.text for one in view.said if one.field == name and (not kinds or one.kind in kinds)]


def test_numbers_with_their_own_units_commas_and_plain_ones_are_understood_and_echoed() -> None:
    view = build(START | RESULTS, around())
    assert view.job.found.as_tuple() == pytest.approx((2.5 * 0.0254, 0.3, 0.02, 0.2))
    assert texts(view, "found.results.offset_v") == ["= +0.064 mm"]
    assert texts(view, "found.results.angle_v") == ["= 0.30 mm/m"]
    assert view.job.typed["found_offset_v"] == "2.5 mil"
    assert view.job.typed["found_angle_v"] == "0,3 mm/m"
    assert view.job.method is Method.LASER
    assert texts(build(START | RESULTS, around(MIL)), "found.results.offset_h") == ["= +0.8 mil"]


def test_a_blank_form_asks_for_what_a_job_needs_and_stops_nothing() -> None:
    view = build({"found.method": "none", "left.method": "none"}, around())
    assert view.job is None
    assert view.stops == ()
    assert "your name" in view.missing
    (both,) = [text for text in view.missing if text.startswith("an as-found or an as-left, with all four numbers.")]
    assert "write it into the notes of the next whole one" in both
    assert not view.can_be_recorded


def test_nothing_moved_makes_the_as_left_the_as_found() -> None:
    view = build(START | RESULTS | {"left.method": "same"}, around())
    assert view.job.left == view.job.found
    assert view.left.same
    assert view.can_be_recorded == (not view.asks)


def test_a_typing_error_is_named_at_its_field_and_keeps_the_job_out() -> None:
    view = build(START | RESULTS | {"found.results.offset_v": "0,O5"}, around())
    assert texts(view, "found.results.offset_v", "bad") == ["'0,O5' is not a number of offset."]
    assert any("as found, result, offset vertical" in stop for stop in view.stops)
    assert not view.can_be_recorded


def test_a_doubt_needs_a_stated_reason_and_with_it_the_job_can_be_recorded() -> None:
    fields = START | RESULTS | {"left.method": "same", "instrument": "D-9"}
    view = build(fields, around())
    assert [ask.doubt for ask in view.asks if "calibration" in ask.doubt] == ["calibration overdue"]
    assert "ran out on 2025-01-01" in texts(view, "instrument", "reason")[0]
    answered = {ask.field: "checked since" for ask in view.asks}
    stated = build(fields | answered, around())
    assert stated.can_be_recorded
    assert stated.stated["calibration overdue"] == "checked since"


@pytest.mark.parametrize(
    ("changes", "name", "sentence"),
    [
        ({"feet.movable.1.at": "0"}, "feet.movable.1.at", "lies at a distance of 0"),
        ({"performed": "2027-01-01 10:00"}, "performed", "has not come yet"),
        ({"performed": "yesterday"}, "performed", "is not a date"),
        (
            {"performed": "07:05"},
            "performed",
            "'07:05' is not a date with its year and a time, such as 2026-11-25 14:30",
        ),
        ({"ref": "P-1/2026-05-04T09:00"}, "ref", "is in the book already, as entry 20"),
    ],
)
def test_what_cannot_be_true_stops_and_stands_at_its_field(changes: Any, name: Any, sentence: Any) -> None:
    view = build(START | RESULTS | changes, around())
    assert any(sentence in text for text in texts(view, name, "stop", "bad"))
    assert any(sentence in stop for stop in view.stops)


def test_hours_run_are_echoed_with_the_fraction_that_was_typed() -> None:
    assert texts(build(START | {"hours_run": "12,5"}, around()), "hours_run", "ok") == ["= 12.5 h"]
    assert texts(build(START | {"hours_run": "8729"}, around()), "hours_run", "ok") == ["= 8729 h"]


def every_field() -> list[str]:
    """Give the names of all fields of a form that hold something of a measurement or of the feet."""
    names = ["performed", "hours_run", "moves", "target.source", *(f"target.{name}" for name in COMPONENTS)]
    names += [f"temp.{name}" for name in TEMPERATURES]
    names += [f"{prefix}.{place}" for prefix in ("soft_before", "soft_after", "shim", "side") for place in (1, 2)]
    names += [f"feet.{machine}.1.{part}" for machine in ("movable", "stationary") for part in ("at", *ROOMS)]
    for stage in STAGES:
        names += [f"{stage}.method", *(f"{stage}.{name}" for way in Way for name in stage_names(way, 2))]
    return list(dict.fromkeys(names))


def test_every_field_has_a_name_that_no_other_has() -> None:
    labels = {name: field_label(name) for name in every_field()}
    assert len(labels) > 100
    assert len(set(labels.values())) == len(labels)
    for name, label in labels.items():
        stage = {"found": "as found", "left": "as left"}.get(name.partition(".")[0], "")
        assert label.startswith(stage)
        assert label != stage
        assert name not in label


AROUND_READINGS = {
    "found.method": "readings around the shaft", "found.dial.1.plane": "-40 mm", "found.dial.2.plane": "60 mm",
    "found.dial.1.bracket": "movable shaft", "found.dial.2.bracket": "movable shaft",
} | {
    f"found.dial.{dial}.{kind}.{place + 1}": text
    for dial in (1, 2) for place in range(8)
    for kind, text in (("angles", f"{45 * place}"), ("readings", f"{0.5 * cos(pi / 4 * place) + 0.001 * (place % 2) + 0.0005 * (place % 3):.4f} mm"))
}  # fmt: skip


@pytest.mark.parametrize(
    ("noise", "whence"),
    [("", "with the uncertainty that the scatter of the readings shows"), ("0.002 mm", "given the stated uncertainty")],
)
def test_a_probability_says_where_its_uncertainty_comes_from_and_is_never_nothing(noise: str, whence: str) -> None:
    view = build(START | AROUND_READINGS | {"found.noise.reading": noise}, around())
    assert view.found.worked.conformance.probability == 0.0, "so small that no number holds it"
    told = chance(view.found).children
    assert whence in told
    assert "below 0.5\u202f%" in told


def test_time_and_instrument_are_checked_before_anything_is_measured() -> None:
    fields = START | {"found.method": "results", "left.method": "none", "performed": "2027-01-01", "instrument": "D-9"}
    view = build(fields, around())
    assert any("has not come yet" in stop for stop in view.stops)
    assert "ran out on 2025-01-01" in texts(view, "instrument", "reason")[0]
    assert view.job is None


def test_names_serials_and_moves_that_look_wrong_are_asked_about_at_their_fields() -> None:
    known = around(people=frozenset({"Ada Kelpwright"}))
    fields = START | RESULTS | {
        "left.method": "same", "instrument": "lx 01", "people": "Ada Kelpwright, Jory Anchorleaf; Bo Tarn", "shim.3": "15", "side.2": "-12",
    }  # fmt: skip
    view = build(fields, known)
    assert "it knows LX-01," in texts(view, "instrument", "reason")[0]
    assert texts(view, "people", "reason")[0].endswith("between them: Ada Kelpwright; Jory Anchorleaf")
    assert texts(view, "people", "note") == ["The book does not know Bo Tarn; the name is added."]
    odd, nothing = texts(view, "shim.3", "reason")
    assert "shim at foot 2L is +15.000 mm" in odd
    assert nothing.startswith("Moves are given, but what is left is what was found.")
    assert "side move of row 2 is −12.000 mm" in texts(view, "side.2", "reason")[0]
    asks = {str(doubt) for doubt in (Doubt.ALIKE_INSTRUMENT, Doubt.SEVERAL_PEOPLE, Doubt.MOVE, Doubt.MOVED_NOTHING)}
    assert {ask.doubt for ask in view.asks} >= asks
    assert not view.can_be_recorded
    answered = build(fields | {ask.field: "it is so" for ask in view.asks}, known)
    assert answered.can_be_recorded
    right = {"instrument": "LX-01", "people": "Ada Kelpwright", "shim.3": "", "side.2": ""}
    assert not {ask.doubt for ask in build(fields | right, known).asks} & asks


def test_moves_and_names_are_looked_at_before_anything_is_measured() -> None:
    view = build(
        START | {"found.method": "results", "left.method": "none", "people": "Bo Tarn", "shim.1": "15"}, around()
    )
    assert view.job is None
    assert "shim at foot 1L is +15.000 mm" in texts(view, "shim.1", "reason")[0]
    assert texts(view, "people", "note") == ["The book does not know Bo Tarn; the name is added."]


def test_shims_with_their_sign_turned_are_asked_about_by_the_machine_that_was_moved() -> None:
    numbers = dict(zip(COMPONENTS, ("0.11", "0.3", "0", "0"), strict=True))
    fields = START | RESULTS | {f"found.results.{name}": number for name, number in numbers.items()}
    fields |= {f"left.results.{name}": "0" for name in COMPONENTS} | {"left.method": "results", "left.tight": "yes"}
    moves = {"shim.1": "0.185", "shim.2": "0.185", "shim.3": "0.32", "shim.4": "0.32"}
    (said,) = texts(build(fields | moves, around()), "shim.3", "reason")
    assert said.startswith("By the shims, row 2 of the movable machine went +0.320 mm (+ is up)")
    out = {name: f"-{number}" for name, number in moves.items()}
    assert not texts(build(fields | out, around()), "shim.3", "reason")
    stationary = {
        "moves": "stationary machine",
        "shim.1": "0.032",
        "shim.2": "0.032",
        "shim.3": "-0.076",
        "shim.4": "-0.076",
    }
    assert not texts(build(fields | stationary, around()), "shim.3", "reason")


def test_signs_that_mirror_the_last_as_left_are_asked_about() -> None:
    flipped = {f"found.results.{name}": f"{-value} mm" if "offset" in name else f"{-value}" for name, value in zip(COMPONENTS, LAST.job.left.as_tuple(), strict=True)}  # fmt: skip
    view = build(START | RESULTS | flipped, around())
    assert [ask for ask in view.asks if ask.doubt == str(Doubt.FLIPPED)]


def test_an_installation_has_no_as_found() -> None:
    view = build(START | RESULTS | {"reason": "installation"}, around())
    assert view.job is None
    assert any("no as-found" in stop for stop in view.stops)


def raw(way: Any, **changes: Any) -> Any:
    fields = {"found.method": way.value} | {f"found.{name}": "" for name in stage_names(way)}
    return START | fields | {f"found.{name.replace('__', '.')}": text for name, text in changes.items()}


def test_readings_are_kept_as_typed_and_come_back_into_the_form() -> None:
    numbers = {"dial__1__top": "0", "dial__1__right": "0.02", "dial__1__bottom": "-0.05", "dial__1__left": "-0.07", "dial__1__plane": "-90",
                   "dial__1__bracket": "movable shaft", "dial__2__top": "0", "dial__2__right": "-0.14", "dial__2__bottom": "-0,25 mm",
                   "dial__2__left": "-4.3 mil", "dial__2__plane": "90", "dial__2__bracket": "stationary shaft"}  # fmt: skip
    view = build(raw(Way.REVERSE_INDICATOR, **numbers), around())
    assert view.found.worked.reason == ""
    assert view.job.method is Method.REVERSE_INDICATOR
    assert view.job.typed["found dial.2.left"] == "-4.3 mil"
    back = fields_of(view.job, MM)
    assert back["found.dial.2.left"] == "-4.3 mil"
    assert back["found.method"] == "reverse indicator"
    again = build(START | back, around())
    assert again.job.found == view.job.found


def test_angles_are_said_to_count_clockwise_from_twelve_and_the_clock_is_zeroed_at_twelve() -> None:
    """Movable machine, looking towards the stationary one: where horizontal + is to the right (design, signs)."""
    zero, angles = "Zero the dial at 12 o'clock", "0° is 12 o'clock, 90° is 3 o'clock"
    for way, said, other in ((Way.AROUND, angles, zero), (Way.RIM_FACE, zero, angles)):
        told = str(measure_part("found", {"found.method": way.value}, PUMP, MM)[1])
        assert said in told
        assert other not in told
    places = dict(zip(("top", "right", "bottom", "left"), range(1, 5), strict=True))
    clock = {f"found.dial.{n}.{place}": f"{0.01 * n * k * k}" for n in (1, 2) for place, k in places.items()}
    around_it = {f"found.dial.{n}.{kind}.{k}": text for n in (1, 2) for place, k in places.items()
                 for kind, text in (("angles", f"{90 * (k - 1)}"), ("readings", clock[f"found.dial.{n}.{place}"]))}  # fmt: skip
    hubs = {
        "found.dial.1.plane": "-90",
        "found.dial.2.plane": "90",
        "found.dial.1.bracket": "movable shaft",
        "found.dial.2.bracket": "stationary shaft",
    }
    views = [
        build(START | hubs | fields | {"found.method": way.value}, around())
        for way, fields in ((Way.AROUND, around_it), (Way.REVERSE_INDICATOR, clock))
    ]
    one, other = (view.found.worked.misalignment.as_tuple() for view in views)
    assert one == pytest.approx(other, abs=1e-9)


def test_the_as_left_takes_the_distances_of_dials_over_from_an_as_found_of_the_same_form() -> None:
    rim_face = {"dial.1.top": "0", "dial.1.right": "0.02", "dial.1.bottom": "0.1", "dial.1.left": "0.08", "dial.1.plane": "5", "dial.1.bracket": "movable shaft",
                "dial.2.top": "0", "dial.2.right": "0", "dial.2.bottom": "0.02", "dial.2.left": "0.02", "dial.2.diameter": "100", "dial.2.side": "back of the hub"}  # fmt: skip
    found = START | {"found.method": Way.RIM_FACE.value} | {f"found.{name}": text for name, text in rim_face.items()}
    blank = (
        found
        | {"left.method": Way.RIM_FACE.value}
        | {f"left.{name}": text for name, text in rim_face.items() if name not in ("dial.1.plane", "dial.2.diameter")}
    )
    view = build(blank, around())
    assert view.job.left == view.job.found
    assert view.job.typed["left dial.2.diameter"] == view.job.typed["found dial.2.diameter"]
    assert texts(view, "left.dial.2.diameter") == ["blank: 100 mm, as in the as-found"]
    assert texts(view, "left.dial.2.side") == ["as in the as-found"]
    own = build(blank | {"left.dial.2.diameter": "200", "left.dial.2.side": "front of the hub"}, around())
    assert own.job.left.angle_v == pytest.approx(-view.job.left.angle_v / 2)
    assert texts(own, "left.dial.2.diameter") == ["= 200 mm"]
    assert texts(own, "left.dial.2.side") == []
    faces = build(blank | {"left.method": Way.FACE_FACE.value}, around())
    assert faces.left.worked.misalignment is None
    assert taken_over(blank, span=True) == {"left.dial.1.plane": "5", "left.dial.2.diameter": "100"}
    assert "left.dial.2.diameter" not in taken_over(blank | {"left.dial.2.plane": "8"}, span=True), (
        "a dial on a rim stays one"
    )
    assert placed_as_found(found | {"left.method": Way.RIM_FACE.value})["left.dial.2.side"] == "back of the hub"
    assert placed_as_found(found | {"left.method": Way.RESULTS.value}) == {}


def test_no_probability_is_missed_where_nobody_gave_an_uncertainty() -> None:
    bare = build(START | RESULTS, around()).found
    assert chance(bare) is None
    assert "No uncertainty was given" in chance(replace(bare, rule=DecisionRule(Rule.GUARDED))).children


def test_fields_of_another_method_count_for_nothing() -> None:
    view = build(START | RESULTS | {"found.dial.1.top": "nonsense"}, around())
    assert view.stops == ()


def test_a_row_that_is_typed_over_leaves_the_other_row_of_the_book() -> None:
    view = build(START | RESULTS | {"feet.movable.2.left": "0"}, around())
    assert [need.x_mm for need in view.found.worked.needs] == [250.0, 700.0]
    assert view.found.worked.needs[1].held_h
    assert "feet.movable.2.at" not in view.job.typed


def test_an_amendment_of_the_notes_leaves_what_was_typed_as_it_was() -> None:
    numbers = {f"{stage}_{name}": "0,05 mm" for stage in STAGES for name in ("offset_v", "offset_h")}
    typed = numbers | {"hours_run": "93951 h", "temp_ambient_c": "28,5 °C", "move_v_1L": "0,1 mm"}
    kept = replace(
        LAST.job, found=Misalignment(0.05, 0.3, 0.05, 0.2), left=Misalignment(0.05, 0.1, 0.05, 0.2), hours_run=93951.0,
        temp_ambient_c=28.5, moves_v=FeetValues((0.1, None)), typed=typed,
    )  # fmt: skip
    old = replace(LAST, job=kept)
    # A choice is never blank in a browser: it says what stands first.
    fields = fields_of(kept, MM) | {"by": "x", "why": "y", "notes": "z", "moves": "movable machine"}
    job = build(fields, around(amends=old, jobs=(OLD, old))).job
    assert {name: text for name, text in job.typed.items() if "angle" not in name} == typed
    moved = build(fields | {"moves": "stationary machine"}, around(amends=old, jobs=(OLD, old))).job
    assert moved.typed["moves"] == "stationary machine"
    fresh = build(START | RESULTS | {"hours_run": "1200,5"}, around()).job
    assert fresh.typed["hours_run"] == "1200,5 h"


def test_the_feet_of_soft_foot_and_moves_are_kept_by_name() -> None:
    view = build(START | RESULTS | {"soft_before.3": "0.11", "soft_before.1": "2 mil", "shim.3": "-0.1", "side.2": "0.05"}, around())  # fmt: skip
    assert view.job.soft_before == FeetValues((2 * 0.0254, None, 0.11, None))
    assert view.job.moves_v == FeetValues((None, None, -0.1, None))
    assert view.job.moves_h == FeetValues((None, None, 0.05, 0.05))
    assert view.job.typed["soft_before_1L"] == "2 mil"
    assert view.job.typed["move_h_2R"] == "0.05 mm"


def test_checks_and_the_answer_about_the_bolts_are_kept() -> None:
    left = {name.replace("found", "left"): text for name, text in RESULTS.items()}
    view = build(START | RESULTS | left | {"check.isolated": "yes", "left.tight": "yes"}, around())
    assert view.job.checks == (WorkCheck.ISOLATED, WorkCheck.LEFT_WHEN_TIGHT)
    assert view.bolts_tight is True
    loose = build(START | RESULTS | left | {"left.tight": "no", "left.results.offset_v": "0.01"}, around())
    assert "before the last bolt was tight" in texts(loose, "left.tight", "reason")[0]
    assert loose.bolts_tight is False


def test_an_amendment_begins_with_the_old_job_and_needs_a_change_and_a_reason() -> None:
    fields = fields_of(LAST.job, MM) | {"by": "T. Brandt (invented)"}
    view = build(fields, around(amends=LAST))
    assert view.job.found == LAST.job.found
    assert view.job.left == LAST.job.left
    assert view.job.performed_at == LAST.job.performed_at
    assert view.changed == ()
    assert "a change: the form says what the book says already" in view.missing
    assert "the reason of the amendment" in view.missing
    same = build(
        fields | {"why": "misread", "found.results.offset_v": "0.05"}, around(amends=replace(LAST, job=view.job))
    )
    assert "a change: the form says what the book says already" in same.missing
    changed = build(fields | {"why": "misread", "found.results.offset_v": "0.055"}, around(amends=LAST))
    assert changed.can_be_recorded
    assert [(one.field, one.old, one.new) for one in changed.changed] == [
        ("as-found, vertical offset", "+0.050 mm", "+0.055 mm")
    ]


def test_what_was_doubtful_in_the_old_version_is_not_asked_again() -> None:
    doubtful = replace(LAST, job=replace(LAST.job, instrument="D-9"))
    view = build(fields_of(doubtful.job, MM) | {"by": "x", "why": "y", "notes": "z"}, around(amends=doubtful, jobs=(OLD, doubtful)))  # fmt: skip
    assert not [ask for ask in view.asks if ask.doubt == str(Doubt.CALIBRATION)]
    assert view.can_be_recorded


@pytest.mark.parametrize("bracket", ["stationary", "movable"])
def test_a_dial_is_headed_by_the_hub_across_from_its_bracket(bracket: str) -> None:
    dial, hub = "found.dial.1", "movable" if bracket == "stationary" else "stationary"
    view = build(START | {"found.method": "reverse indicator", f"{dial}.bracket": f"{bracket} shaft"}, around())
    assert texts(view, f"{dial}.hub") == [f"runs on the {hub} hub"]
    assert texts(view, "found.dial.2.hub") == []
    head = str(measure_part("found", {"found.method": "reverse indicator"}, PUMP, MM))
    assert "stationary hub" not in head
    assert f"'{dial}.hub'" in head


def test_a_reason_that_was_stated_comes_back_into_the_form() -> None:
    stated = replace(LAST.job, typed={"stated reason: wrong unit": "it is a new machine"})
    assert stated_fields(stated) == {stated_field(Doubt.UNIT): "it is a new machine"}


def test_the_time_is_read_on_the_clock_of_the_site() -> None:
    moment = moment_of({"performed": "2026-07-01 09:30"}, "Europe/Lisbon")
    assert moment == datetime(2026, 7, 1, 8, 30, tzinfo=UTC)
    assert moment_of({}, "Europe/Lisbon") is None


@pytest.mark.parametrize(
    ("text", "question", "answers"),
    [
        ("11/05/2026 07:00", "can be 11 May 2026 or 5 Nov 2026", {"11 May 2026": "2026-05-11T06:00Z", "5 Nov 2026": "2026-11-05T07:00Z"}),
        ("3/4/26", "can be 3 Apr 2026 or 4 Mar 2026", {"3 Apr 2026": "2026-04-03T11:00Z", "4 Mar 2026": "2026-03-04T12:00Z"}),
        ("2026-03-29 01:30", "never showed 01:30 on 29 Mar 2026", {"00:30": "2026-03-29T00:30Z", "02:30": "2026-03-29T01:30Z"}),
        ("2026-10-25 01:30", "showed 01:30 twice on 25 Oct 2026",
         {"the first one, +01:00 to UTC": "2026-10-25T00:30Z", "the second one, +00:00 to UTC": "2026-10-25T01:30Z"}),
    ],
)  # fmt: skip
def test_a_time_that_two_moments_answer_to_is_asked_about_and_each_answer_reads_one_way(
    text: str, question: str, answers: dict[str, str]
) -> None:
    view = build(START | RESULTS | {"left.method": "same", "performed": text}, around())
    (asked,) = [one for one in view.said if one.field == "performed"]
    assert question in asked.text
    assert view.stops == (f"when: {asked.text}",)
    assert view.job is None
    read = {said: moment_of({"performed": put}, "Europe/Lisbon") for said, put in asked.answers}
    assert read == {said: datetime.fromisoformat(moment) for said, moment in answers.items()}


@pytest.mark.parametrize(
    "text",
    ["25/11/2026 07:00", "11/25/2026 07:00", "25.11.2026 07:00", "05.05.2026", "2026-10-25 01:30+00:00", "5/5/2026"],
)
def test_a_time_that_reads_one_way_is_not_asked_about(text: str) -> None:
    assert read_when({"performed": text}, "Europe/Lisbon").moment is not None


def test_the_hour_that_came_twice_goes_back_into_the_form_as_the_one_that_it_was() -> None:
    for fold, text in ((0, "2026-10-25 01:30+01:00"), (1, "2026-10-25 01:30+00:00")):
        at = datetime(2026, 10, 25, 1, 30, fold=fold, tzinfo=ZoneInfo("Europe/Lisbon"))
        assert fields_of(replace(LAST.job, performed_at=at), MM)["performed"] == text
        assert moment_of({"performed": text}, "Europe/Lisbon") == at.astimezone(UTC)


def test_the_last_job_is_not_the_one_that_is_amended() -> None:
    story = story_of(PUMP, [OLD, LAST])
    assert last_of(story) is LAST
    assert last_of(story, LAST) is OLD
    assert last_of(story_of(PUMP, [])) is None


@given(st.floats(-5, 5).map(lambda x: round(x, 7)), st.sampled_from([MM, MIL]))
def test_a_number_written_into_a_field_reads_as_that_very_number(value: Any, display: Any) -> None:
    text = exact_text(value, Quantity.OFFSET, display)
    assert parse(text, Quantity.OFFSET, display.unit(Quantity.OFFSET)).value == pytest.approx(value, abs=1e-15)


def test_a_typed_text_that_does_not_say_the_stored_number_is_not_shown() -> None:
    assert typed_or_exact("2.5 mil", 0.0635, Quantity.OFFSET, MM) == "2.5 mil"
    assert typed_or_exact("2.5", 0.0635, Quantity.OFFSET, MM) == "0.0635 mm"
    assert typed_or_exact("?", 0.0635, Quantity.OFFSET, MM) == "0.0635 mm"
    assert exact_text(None, Quantity.OFFSET, MM) == ""


def test_a_draft_keeps_its_meaning_in_other_units() -> None:
    fields = {
        "found.results.offset_v": "0.06",
        "temp.ambient": "20",
        "notes": "0.06",
        "found.dial.1.top": "0",
        "hours_run": "7",
    }
    assert in_units(fields, MM, MM) == fields
    assert in_units(fields, MM, MIL) == {
        "found.results.offset_v": "0.06 mm", "temp.ambient": "20 °C", "notes": "0.06", "found.dial.1.top": "0", "hours_run": "7 h",
    }  # fmt: skip


def test_each_number_of_each_method_has_a_quantity_and_a_name() -> None:
    words = {"bracket", "side", "sag_is", "seen_from"}
    for way in Way:
        for name in stage_names(way):
            last = name.rpartition(".")[2]
            if last not in words and ".angles." not in name:
                assert quantity_of(f"found.{name}") is not None, name
            if last != "seen_from":
                assert field_label(f"found.{name}").startswith("as found"), name


def test_the_form_grows_with_what_is_filled_in() -> None:
    assert places_of({}, "found") == 8
    assert places_of({"found.dial.1.readings.9": "1"}, "found") == 16
    assert places_of({"found.places": "16"}, "found") == 16
    assert places_of({"found.places": "999"}, "found") == 8
    assert rows_of(PUMP, {}, "movable") == 2
    assert rows_of(PUMP, {"soft_before.6": "1"}, "movable") == 3
    assert rows_of(PUMP, {"feet.stationary.4.at": "1"}, "stationary") == 4
    assert way_of({"found.method": "none"}, "found") is None


def test_a_reason_of_the_visit_that_is_none_makes_no_job() -> None:
    assert build(START | RESULTS | {"reason": "boredom"}, around()).job is None
    assert build(START | RESULTS, around()).job.reason is Reason.PLANNED


REVERSE = {
    "found.method": "reverse indicator", "found.dial.1.bracket": "movable shaft", "found.dial.2.bracket": "stationary shaft",
    **{f"found.dial.1.{name}": text for name, text in zip(("top", "right", "bottom", "left"), ("0", "-0.02", "0.04", "0.06"), strict=True)},
    **{f"found.dial.2.{name}": text for name, text in zip(("top", "right", "bottom", "left"), ("0", "0.01", "-0.06", "-0.07"), strict=True)},
}  # fmt: skip


def test_a_forgotten_minus_of_a_distance_is_asked_about_once_and_with_a_reason_it_goes_in() -> None:
    fields = START | REVERSE | {"left.method": "same", "found.dial.1.plane": "70", "found.dial.2.plane": "80"}
    view = build(fields, around())
    assert "was a minus forgotten" in texts(view, "found.dial.1.plane", "reason")[0]
    assert [ask.field for ask in view.asks if ask.doubt == str(Doubt.HUB_SIDE)] == ["stated.hub_side"]
    assert not view.can_be_recorded
    answered = {ask.field: "bracket reaches over (invented)" for ask in view.asks}
    assert build(fields | answered, around()).can_be_recorded
    right = build(fields | {"found.dial.1.plane": "-70"}, around())
    assert str(Doubt.HUB_SIDE) not in {ask.doubt for ask in right.asks}


def test_odd_rises_are_asked_about_at_their_feet_before_anything_is_measured_too() -> None:
    rises = {
        "soft_before.1": "0.02",
        "soft_before.2": "-0.10",
        "soft_before.3": "0.03",
        "soft_before.4": "5",
        "soft_after.1": "-0.02",
    }
    for measured in ({"found.method": "none", "left.method": "none"}, RESULTS | {"left.method": "same"}):
        view = build(START | rises | measured, around())
        assert "Is the sign right?" in texts(view, "soft_before.2", "reason")[0]
        assert "Is the unit right?" in texts(view, "soft_before.4", "reason")[0]
        assert "Is the sign right?" in texts(view, "soft_after.1", "reason")[0]
        assert texts(view, "soft_before.1", "reason") == []
        assert [ask.field for ask in view.asks].count("stated.rise") == 1
    stopped = build(START | RESULTS | {"left.method": "same", "soft_before.1": "30"}, around())
    assert any("no foot rises by more than 25.000 mm" in stop for stop in stopped.stops)


def test_the_day_alone_is_a_day_although_it_is_not_noon_yet() -> None:
    early = datetime(2026, 11, 18, 7, 40, tzinfo=UTC)
    fields = START | RESULTS | {"left.method": "same"}
    today = build(fields | {"performed": "2026-11-18"}, around(now=early))
    assert texts(today, "performed", "stop", "bad") == []
    assert today.job is not None
    assert (
        "has not come yet"
        in texts(build(fields | {"performed": "2026-11-18 09:00"}, around(now=early)), "performed", "stop")[0]
    )
    assert (
        "has not come yet"
        in texts(build(fields | {"performed": "2026-11-19"}, around(now=early)), "performed", "stop")[0]
    )


def test_an_as_left_worse_than_the_as_found_is_asked_about() -> None:
    found = {f"found.results.{name}": "0" for name in COMPONENTS} | {"found.results.angle_v": "0.10"}
    left = {f"left.results.{name}": "0" for name in COMPONENTS} | {
        "left.results.angle_h": "0.80",
        "left.method": "results",
        "left.tight": "yes",
    }
    view = build(START | RESULTS | found | left, around())
    assert view.found.ratio is not None
    assert view.left.ratio is not None
    assert view.found.ratio < 0.21
    assert 0.7 < view.left.ratio <= 1
    (ask,) = [ask for ask in view.asks if ask.doubt == str(Doubt.WORSE)]
    assert "Were as-found and as-left swapped" in ask.sentences[0]


DIAL_WAYS = [way for way in Way if way is not Way.RESULTS]


@pytest.mark.parametrize("way", DIAL_WAYS)
@pytest.mark.parametrize("was", DIAL_WAYS)
def test_a_bracket_that_nobody_chose_stands_where_the_new_way_has_it(was: Way, way: Way) -> None:
    fields = usual("found", was) | {"found.method": way.value, "found.dial.1.right": "0.02"}
    kept = usual("found", way) | carried_over(fields, "found", was.value)
    for name, text in usual("found", way).items():
        if name.endswith("bracket"):
            assert kept[name] == text
    assert kept["found.dial.1.right"] == "0.02"


def test_a_bracket_that_somebody_chose_stays_and_so_does_everything_where_the_way_is_the_same() -> None:
    fields = {"left.method": Way.AROUND.value, "left.dial.1.bracket": "movable shaft"}
    assert carried_over(fields, "left", Way.RIM_FACE.value)["left.dial.1.bracket"] == "movable shaft"
    fields |= {"left.dial.2.diameter": "200", "left.dial.2.plane": "90"}
    assert carried_over(fields, "left", Way.AROUND.value) == fields
    assert carried_over(fields | {"left.method": "none"}, "left", Way.AROUND.value)["left.dial.2.diameter"] == "200"
    assert carried_over(fields | {"left.method": "results"}, "left", "")["left.dial.2.diameter"] == "200"


@pytest.mark.parametrize(
    ("was", "plane"), [(Way.REVERSE_INDICATOR.value, "90"), (Way.RIM_FACE.value, None), ("", None)]
)
def test_around_the_shaft_nothing_of_before_makes_a_dial_one_on_a_face_or_on_a_rim(was: str, plane: str | None) -> None:
    fields = {
        "found.method": Way.AROUND.value,
        "found.dial.2.diameter": "200",
        "found.dial.2.plane": "90",
        "found.dial.1.plane": "-60",
    }
    kept = carried_over(fields, "found", was)
    assert "found.dial.2.diameter" not in kept
    assert kept.get("found.dial.2.plane") == plane
    assert kept["found.dial.1.plane"] == "-60"


def test_with_what_results_were_measured_is_asked_and_never_taken_from_the_head_of_the_list() -> None:
    unsaid = START | RESULTS | {"left.method": "same", "found.by": ""}
    view = build(unsaid, around(jobs=()))
    assert view.missing == ("with what it was measured (‘Measured with’ under the results; ‘other’ is an answer too)",)
    assert not view.can_be_recorded
    assert build(unsaid | {"found.by": "other"}, around(jobs=())).job.method is Method.OTHER
    readings = build(
        START | {"left.method": "results"} | {k.replace("found", "left"): v for k, v in RESULTS.items()}, around()
    )
    assert readings.job.method is Method.LASER
    for stage in STAGES:
        options = str(measure_part(stage, {f"{stage}.method": "results"}, PUMP, MM)[2])
        assert "say which" in options.partition("reverse indicator")[0]
        assert "selected" in options.partition("say which")[0]


GREW = {
    "growth.movable.1.material": material_name(2), "growth.movable.1.height": "400", "growth.movable.1.cold": "20", "growth.movable.1.hot": "65",
    "growth.movable.2.material": "own", "growth.movable.2.alpha": "11.4", "growth.movable.2.height": "400", "growth.movable.2.cold": "20",
    "growth.movable.2.hot": "55", "growth.stationary.1.up": "0.1",
}  # fmt: skip
"""The growth of the example that ``driftbook work`` prints, on another machine: both ways must give one target."""


def test_growth_gives_the_target_of_the_worked_sheet_with_its_working_and_takes_nothing_by_itself() -> None:
    view = build(START | RESULTS | {"left.method": "same"} | GREW, around())
    rows = [RowGrowth(250.0, 11.4e-6 * 400 * 45), RowGrowth(700.0, 11.4e-6 * 400 * 35)]
    wanted = target_from_growth(rows, [RowGrowth(-260.0, 0.1)])
    said = [one for one in view.said if one.field == "growth"]
    assert said[0].text == "movable, row 1: 11.4 µm/(m·°C) × 400 mm × 45 °C = +0.205 mm"
    assert said[2].text == "stationary, row 1: measured +0.100 mm"
    assert "one row is given" in said[3].text.lower()
    assert view.job.target == Misalignment()
    ((label, put),) = said[-1].answers
    assert label == "Take this over as the target"
    taken = json.loads(put)
    assert parse(taken["target.offset_v"], Quantity.OFFSET, "mm").value == pytest.approx(wanted.offset_v, abs=5e-4)
    assert parse(taken["target.angle_v"], Quantity.ANGULARITY, "mm/m").value == pytest.approx(wanted.angle_v, abs=5e-3)
    after = build(START | RESULTS | {"left.method": "same"} | GREW | taken, around())
    assert texts(after, "growth")[-1] == "This is the target in the form."
    assert after.job.target.as_tuple()[:2] == pytest.approx((wanted.offset_v, wanted.angle_v), abs=5e-3)
    assert after.job.typed["target.source"].startswith("worked out from growth, an estimate: movable, row 1: 11.4")


def test_growth_in_fahrenheit_and_mil_is_the_same_and_what_is_missing_or_wrong_keeps_no_job_out() -> None:
    one = {"growth.movable.1.material": "own", "growth.movable.1.alpha": "6.3333", "growth.movable.1.height": "15.748", "growth.movable.1.cold": "68",
           "growth.movable.1.hot": "149"}  # fmt: skip
    shown = grown(one, PUMP, MIL)
    assert shown.target is not None
    assert shown.target.offset_v == pytest.approx(-0.2052, abs=1e-4)
    assert "× 15.7 in × 81 °F = +8.1 mil" in shown.lines[0]
    view = build(
        START | RESULTS | {"left.method": "same", "growth.movable.1.height": "40O", "growth.movable.2.alpha": "0.0114"},
        around(),
    )
    assert view.stops == ()
    assert len(texts(view, "growth.movable.1.height", "bad")) == 1
    assert texts(view, "growth.movable.2.alpha", "bad") == ["A coefficient is typed in millionths: 11.7 for 0.0000117."]
    assert texts(view, "growth")[0].endswith(
        "still missing: what it is made of, the height of the shaft, the cold temperature, the hot temperature."
    )
    both = {"growth.movable.1.material": material_name(0), "growth.movable.1.alpha": "12"}
    assert grown(both, PUMP, MM).wrong == [
        ("growth.movable.1.alpha", "Say what it is made of, or type a coefficient, not both.")
    ]
    assert grown(one | {"growth.movable.1.material": ""}, PUMP, MIL).target == shown.target
    assert (
        grown(
            {"growth.movable.1.material": "own", "growth.movable.1.alpha": "900", "growth.movable.1.height": "1"},
            PUMP,
            MM,
        ).wrong[0][0]
        == "growth.movable.1.alpha"
    )
    assert not grown({"growth.movable.1.material": material_name(0)}, PUMP, MM).typed


def test_rows_that_grow_differently_need_their_distances_and_one_alone_does_not() -> None:
    bare = replace(PUMP, feet_movable_mm=(), feet_stationary_mm=())
    both = {"growth.movable.1.up": "0.2", "growth.movable.2.up": "0.1"}
    assert [name for name, _ in grown(both, bare, MM).wrong] == ["growth.movable.1.height", "growth.movable.2.height"]
    assert grown(both | {"feet.movable.1.at": "250", "feet.movable.2.at": "700"}, bare, MM).target is not None
    assert grown({"growth.movable.1.up": "0.2"}, bare, MM).target == Misalignment(-0.2)
