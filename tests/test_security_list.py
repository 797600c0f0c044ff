"""The list in SECURITY.md: real identifiers, every one of levels 1 and 2, and tests that are there."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "SECURITY.md").read_text(encoding="utf-8")
ROW = re.compile(r"^\| (V\d+\.\d+\.\d+) \|([^|]+)\|([^|]+)\|([^|]*)\|([^|]*)\|$", re.MULTILINE)


def levels() -> dict[str, int]:
    held = tomllib.loads((ROOT / "tests/published/asvs_5_0_0_levels.toml").read_text(encoding="utf-8"))["levels"]
    return {
        f"{section}.{place}": level for section, given in held.items() for place, level in enumerate(given, start=1)
    }


def test_the_levels_are_those_of_the_standard_as_it_counts_them() -> None:
    """ASVS 5.0.0 has 17 chapters, 80 sections and 345 requirements: the sum of the table that is named in the file."""
    held = levels()
    assert len({one.split(".")[0] for one in held}) == 17
    assert len(held) == 345
    assert (held["V6.2.1"], held["V6.2.9"], held["V1.2.10"]) == (1, 2, 3)


def test_every_requirement_is_listed_once() -> None:
    listed = [match[1] for match in ROW.finditer(TEXT)]
    apart = re.findall(r"V\d+\.\d+\.\d+", TEXT.partition("**Do not apply**")[2])
    wanted = [name for name, level in levels().items() if level <= 2]
    assert sorted([*listed, *apart]) == sorted(wanted)


def test_each_is_met_with_a_test_or_says_what_is_missing() -> None:
    for match in ROW.finditer(TEXT):
        _, _, state, where, test = (part.strip() for part in match.groups())
        assert state in {"met", "partly", "not met"}, match[0]
        assert where, match[0]
        if state == "met":
            assert test, match[0]


def test_every_test_that_is_named_is_there() -> None:
    named = re.findall(r"`(test_\w+\.py)(?:::(test_\w+))?`", TEXT)
    assert len(named) > 100
    for file, test in named:
        path = ROOT / "tests" / file
        assert path.exists(), file
        if test:
            assert f"def {test}(" in path.read_text(encoding="utf-8"), f"{file}::{test}"


def test_every_file_that_is_named_is_there() -> None:
    for name in re.findall(r"`((?:models|dashboard|tests)/[\w/.]+)`", TEXT):
        assert (ROOT / name).exists(), name
