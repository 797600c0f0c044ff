"""A value that the book would never have taken is told as an altered book, not as something that was typed wrongly."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from dashboard import cli
from dashboard.api import problems
from models.commands.set_site import set_site
from models.errors import AlteredBookError
from models.settings import Settings
from models.store.decisions import rule_of
from models.store.engine import make_engine
from models.store.known import limit_sets, sites
from models.values.decision import DecisionRule, Rule
from tests.conftest import NOW, make_site
from tests.kept_book import change, rows_of


@pytest.mark.parametrize(
    ("table", "values", "told"),
    [
        ("decision_rule", {"confidence": 0.5}, "The confidence of a decision rule lies above 50 % and below 100 %"),
        ("decision_rule", {"rule": "by the moon"}, "'by the moon' is not a valid Rule"),
        ("limit_row", {"limit_value": -1.0, "per_rpm": None}, "must be above 0"),
    ],
)
def test_what_could_not_have_been_recorded_was_altered(
    sqlite_book: Settings, capsys: pytest.CaptureFixture[str], table: str, values: dict[str, Any], told: str
) -> None:
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    set_site(
        engine, site, by="tester", now=NOW + timedelta(hours=1), display=site.display, zone=None, interval_months=6,
        rule=DecisionRule(Rule.GUARDED, 0.9),
    )  # fmt: skip
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        connection.exec_driver_sql("PRAGMA ignore_check_constraints = ON")
        change(connection, table, rows_of(connection, table)[0], **values)
    with engine.connect() as connection:
        asked = [(limit_sets, site.site_id)] if table == "limit_row" else [(sites,), (rule_of, site.site_id)]
        for ask, *given in asked:
            with pytest.raises(AlteredBookError, match="it was altered") as fault:
                ask(connection, *given)
            assert told in fault.value.message
            assert fault.value.remedy == "'driftbook verify' says where."
            problem = problems.of_error(fault.value)
            assert (problem.status, problem.code) == (500, "altered")
    engine.dispose()
    assert cli.main(["limits", "--book", sqlite_book.book]) == 2
    said = capsys.readouterr().err
    assert "it was altered" in said
    assert "Give 95, say" not in said
    assert cli.main(["verify", "--one-process", "--book", sqlite_book.book]) == 1
    assert f"{table}.{next(iter(values))}" in capsys.readouterr().out
