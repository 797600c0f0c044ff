"""What the models say stands in one catalogue; each sentence is used, is its English text, and can be said in another language."""

from __future__ import annotations

import ast
import copy
import pickle
import random
import re
import string
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

import models
from dashboard.words import WORDS, say, speaking, tell
from models.commands.record_job import DoubtfulJobError
from models.errors import NotAQuantityError
from models.intake.dates import Order, parse_moment
from models.intake.typed import CLOCK, TypedForm, read_draft
from models.maths.plausible import Check, Doubt, Gravity
from models.maths.readings import Finding
from models.maths.slips import Swap
from models.maths.soft_foot import Pattern
from models.maths.working import work_out
from models.sentences.told import SENTENCES, Told
from models.units import Display, Quantity
from models.values.asset import Asset
from models.values.draft import Way
from models.values.job import COMPONENTS, Misalignment
from models.values.kinds import Coupling
from models.values.limits import LimitsGiven
from tests.pseudo_language import pseudo, pseudo_language

ROOT = Path(models.__file__).parent
FILES = [path for path in ROOT.rglob("*.py") if path.parent.name != "sentences"]


def names(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_every_sentence_is_asked_for_somewhere() -> None:
    whole: set[str] = set()
    begun: set[str] = set()
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                whole.add(node.value)
            if isinstance(node, ast.JoinedStr) and node.values and isinstance(node.values[0], ast.Constant):
                begun.add(str(node.values[0].value))
    begun = {beginning for beginning in begun if beginning.startswith("told.") and beginning != "told."}
    assert [key for key in SENTENCES if key not in whole and not key.startswith(tuple(begun))] == []


def test_every_sentence_that_is_asked_for_is_there_and_gets_what_it_takes() -> None:
    seen = 0
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Told":
                key = node.args[0]
                given = {keyword.arg for keyword in node.keywords}
                if isinstance(key, ast.Constant):
                    keys = [str(key.value)]
                elif isinstance(key, ast.JoinedStr):
                    keys = [one for one in SENTENCES if one.startswith(str(ast.literal_eval(key.values[0])))]
                    assert keys, f"{path.name}: {ast.unparse(key)}"
                else:
                    continue
                seen += 1
                for one in keys:
                    assert names(SENTENCES[one]) == given, f"{path.name}: {one} is given {given}"
    assert seen > 80


def test_it_is_its_text_and_knows_where_it_comes_from() -> None:
    parts = (Told("told.word.offset_v"), Told("told.word.angle_h"))
    told = Told("told.missing.parts", parts=parts)
    assert told == "Still missing: vertical offset, horizontal angularity."
    assert (told.key, told.values["parts"]) == ("told.missing.parts", parts)
    for again in (copy.deepcopy(told), pickle.loads(pickle.dumps(told))):  # noqa: S301 - made one line above
        assert (again, again.key, dict(again.values)) == (told, told.key, dict(told.values))
    with pytest.raises(AttributeError):
        told.key = "told.missing.span"
    with pytest.raises(TypeError):
        told.values["parts"] = ()  # type: ignore[index]
    with pytest.raises(KeyError):
        Told("told.no.such")


def test_a_page_says_it_in_its_own_language_with_the_words_inside() -> None:
    told = Told("told.typed.not", found="2 kg", expected=Told("told.expected.number_of", quantity=Quantity.OFFSET.told))
    missing = Told("told.missing.parts", parts=(Told("told.word.offset_v"), Told("told.word.angle_h")))
    assert tell(told) == told
    with speaking(pseudo_language()):
        inner = pseudo(SENTENCES["told.expected.number_of"]).format(quantity=pseudo("offset"))
        assert tell(told) == pseudo(SENTENCES["told.typed.not"]).format(found="2 kg", expected=inner)
        assert tell(missing).count("⟦") == 3
        assert tell("SI-P-101A") == "SI-P-101A"
    assert told == "'2 kg' is not a number of offset."


def test_a_job_that_was_refused_says_all_of_why_in_the_language() -> None:
    checks = (
        Check(Doubt.FUTURE, Gravity.STOP, Told("told.job.future", day="2030-01-01")),
        Check(Doubt.LOOSE, Gravity.REASON, Told("told.job.loose")),
    )
    fault = DoubtfulJobError(checks)
    assert fault.message == f"The job was not recorded. {checks[0].sentence} {checks[1].sentence}"
    assert str(fault) == f"{fault.message}\nCorrect what is wrong."
    only = DoubtfulJobError(checks[1:])
    assert only.remedy == "Correct it, or state a reason for 'bolts not tight': it is kept with the job."
    with speaking(pseudo_language()):
        said = tell(fault.message) + tell(fault.remedy)
        assert not [word for word in re.findall(r"[^\W\d_]{2,}", said) if word.isascii()], said
        assert tell(checks[0].sentence) in said


def test_the_table_of_the_pages_holds_all_of_them() -> None:
    assert {key: WORDS[key] for key in SENTENCES} == dict(SENTENCES)
    assert all(key.startswith("told.") for key in SENTENCES)
    assert [key for key in WORDS if key.startswith("told.") and key not in SENTENCES] == []


@pytest.mark.parametrize("member", [*Finding, *Pattern, *Quantity, *Doubt])
def test_every_member_of_a_closed_list_has_its_words(member: Finding | Pattern | Quantity | Doubt) -> None:
    assert member.told == member.value
    assert say(member.told.key) == member.value


@pytest.mark.parametrize("swap", Swap)
def test_every_swap_has_its_words(swap: Swap) -> None:
    assert SENTENCES[f"told.swap.{swap.name.lower()}"] == swap.value


NUMBERS = ("", "0", "0.02", "-0.05", "0.3", "2.5 mil", "90", "-90", "-90", "90", "0.02", "0.1")
ODD = ("12 kg", "abc", "1,234", "1e999", "1.2.3,4", "-8", "0.O5", "300", "1 mm/m")


def form_of(chance: random.Random) -> dict[str, str]:
    """Make a form at random: mostly numbers, now and then nonsense, often something missing."""

    def number() -> str:
        return chance.choice(NUMBERS if chance.random() < 0.97 else ODD)

    form = {"method": chance.choice([*map(str, Way), "x", ""]), "moves": chance.choice(["", "both", "stationary"])}
    form |= {f"results.{name}": number() for name in COMPONENTS}
    for dial in ("dial.1", "dial.2")[: 1 + (chance.random() < 0.95)]:
        form |= {f"{dial}.{place}": number() for place in (*CLOCK, "returned", "plane")}
        if chance.random() < 0.2:
            step = chance.choice([8, 25, 45, 60])
            form |= {f"{dial}.angles.{place}": str(step * place) for place in range(1, chance.choice([3, 7]))}
            form |= {f"{dial}.readings.{place}": chance.choice(["0.1", "0.12", "0.9"]) for place in range(1, 6)}
        if chance.random() < 0.5:
            form |= {f"{dial}.opposite_{place}": number() for place in CLOCK}
        form[f"{dial}.diameter"] = chance.choice(["", "200", "200", "0"])
        form[f"{dial}.bracket"] = chance.choice(["stationary", "movable", "movable", ""])
        form |= {f"{dial}.sag": chance.choice(["", "0.05"]), f"{dial}.sag_is": chance.choice(["", "half", "odd"])}
        form[f"{dial}.sag_sd"] = chance.choice(["", "", "-1"])
    form |= {"span": chance.choice(["", "180", "-5"]), "noise.reading": chance.choice(["", "0.005", "0"])}
    form |= {
        f"soft_foot.{foot}": chance.choice(["0.12", "0.02", "", "0.3"]) for foot in range(1, chance.choice([3, 5, 7]))
    }
    for side in ("movable", "stationary"):
        form |= {f"feet.{side}.{row}.at": chance.choice(["250", "700", "0", "-90", ""]) for row in (1, 2)}
    form["feet.movable.1.left"] = chance.choice(["", "1", "-1"])
    return form


def said_of(form: dict[str, str], asset: Asset, limits: LimitsGiven) -> Iterator[str]:
    typed = TypedForm(form, Display())
    draft = read_draft(typed)
    yield from (problem.text for problem in typed.problems)
    worked = work_out(draft, asset, limits, Misalignment(), Display(), probability=False)
    yield from (worked.reason, worked.uncertainty_reason, worked.needs_reason, worked.soft_foot_reason)
    yield from (check.sentence for check in worked.checks)
    if worked.soft_foot is not None:
        yield from (worked.soft_foot.suggests, worked.soft_foot.check_next, worked.soft_foot.reason)


def parts_of(told: Told) -> Iterator[object]:
    for value in told.values.values():
        for part in value if isinstance(value, tuple) else (value,):
            yield part
            if isinstance(part, Told):
                yield from parts_of(part)


def test_nothing_is_said_of_a_form_that_is_not_in_the_catalogue() -> None:
    chance = random.Random(3)
    short = Asset("A", coupling=Coupling.SHORT, speed_rpm=1500.0)
    spacer = Asset("B", coupling=Coupling.SPACER, span_mm=180.0, speed_rpm=1500.0, feet_movable_mm=(250.0, 700.0))
    limits = (LimitsGiven(0.05, 0.5, None, 0.05), LimitsGiven())
    keys: set[str] = set()
    for number in range(500):
        for text in said_of(form_of(chance), (short, spacer)[number % 2], limits[number % 3 == 0]):
            assert not text or isinstance(text, Told), text
            if isinstance(text, Told):
                keys |= {text.key, *(part.key for part in parts_of(text) if isinstance(part, Told))}
                for part in parts_of(text):
                    data = isinstance(part, Told) or not isinstance(part, str) or not re.search("[a-z]{4,}", part)
                    assert data or text.key == "told.typed.not", (text, part)
    said = {key for key in SENTENCES if key.startswith(("told.typed", "told.missing", "told.row", "told.dial."))}
    seldom = {"told.typed.both", "told.missing.dials", "told.dial.arc.short"}
    assert said - keys - seldom <= {"told.row.side.stationary"}  # a form reads their distances without a sign
    assert len(keys) > 60


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("yesterday", "visit"),
        ("07:05", "visit"),
        ("2026-13-01", "day.day_first"),
        ("2026-11-01 25:00", "clock"),
        ("2026-11-01 xx", "clock"),
    ],
)
def test_what_is_expected_of_a_date_is_in_the_catalogue(text: str, key: str) -> None:
    with pytest.raises(NotAQuantityError) as fault:
        parse_moment(text, Order.DAY_FIRST, ZoneInfo("UTC"))
    assert isinstance(fault.value.expected, Told)
    assert fault.value.expected.key == f"told.expected.{key}"
