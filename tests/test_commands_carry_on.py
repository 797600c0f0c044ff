"""What is said of a machine from a day on holds on through later descriptions, until one of them sets it anew."""

from __future__ import annotations

import random
from collections.abc import Collection
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from models.commands.carry_on import carried_reason, carry_on, only_a_tag
from models.commands.redescribed import Redescribed
from models.values.asset import Asset
from models.values.description import version_on
from models.values.kinds import Coupling

FIRST = Asset("P-1", speed_rpm=1500.0)
MAY, JUNE, JULY = date(2026, 5, 1), date(2026, 6, 1), date(2026, 7, 1)
KEYS = {"speed_rpm": "speed", "power_kw": "power", "span_mm": "span", "feet_movable_mm": "feet_movable_1"}


class Described:
    """A machine to which rows come, each a start with what it says."""

    def __init__(self, first: Asset = FIRST) -> None:
        self.versions, self.typed = [first], [set[str]()]

    def row(self, begins: date, **said: Any) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
        new = replace(version_on(self.versions, begins), valid_from=begins, **said)
        found = carry_on(self.versions, new, self.said)
        self._add(new, {KEYS.get(name, name) for name in said})
        for one in found:
            if one.asset is not None:
                self._add(one.asset, self.typed[one.place])
        return [(one.on, one.kept) for one in found]

    def said(self, place: int) -> set[str]:
        return self.typed[place]

    def tag(self, begins: date, tag: str) -> None:
        self._add(replace(version_on(self.versions, begins), tag=tag, valid_from=begins), set())

    def _add(self, asset: Asset, typed: Collection[str]) -> None:
        self.versions.append(asset)
        self.typed.append(set(typed))

    def on(self, day: date) -> Asset:
        return version_on(self.versions, day)


def test_rows_describe_the_same_machine_in_whatever_order_they_come() -> None:
    lot = random.Random(7)
    values: dict[str, list[Any]] = {
        "speed_rpm": [1500.0, 3000.0, 3600.0],
        "area": ["Mill", "Yard"],
        "power_kw": [75.0, 90.0],
        "feet_movable_mm": [(200.0, 600.0), (250.0,)],
    }
    for _ in range(200):
        rows = [
            (MAY + timedelta(number), {key: lot.choice(values[key]) for key in lot.sample(list(values), lot.randint(1, 3))})
            for number in range(5)
        ]  # fmt: skip
        ordered, mixed = Described(), Described()
        for begins, said in rows:
            ordered.row(begins, **said)
        for begins, said in lot.sample(rows, len(rows)):
            mixed.row(begins, **said)
        for number in range(-1, 6):
            day = MAY + timedelta(number)
            assert mixed.on(day) == ordered.on(day), rows


def test_a_field_that_a_later_row_gives_stays_even_where_it_gives_what_held_before() -> None:
    one = Described()
    one.row(JULY, speed_rpm=1500.0, area="Mill")
    assert one.row(MAY, speed_rpm=3600.0, power_kw=75.0) == [(("power",), ("running speed",))]
    assert (one.on(JUNE).speed_rpm, one.on(JULY).speed_rpm, one.on(JULY).power_kw) == (3600, 1500, 75)


def test_a_later_description_that_makes_no_sense_with_it_stays() -> None:
    one = Described()
    one.row(JULY, speed_max_rpm=1800.0)
    assert one.row(MAY, speed_rpm=3600.0) == [((), ("running speed",))]
    assert one.on(JULY) == replace(FIRST, speed_max_rpm=1800.0, valid_from=JULY)


def test_what_began_first_of_all_sets_anew_what_it_says_and_takes_what_it_leaves_open() -> None:
    one = Described(replace(FIRST, valid_from=JULY))
    assert one.row(MAY, speed_rpm=3600.0, area="Mill") == [(("area",), ("running speed",))]
    assert (one.on(JULY).speed_rpm, one.on(JULY).area) == (1500, "Mill")


@pytest.mark.parametrize("first", ["tag", "row"])
def test_a_day_out_of_service_holds_on_over_a_new_tag_and_not_over_a_row_that_begins_after_it(first: str) -> None:
    one = Described()
    if first == "tag":
        one.tag(JULY, "P-1A")
    else:
        one.row(JULY, area="Mill")
    one.row(MAY, retired=JUNE)
    assert one.on(JULY).retired == (JUNE if first == "tag" else None)


def test_a_coupling_and_its_span_go_together() -> None:
    one = Described()
    one.tag(JUNE, "P-1A")
    one.row(JULY, span_mm=240.0, coupling=Coupling.SPACER)
    assert one.row(MAY, coupling=Coupling.SPACER, span_mm=180.0) == [(("coupling",), ()), ((), ("coupling",))]
    assert [one.on(day).span_mm for day in (MAY, JUNE, JULY)] == [180, 180, 240]


def test_a_new_tag_alone_leaves_its_day_to_a_list() -> None:
    one = Described()
    one.tag(JUNE, "P-1A")
    one.row(JULY, area="Mill")
    assert only_a_tag(one.versions, JUNE, one.said)
    assert not only_a_tag(one.versions, JULY, one.said)
    assert not only_a_tag([FIRST, replace(FIRST, retired=JUNE, valid_from=JUNE)], JUNE, lambda _: ())


def test_told_is_what_holds_in_the_end_not_each_step() -> None:
    one, told = Described(), Redescribed()
    one.tag(JULY, "P-1A")
    for begins, said in ((MAY, {"retired": MAY, "speed_rpm": 1800.0}), (JUNE, {"retired": None, "area": "Yard"})):
        new = replace(one.on(begins), valid_from=begins, **said)
        told.came(1, new)
        for carried in carry_on(one.versions, new, one.said):
            told.met(1, one.versions[carried.place], carried)
        one.row(begins, **said)
    (sentence,) = told.told_met({"P-1": [(1, number, version) for number, version in enumerate(one.versions)]})
    assert "holds on in it" in sentence
    assert sentence.endswith("(P-1A from 2026-07-01 on: area, running speed).")


def test_the_reason_of_what_is_written_again_stays_and_does_not_grow() -> None:
    once = carried_reason("P-1 and P-2 are one machine: x", MAY, ["running speed"])
    assert once == "P-1 and P-2 are one machine: x; as said from 2026-05-01 on: running speed"
    assert carried_reason(once, JUNE, ["area", "span"]) == (
        "P-1 and P-2 are one machine: x; as said from 2026-06-01 on: area, span"
    )
    assert carried_reason(carried_reason("", MAY, ["area"]), JUNE, ["area"]) == "as said from 2026-06-01 on: area"
