"""All texts stand in one place, each is used, and each that is asked for is there."""

import ast
import string
from pathlib import Path
from typing import Any

import dashboard
from dashboard.words import WORDS, say
from models.intake.fields import Table
from models.sentences.told import SENTENCES
from models.values.decision import Rule, Verdict
from models.values.entry import Thing
from models.values.kinds import Coupling, Kind, Meaning, Method, Part, Reason
from models.values.limits import Combine, Judged
from models.values.proof import Flaw
from models.values.roles import Role

ROOT = Path(dashboard.__file__).parent
FILES = [path for path in ROOT.rglob("*.py") if "texts" not in path.parts and path.name not in {"words.py", "cli.py"}]

MADE = {
    "fault.": None,
    "noun.": ("noun.{}.one", "noun.{}.many"),
    "month.short.": None,
    "month.long.": None,
    "reason.": tuple(Reason),
    "differs.": None,
    "method.": tuple(Method),
    "part.": tuple(Part),
    "report.misfit.flaw.": tuple(Flaw),
    "coupling.": tuple(Coupling),
    "component.": None,
    "change.": None,
    "month.sentence.change.": None,
    "asset.flex.": None,
    "asset.feet.": None,
    **{
        f"asset.{part}.": None
        for part in (
            "cause",
            "foot",
            "held",
            "moved",
            "plane",
            "point",
            "reason",
            "seen.feet",
            "seen.shape",
            "settles",
            "shafts.missing",
            "side",
            "way",
        )
    },
    "decision.rule.": tuple(Rule),
    "decision.side.": None,
    "decision.verdict.": tuple(Verdict),
    "files.about.": None,
    "files.axis.": None,
    "files.take.": None,
    "files.column.": None,
    "files.meaning.": None,
    "files.title.": None,
    "grid.": None,
    "judged.": tuple(Judged),
    "combine.": tuple(Combine),
    "kind.": tuple(Kind),
    "import.table.": tuple(Table),
    "import.say.holds.": tuple(Table),
    "import.encoding.": None,
    "import.column.": None,
    "import.problem.": None,
    "import.order.": None,
    "import.decimal.": None,
    "import.times.": None,
    "role.": tuple(Role),
    "permission.": None,
    "outcome.": None,
    "meaning.": tuple(Meaning),
    "sign.column.": None,
    "site.column.": None,
    "site.length.": None,
    "site.rule.": None,
    "thing.": tuple(Thing),
    "figure.classes.": None,
    **{
        f"record.{part}.": None
        for part in (
            "about",
            "bracket",
            "check",
            "clock",
            "dial",
            "method",
            "method.none",
            "missing",
            "moves",
            "name",
            "need",
            "part",
            "picture",
            "plan",
            "result",
            "result.none",
            "room",
            "row",
            "row.short",
            "seen",
            "side",
            "summary",
            "temp",
            "tight",
        )
    },
}
"""Beginnings of keys that are put together in the code, and the closed lists behind them."""


def keys_in_code() -> Any:
    """Give every text in the code that is a key, and every beginning of a key that is put together."""
    whole, begun = set(), set()
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                whole.add(node.value)
            if isinstance(node, ast.JoinedStr) and node.values and isinstance(node.values[0], ast.Constant):
                begun.add(str(node.values[0].value))
    return whole, begun


def test_every_text_is_used() -> None:
    whole, begun = keys_in_code()
    made = tuple(beginning for beginning in MADE if beginning in begun)
    own = [key for key in WORDS if key not in SENTENCES]  # those of the models: test_models_sentences.py
    assert [key for key in own if key not in whole and not key.startswith(made)] == []


def test_every_text_that_is_asked_for_is_there() -> None:
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "say":
                key = node.args[0]
                if isinstance(key, ast.Constant):
                    assert key.value in WORDS, f"{path.name}: {key.value}"
                    named = {name for _, name, _, _ in string.Formatter().parse(WORDS[key.value]) if name}
                    if not any(keyword.arg is None for keyword in node.keywords):
                        given = {keyword.arg for keyword in node.keywords}
                        assert named == given, f"{path.name}: {key.value} takes {named}, is given {given}"


def test_every_member_of_the_closed_lists_has_a_text() -> None:
    for beginning, members in MADE.items():
        if beginning != "noun." and members:
            for member in members:
                assert say(f"{beginning}{member.value}")


def test_every_noun_has_one_and_many() -> None:
    nouns = {key.split(".")[1] for key in WORDS if key.startswith("noun.")}
    for noun in nouns:
        assert say(f"noun.{noun}.one", n=1)
        assert say(f"noun.{noun}.many", n=2)


def test_no_text_is_written_into_the_pages_themselves() -> None:
    """A sentence outside words.py would be missed by a translation: look for texts with a blank inside calls of html."""
    for path in FILES:
        if path.parent.name not in {"pages", "components"} and path.name != "shell.py":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and getattr(node.func.value, "id", "") == "html"
            ):
                for argument in node.args:
                    assert not (isinstance(argument, ast.Constant) and str(argument.value).strip(" –·/")), (
                        f"{path.name}: {argument.value}"
                    )
