"""Names of people: which two are taken for one person, and what a letter looks like."""

from __future__ import annotations

import pytest

from models.ledger.package_verifier import _nearly
from models.values.confusable import skeleton
from models.values.own_work import name_key, name_keys, same_person
from models.values.spelling import seen


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Bette Two", "bette  TWO"),
        ("Bette Two", "Bette\u00a0Two"),
        ("Bette Two", "\uff22ette Two"),
        ("Bette Two", "Bette\u200b Two"),
        ("Bette Two", "Two, Bette"),
        ("Bette Two", "BETTE TWO."),
        ("Jan-Ole Ek", "Ek, Jan Ole"),
        ("Eva O\u2019Lind", "Eva OLind"),
    ],
)
def test_one_person_under_two_spellings(one: str, other: str) -> None:
    assert same_person(one, other)
    assert name_key(one) == name_key(other)
    assert _nearly(one, other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Bette Two", "Bette Tw\u03bf"),
        ("Bette Two", "\u0412\u0435tt\u0435 \u0422w\u043e"),
        ("Bette Two", "BetteTwo"),
        ("Bette Two", "\u202eowT etteB"),
        ("Ian Ek", "lan Ek"),
        ("Vera Ek", "\u03bdera Ek"),
        ("\u0418\u0432\u0430\u043d", "\u0418\u0412\u0410\u041d"),
    ],
)
def test_one_person_by_the_look_of_it(one: str, other: str) -> None:
    assert same_person(one, other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Bette Two", "Bette Three"),
        ("Bette Two", "B. Two"),
        ("Bette Two", "Bette Two (turbines)"),
        ("Ian Ek", "Lan Ek"),
        ("Jose Ek", "Jos\u00e9 Ek"),
        ("", ""),
        ("\u200b", "\u200b"),
        ("-", "+"),
    ],
)
def test_two_people(one: str, other: str) -> None:
    assert not same_person(one, other)
    assert not (one and _nearly(one, other) and seen(one))


def test_a_name_of_signs_alone_is_itself() -> None:
    assert same_person("?", "?")
    assert name_key("?") == "?"
    assert not name_keys("\u2060")


@pytest.mark.parametrize(
    ("letters", "prototype"),
    [
        ("\u043e\u03bf\u0585", "ooo"),
        ("\u0410\u0391", "AA"),
        ("1I|", "lll"),
        ("m", "rn"),
        ("0", "O"),
        ("h\u04bb", "hh"),
        ("xyz", "xyz"),
    ],
)
def test_letters_stand_for_what_the_standard_says(letters: str, prototype: str) -> None:
    """Unicode Security Mechanisms for UTS #39, confusables.txt, version 13.0.0: rows 043E, 03BF, 0585, 0410, 0391, 0031, 0049, 007C, 006D, 0030, 04BB."""
    assert skeleton(letters) == prototype


def test_what_nobody_sees_is_no_part_of_a_name() -> None:
    assert seen(" Bette\u00ad\u200b \u2067Two\u2069\u2800 ") == "Bette Two"
    assert seen("\u202eBe\U000e0041tte\x00 \u3164Two") == "Bette Two"
    assert seen("Zo\u00eb \u0418\u0432\u0430\u043d") == "Zo\u00eb \u0418\u0432\u0430\u043d"
