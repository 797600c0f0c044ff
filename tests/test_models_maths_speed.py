"""Synchronous speeds, slip and labels."""

from __future__ import annotations

import pytest

from models.errors import InvalidValueError
from models.maths.speed import nearest_label, slip, synchronous_speed


def test_four_poles_on_either_line() -> None:
    """CV-25. engineeringtoolbox.com/synchronous-full-load-speed-induction-motors-d_1448.html."""
    assert synchronous_speed(60, 4) == 1800
    assert synchronous_speed(50, 4) == 1500
    assert 1500 - 1450 == 50
    assert slip(1450, 1500) == pytest.approx(0.033, abs=0.0005)


@pytest.mark.parametrize(
    ("full_load", "synchronous", "hz"),
    [
        (3500, 3600, 60), (1770, 1800, 60), (1170, 1200, 60), (870, 900, 60), (690, 720, 60), (2900, 3000, 50),
        (1450, 1500, 50), (960, 1000, 50), (720, 720, 60), (480, 500, 50),
    ],
)  # fmt: skip
def test_a_full_load_speed_is_labelled_by_the_synchronous_speed_above(
    full_load: float, synchronous: float, hz: float
) -> None:
    """Same source; 720 is the full-load speed of 750 at 50 Hz and synchronous at 60 Hz: the nearest above is itself."""
    got = nearest_label(full_load)
    assert got.synchronous_rpm == synchronous
    assert got.frequencies_hz == (hz,)
    assert got.text == f"{synchronous} rpm"


def test_the_line_of_the_site_decides_where_both_fit() -> None:
    assert nearest_label(720, (50.0,)).synchronous_rpm == 750
    assert nearest_label(575).frequencies_hz == (50.0, 60.0)


@pytest.mark.parametrize("rpm", [4200, 3650, 2500, 1600, 100])
def test_other_speeds_are_non_standard(rpm: float) -> None:
    """Slip 0 to 8 %: this project's own rule."""
    got = nearest_label(rpm)
    assert (got.synchronous_rpm, got.slip, got.text) == (None, None, "non-standard")


@pytest.mark.parametrize(("hz", "poles"), [(50, 3), (50, 0), (0, 4), (float("nan"), 4)])
def test_motors_that_cannot_be_are_refused(hz: float, poles: int) -> None:
    with pytest.raises(InvalidValueError):
        synchronous_speed(hz, poles)
