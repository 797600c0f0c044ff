"""A short part, always the same, of what ``python -m tests.fuzz.hostile`` does at length; and what was found by it once."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from dashboard.auth.calls import well_formed
from tests.auth_book import callback_body
from tests.fuzz.hostile import FIELDS, NASTY, Target, by_hypothesis
from tests.seeded import contents


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Target]:
    made = Target(tmp_path_factory.mktemp("hostile"))
    yield made
    made.close()


def test_hostile_inputs_harm_nothing(target: Target) -> None:
    before = contents(target.engine)
    by_hypothesis(target, 400, fixed=True)
    assert sum(target.done.values()) >= 400
    assert len(target.done) >= 6
    assert target.done["right by chance, and written"] or contents(target.engine) == before
    assert target.client.get("/healthz").status_code == 200


def called(target: Target, key: str, **values: Any) -> int:
    body = callback_body(target.app, key)
    for one in (*body["inputs"], *body["state"]):
        one["value"] = values.get(one["id"].replace("-", "_"), values.get(one["property"]))
    answer = target.client.post("/_dash-update-component", json=body)
    assert not target.failures.found, target.failures.found[0][-2000:]
    return int(answer.status_code)


@pytest.mark.parametrize(
    ("key", "values"),
    [("record-reasons.children", {"record_asks": [[]]}), ("record-reasons.children", {"record_asks": [["one"]]}),
     ("record-reasons.children", {"record_asks": 1.5}), ("record-reasons.children", {"record_asks": [7]}),
     ("record-reasons.children", {"record_asks": [["a", "b"]], "record_typed": ["x"]}), ("record-answer.children", {"record_send": "a text"}),
     ("record-answer.children", {"record_send": {"fields": ["x"]}}), ("record-choose.data", {"searchValue": {"a": 1}}),
     ("record-form.children", {"record_draft": 7}), ("shell-finder.data", {"searchValue": 5}), ("shell-finder.data", {"searchValue": "\ud800"}),
     ("month-body.children", {"shell_page": ["/"]}), ("month-body.children", {"search": 3})],
)  # fmt: skip
def test_values_of_another_kind_are_refused(target: Target, key: str, values: dict[str, Any]) -> None:
    """Each of these once ended in a fault of the program: found by the fuzzers."""
    given = {"pathname": "/record", "search": "?asset=P-1", "shell_scheme": "light"} | values
    assert called(target, key, **given) == 400


def test_a_field_of_another_name_is_no_foot(target: Target) -> None:
    """'soft_before.1L' was once read as a number of a foot: found by the fuzzers."""
    fields = {"soft_before.1L": "x", "feet.movable.x": "1", "feet.movable.": "2", "soft_after.٣": "3"}
    draft = {"fields": fields, "units": "mm", "temperature": "°C", "at": "2026-11-25T07:00:00+00:00"}
    assert called(target, "record-form.children", pathname="/record", search="?asset=P-1", record_draft=draft) == 200


@pytest.mark.parametrize("text", NASTY)
def test_every_nasty_text_in_every_field_harms_nothing(target: Target, text: str) -> None:
    fields = dict.fromkeys(FIELDS, text)
    status = called(
        target, "record-answer.children", pathname="/record", search="?asset=P-1", record_send={"fields": fields}
    )
    assert status in {200, 400}
    assert target.last() == target.head


def test_a_body_of_ours_is_well_formed_and_others_are_not(target: Target) -> None:
    callbacks = target.app.callback_map
    for key in target.callbacks:
        assert well_formed(callback_body(target.app, key), callbacks), key
    body = callback_body(target.app, "month-body.children")
    for wrong in (
        None, [], {}, {"output": "month-body.children"}, body | {"inputs": []}, body | {"inputs": body["inputs"] * 2}, body | {"outputs": None},
        body | {"changedPropIds": "x"}, body | {"inputs": [None] * 3}, body | {"state": [1]}, body | {"more": "x" * 20_001},
        body | {"more": [[[[[[[[[[1]]]]]]]]]]}, body | {"more": [1] * 2_001}, body | {"output": "shell-scheme.data"},
        body | {"outputs": {"id": {"a": 1}, "property": "children"}}, body | {"outputs": {"id": "month-body", "property": "x"}},
        body | {"outputs": [body["outputs"]]}, body | {"outputs": {"id": "shell-notice", "property": "children"}},
        body | {"inputs": [one | {"id": {"a": 1}} for one in body["inputs"]]},
    ):  # fmt: skip
        assert not well_formed(wrong, callbacks), wrong
