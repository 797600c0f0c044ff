"""The subcommand study: every finding without a screen, in three forms, with no NaN in any of them."""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path

import pytest

from dashboard.cli import main
from models.settings import Settings
from models.units import Display
from tests.conftest import make_site
from tests.demo_book import demo_in

FLEET = (
    "drift", "forecast", "returns", "patterns", "counts", "months", "backtest", "cumulative", "repeatability", "instruments",
    "persons", "holding",
)  # fmt: skip


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> str:
    return demo_in(tmp_path_factory.mktemp("demo"), Display()).book


def study(*arguments: str) -> int:
    return main(["study", *arguments])


def test_json_holds_every_table_with_whole_rows_and_no_nan(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert study("--book", book, "--as", "json") == 0
    document = json.loads(capsys.readouterr().out, parse_constant=lambda text: pytest.fail(f"{text} in JSON"))
    assert tuple(table["name"] for table in document["tables"]) == FLEET
    for table in document["tables"]:
        assert table["rows"], table["name"]
        assert {len(row) for row in table["rows"]} == {len(table["columns"])}
        assert table["meaning"].endswith(".")


def test_one_asset_comes_with_its_evidence(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert study("SI-P-101A", "--book", book, "--as", "json") == 0
    tables = {table["name"]: table for table in json.loads(capsys.readouterr().out)["tables"]}
    assert {row[0] for row in tables["drift"]["rows"]} == {"SI-P-101A"}
    settling = next(row for row in tables["evidence"]["rows"] if row[0] == "a settling base")
    assert settling[1] == "suggests"
    assert settling[4].split(), "the jobs that it rests on"


def test_csv_is_one_table_that_reads_back(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert study("--book", book, "--part", "returns", "--as", "csv") == 0
    rows = list(csv.reader(io.StringIO(capsys.readouterr().out)))
    assert len({len(row) for row in rows}) == 1
    assert len(rows) == 183
    for row in rows[1:]:
        for cell in row[1:13]:
            assert cell == "" or math.isfinite(float(cell))
    assert study("--book", book, "--as", "csv") == 2
    assert "--part NAME" in capsys.readouterr().err


def test_text_says_what_is_left_out(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert study("--book", book) == 0
    text = capsys.readouterr().out
    assert " rows more (--all)" in text
    assert "nan" not in text.lower().replace("finance", "")


def test_a_lower_risk_asks_for_an_earlier_look(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    days = {}
    for risk in ("5", "20"):
        assert study("--book", book, "--risk", risk, "--part", "forecast", "--as", "csv") == 0
        rows = csv.DictReader(io.StringIO(capsys.readouterr().out))
        days[risk] = {row["tag"]: float(row["days after"]) for row in rows if row["days after"]}
    both = set(days["5"]) & set(days["20"])
    assert len(both) > 100
    assert all(days["5"][tag] <= days["20"][tag] for tag in both)


def test_another_limit_set_is_counted(book: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    strict = tmp_path / "strict.toml"
    strict.write_text(
        'name = "strict"\nsource = "a test"\n[[row]]\njudged = "offset"\nvalue = 0.001\n[[row]]\njudged = "flex angle"\ncoupling = "spacer"\nvalue = 0.001\n',
        encoding="utf-8",
    )
    assert study("--book", book, "--limits", str(strict), "--part", "whatif", "--as", "csv") == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert sum(int(row["left: now over"]) for row in rows) > 1500
    assert sum(int(row["found: now within"]) for row in rows) == 0


def test_mistakes_are_told_with_what_to_do(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    for arguments, says in (
        (("101A", "--book", book), "Did you mean SI-P-101A"),
        (("--book", book, "--part", "tea"), "The parts are: drift"),
        (("--book", book, "--risk", "0"), "from 1 to 50"),
    ):
        assert study(*arguments) == 2
        assert says in capsys.readouterr().err


def test_an_empty_book_is_studied_without_a_word_of_complaint(
    sqlite_book: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    make_site(sqlite_book)
    for form in ("text", "json"):
        assert study("--book", sqlite_book.book, "--as", form) == 0
    assert "Traceback" not in capsys.readouterr().err


def test_what_was_expected_to_come_back_adds_up_to_what_did(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The demo's machines have counters: over calendar days the sum came out a sixth too large (467 for 403)."""
    assert study("--book", book, "--part", "holding", "--as", "csv") == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [row["person"] for row in rows if row["q"] and float(row["q"]) <= 0.10] == ["Dov Brinewell"]
    assert [row["person"] for row in rows if row["note"].startswith("stands out")] == ["Dov Brinewell"]
    others = [row for row in rows if row["person"] != "Dov Brinewell"]
    back, expected = (sum(float(row[name]) for row in others) for name in ("came back", "expected"))
    assert expected == pytest.approx(back, rel=0.05)


@pytest.mark.parametrize("part", ["instruments", "persons", "holding"])
def test_no_interval_has_the_width_of_nothing(book: str, capsys: pytest.CaptureFixture[str], part: str) -> None:
    """Where names do not differ, they are not known to be alike to the last digit."""
    assert study("--book", book, "--part", part, "--as", "csv") == 0
    rows = [row for row in csv.DictReader(io.StringIO(capsys.readouterr().out)) if not row["note"]]
    assert rows
    for row in rows:
        for low, high in (("low", "high"), ("drawn low", "drawn high")):
            assert float(row[high]) - float(row[low]) > (0.05 if part == "holding" else 0.001), row


def months_of(book: str, capsys: pytest.CaptureFixture[str], *more: str) -> tuple[str, list[dict[str, object]]]:
    assert study("--book", book, "--part", "months", "--as", "json", *more) == 0
    table = json.loads(capsys.readouterr().out)["tables"][0]
    return table["meaning"], [dict(zip(table["columns"], row, strict=True)) for row in table["rows"]]


def test_the_months_carry_the_running_mean_of_their_middle_ratio(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    """EWMA of the logarithms with weight 0.2, from the middle ratios that are printed; e-Handbook 6.3.2.4."""
    meaning, rows = months_of(book, capsys)
    assert "EWMA" in meaning
    known = [row for row in rows if row["middle ratio found"] is not None]
    assert len(known) > 24
    level = sum(math.log(float(str(row["middle ratio found"]))) for row in known) / len(known)
    for row in rows:
        middle = row["middle ratio found"]
        level = level if middle is None else 0.2 * math.log(float(str(middle))) + 0.8 * level
        assert float(str(row["its running mean"])) == pytest.approx(math.exp(level), rel=2e-3)
        beyond = not float(str(row["mean low"])) <= math.exp(level) <= float(str(row["mean high"]))
        assert row["mean beyond"] == ("yes" if beyond else "no")


def test_charts_keep_the_limits_of_agreed_months_with_the_reason(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    _, every = months_of(book, capsys)
    meaning, rows = months_of(book, capsys, "--base", "2021-01..2022-12", "--why", "before the new couplings")
    assert meaning.endswith("Chart limits are those of 2021-01 to 2022-12: before the new couplings.")
    over, judged = (
        sum(int(str(row[name])) for row in every if str(row["month"]).startswith(("2021", "2022")))
        for name in ("found over", "found judged")
    )
    assert all(row["chart centre"] == pytest.approx(over / judged, abs=5e-5) for row in rows)
    assert rows[0]["chart centre"] != every[0]["chart centre"]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["--base", "2021-01", "--why", "x"], "are no months"),
        (["--base", "2021-01..2022-12"], "need a reason"),
        (["--why", "x"], "--base only"),
        (["--base", "2022-11..2022-12", "--why", "x"], "limits need 12"),
    ],
)
def test_months_that_cannot_be_kept_are_told(
    book: str, capsys: pytest.CaptureFixture[str], given: list[str], told: str
) -> None:
    assert study("--book", book, "--part", "months", *given) == 2
    assert told in " ".join(capsys.readouterr().err.split())
