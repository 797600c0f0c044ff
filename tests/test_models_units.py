"""Units and typed numbers."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import InvalidValueError, NotAQuantityError
from models.units import (
    Decimal,
    Display,
    Quantity,
    canonical_unit,
    from_stored,
    parse,
    parse_number,
    to_stored,
    units_for,
)


@pytest.mark.parametrize(
    ("text", "quantity", "assumed", "stored"),
    [
        # 1 mil = 1 thou = 0.001 in = 25.4 µm; 1 mil/in = 1 mrad = 1 mm/m = 0.1 mm/100 mm: exact by definition of the inch.
        ("2.5 mil", Quantity.OFFSET, "mm", 0.0635),
        ("2.5", Quantity.OFFSET, "mil", 0.0635),
        ("2,5 thou", Quantity.OFFSET, "mm", 0.0635),
        ("0,06 mm", Quantity.OFFSET, "mil", 0.06),
        ("60 µm", Quantity.OFFSET, "mm", 0.06),
        ("60 μm", Quantity.OFFSET, "mm", 0.06),
        ("60um", Quantity.OFFSET, "mm", 0.06),
        ("0.001 in", Quantity.OFFSET, "mm", 0.0254),
        ("0.5 mil/in", Quantity.ANGULARITY, "mm/m", 0.5),
        ("0.05 mm/100 mm", Quantity.ANGULARITY, "mm/m", 0.5),
        ("0.05mm/100", Quantity.ANGULARITY, "mm/m", 0.5),
        ("0.5 mrad", Quantity.ANGULARITY, "mm/m", 0.5),
        ("-3", Quantity.OFFSET, "mil", -0.0762),
        ("− 3", Quantity.OFFSET, "mil", -0.0762),
        ("1 234,5 mm", Quantity.DISTANCE, "mm", 1234.5),
        ("212 °F", Quantity.TEMPERATURE, "°C", 100.0),
        ("50 Hz", Quantity.SPEED, "rpm", 3000.0),
        ("100 hp", Quantity.POWER, "kW", 74.5699872),
    ],
)
def test_a_typed_number_is_read_in_its_own_unit_or_the_assumed_one(
    text: str, quantity: Quantity, assumed: str, stored: float
) -> None:
    assert parse(text, quantity, assumed).value == pytest.approx(stored, rel=1e-12)


def test_two_mil_is_more_than_five_hundredths_of_a_millimetre() -> None:
    # The usual writing "2 mil (0.05 mm)" hides 0.8 µm; a verdict compares unrounded numbers.
    assert parse("2 mil", Quantity.OFFSET, "mm").value == pytest.approx(0.0508, abs=1e-15)


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("1.234,5", Decimal.AUTO, 1234.5),
        ("1,234.5", Decimal.AUTO, 1234.5),
        ("1,234,567", Decimal.AUTO, 1234567.0),
        ("0,125", Decimal.AUTO, 0.125),
        ("1,234", Decimal.COMMA, 1.234),
        ("1,234", Decimal.POINT, 1234.0),
        ("1'234.5", Decimal.POINT, 1234.5),
        ("+.5", Decimal.POINT, 0.5),
        ("1e-3", Decimal.POINT, 0.001),
        ("-0", Decimal.AUTO, 0.0),
    ],
)
def test_numbers_are_read_in_the_spellings_that_people_use(text: str, decimal: Decimal, value: float) -> None:
    found = parse_number(text, decimal)
    assert found == value
    assert str(found) != "-0.0"


@pytest.mark.parametrize(
    "text", ["1,234", "12,345", "0.O5", "", "two", "1.2.3,4,5", "inf", "1e999", "nan", "12,34,5", "1-2"]
)
def test_what_is_no_number_or_reads_two_ways_is_refused(text: str) -> None:
    with pytest.raises(NotAQuantityError):
        parse_number(text)


def test_a_comma_that_groups_wrongly_is_refused_where_the_point_is_the_decimal_sign() -> None:
    with pytest.raises(NotAQuantityError):
        parse_number("0,05", Decimal.POINT)


def test_a_decimal_sign_is_named_only_where_somebody_said_which_it_is() -> None:
    with pytest.raises(NotAQuantityError, match=r"'0\.1\.1' is not a number\.$"):
        parse_number("0.1.1")
    with pytest.raises(NotAQuantityError, match=r"'0,05' is not a number with '\.' as decimal sign"):
        parse_number("0,05", Decimal.POINT)


@pytest.mark.parametrize(
    ("hours", "text"),
    [(12.5, "12.5 h"), (12.0, "12 h"), (8729.0, "8729 h"), (31.200000000000003, "31.2 h"), (0.0, "0 h")],
)
def test_hours_run_have_a_fraction_where_there_is_one(hours: float, text: str) -> None:
    assert Display().text(hours, Quantity.DURATION) == text


def test_a_unit_of_another_quantity_is_refused_by_name() -> None:
    with pytest.raises(NotAQuantityError, match="unit of offset"):
        parse("3 °C", Quantity.OFFSET, "mm")


@pytest.mark.parametrize("typed", ["MM", "Mils", "thou", "[mil]", "(mm)", "inch", '"'])
def test_units_are_known_in_many_spellings(typed: str) -> None:
    assert canonical_unit(typed, Quantity.OFFSET) in units_for(Quantity.OFFSET)


@given(st.floats(-1e6, 1e6), st.sampled_from([(q, u) for q in Quantity for u in units_for(q)]))
def test_there_and_back_gives_the_same_number(value: float, pair: tuple[Quantity, str]) -> None:
    quantity, unit = pair
    assert from_stored(to_stored(value, unit, quantity), unit, quantity) == pytest.approx(value, rel=1e-12, abs=1e-9)


@given(st.floats(-1e4, 1e4, allow_nan=False))
def test_what_a_computer_prints_is_read_back(value: float) -> None:
    assert parse_number(repr(value), Decimal.POINT) == value
    assert parse_number(repr(value).replace(".", ","), Decimal.COMMA) == value


@given(st.text(max_size=12))
def test_no_text_makes_it_fall_over(text: str) -> None:
    for quantity in (Quantity.OFFSET, Quantity.ANGULARITY):
        try:
            parse(text, quantity, units_for(quantity)[0])
        except NotAQuantityError:
            continue


def test_a_site_reads_in_mm_or_mil() -> None:
    metric, inch = Display(), Display("mil", "°F")
    assert metric.text(0.0635, Quantity.OFFSET) == "0.064 mm"
    assert inch.text(0.0635, Quantity.OFFSET, signed=True) == "+2.5 mil"
    assert inch.text(-0.0635, Quantity.OFFSET) == "−2.5 mil"
    assert inch.text(0.5, Quantity.ANGULARITY) == "0.50 mil/in"
    assert inch.text(100.0, Quantity.TEMPERATURE) == "212 °F"
    assert inch.text((85 - 32) / 1.8, Quantity.TEMPERATURE) == "85 °F"
    halves = [
        (28.5, "28.5 °C"),
        (27.0, "27 °C"),
        (250 / 9, "27.8 °C"),
        (-0.04, "0 °C"),
        (-2.5, "−2.5 °C"),
        (29.96, "30 °C"),
    ]
    assert [Display().text(value, Quantity.TEMPERATURE) for value, _ in halves] == [told for _, told in halves]
    assert inch.text(254.0, Quantity.DISTANCE) == "10.0 in"
    assert metric.text(None, Quantity.OFFSET) == "–"
    assert metric.text(-0.0001, Quantity.OFFSET, signed=True) == "0.000 mm"
    with pytest.raises(InvalidValueError):
        Display("furlong")


@pytest.mark.parametrize("minus", ["\u2010", "\u2011", "\u2012", "\u2013", "\u2212", "-"])
def test_every_sign_that_people_take_for_a_minus_is_one(minus: str) -> None:
    assert parse(f"{minus}0,01", Quantity.OFFSET, "mm").value == -0.01


@pytest.mark.parametrize(
    ("typed", "number"), [("½ mil", "0.5"), ("1/1000 in", "0.001"), ("-1/2", "-0.5"), ("1 1/4 in", "1.25"), ("2½", "2.5"), ("1⁄3", "0.333333")]
)  # fmt: skip
def test_a_fraction_is_not_read_and_told_with_the_number_to_write(typed: str, number: str) -> None:
    with pytest.raises(NotAQuantityError, match=f"so write {number}"):
        parse(typed, Quantity.OFFSET, "mm")
    assert parse("0.5 mm/100 mm", Quantity.ANGULARITY, "mm/m").value == 5.0
    with pytest.raises(NotAQuantityError, match="not a number of offset"):
        parse("1/0 mm", Quantity.OFFSET, "mm")


@pytest.mark.parametrize("typed", ["2970 1/min", "2970\u00a01/min", "2 970 1 / min", "2970 1/MIN", "2970.0 1/min"])
def test_a_unit_that_begins_with_a_digit_is_no_digit_of_the_number(typed: str) -> None:
    read = parse(typed, Quantity.SPEED, "rpm")
    assert (read.value, read.unit, read.typed) == (2970.0, "rpm", typed)
    with pytest.raises(NotAQuantityError):
        parse(typed, Quantity.OFFSET, "mm")
