"""Drafts: what is filled in, whose feet count, and the names under which the book keeps what was typed."""

from __future__ import annotations

import pytest

from models.maths.dials import Carrier, HubSide
from models.maths.moves import Moving
from models.maths.readings import SeenFrom
from models.maths.sag import SagMeaning
from models.values import draft as words
from models.values.asset import Asset
from models.values.draft import STATED, DialDraft, Draft, RowDraft, Way, stated_reasons, typed_for_book
from models.values.kinds import Method


@pytest.mark.parametrize(
    ("literal", "members"),
    [
        (words.CarriedBy, Carrier),
        (words.HubFace, HubSide),
        (words.ViewedFrom, SeenFrom),
        (words.SagStands, SagMeaning),
        (words.WhichMoves, Moving),
    ],
)
def test_the_words_of_a_draft_are_those_of_the_maths(literal: object, members: type) -> None:
    assert set(literal.__args__) == {str(member) for member in members}  # type: ignore[attr-defined]


def test_only_pairs_of_angle_and_reading_are_taken() -> None:
    dial = DialDraft((0.0, None, 180.0, 270.0), (0.0, 0.1, None, 0.3))
    assert dial.taken == ((0.0, 0.0), (270.0, 0.3))
    assert not dial.is_clock
    assert DialDraft((270.0, 360.0, 90.0, 180.0), (0.0, 0.0, 0.0, 0.0)).is_clock


def test_the_feet_of_the_asset_stand_in_for_feet_that_are_not_given() -> None:
    asset = Asset("P-1", feet_movable_mm=(200.0, 600.0), feet_stationary_mm=(-100.0,))
    own = (RowDraft(250.0),)
    assert Draft(Way.RESULTS).rows(asset) == ((RowDraft(200.0), RowDraft(600.0)), (RowDraft(-100.0),))
    assert Draft(Way.RESULTS, feet_movable=own).rows(asset)[0] == own


def test_the_book_keeps_results_under_the_names_of_an_imported_sheet() -> None:
    draft = Draft(
        Way.RESULTS, typed={"results.offset_v": "2.5 mil", "results.sd_offset": "0.3 mil", "dial.1.top": "0 mm"}
    )
    assert typed_for_book(draft, "left") == {
        "left_offset_v": "2.5 mil", "left results.sd_offset": "0.3 mil", "left dial.1.top": "0 mm"
    }  # fmt: skip


def test_stated_reasons_are_found_among_what_was_typed() -> None:
    assert stated_reasons({f"{STATED}sums differ": "windy", "notes": "x"}) == {"sums differ": "windy"}


def test_a_way_says_which_method_the_book_keeps() -> None:
    assert [way.method for way in Way] == [
        Method.OTHER, Method.REVERSE_INDICATOR, Method.RIM_FACE, Method.FACE_FACE, Method.OTHER
    ]  # fmt: skip
