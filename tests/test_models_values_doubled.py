"""When two records hold the same readings: each was rounded to the digit to which it was written."""

from __future__ import annotations

import pytest

from models.commands.same_visit import ImportVisits, eight
from models.values.doubled import COARSEST, USUAL, read_alike, read_to


@pytest.mark.parametrize(
    ("typed", "to"),
    [
        ({"found_offset_v": "2 mil", "left_offset_h": "-3 mil", "found_angle_v": "0.1 mm/m"}, COARSEST),
        ({"found_offset_v": "0.3 mm", "found_offset_h": "0,25 mm", "left_angle_h": "0.05 mm/100mm"}, (0.005, 0.05)),
        ({"found_offset_v": "0.4 mil", "found_angle_v": "0.12 mm/m"}, USUAL),
        ({"found_offset_v": "12 µm", "found_angle_v": "1e-1 mm/m"}, (0.005, 0.05)),
        ({"found_offset_v": "1 mm", "target_offset_v": "0.123 mm", "found_angle_v": "odd"}, (COARSEST[0], 0.005)),
        (
            {"found_offset_v": "0 mm", "found_angle_v": "0 mm/m", "found_offset_h": "−0 mil"},
            USUAL,
        ),  # a bare zero tells no digits
        ({"found_offset_v": "0.0 mm", "found_offset_h": "0 mm"}, (COARSEST[0], 0.005)),
        ({}, USUAL),
    ],
)
def test_half_of_the_last_digit_of_the_finest_reading(typed: dict[str, str], to: tuple[float, float]) -> None:
    assert read_to(typed) == pytest.approx(to)


def test_a_row_that_says_more_than_the_earlier_one_is_a_visit_of_its_own() -> None:
    """Once: an as-left of the afternoon was left out for the as-found of the morning."""
    found, left = (0.31, 0.51, 0.22, 0.31), (0.02, 0.03, 0.01, 0.02)
    for first, second, same in (
        ((found, None), (found, left), False),
        ((found, left), (found, None), True),
        ((found, left), (found, left), True),
    ):
        visits, key = ImportVisits(), ImportVisits.key(7, 739_000)
        visits.add([key], 1, [2], eight(*first))
        assert visits.alike(key, *second, dict) == ((1, 2) if same else None)


def test_a_list_in_whole_mil_is_alike_to_one_in_hundredths() -> None:
    fine, coarse = (0.12, 0.31, -0.05, 0.24), (5 * 0.0254, 0.3, -2 * 0.0254, 0.2)
    assert not read_alike((fine, None), (coarse, None))
    assert read_alike((fine, None), (coarse, None), COARSEST)
    assert not read_alike((fine, None), ((6 * 0.0254, *coarse[1:]), None), COARSEST)
