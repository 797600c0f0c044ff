"""The sign of angularity in words, wherever it is told, held against two flat faces in space."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest

from dashboard.api.operations import ABOUT
from dashboard.console.work_examples import EXAMPLES
from dashboard.words import WORDS
from models.intake.mapping import FileMapping
from models.intake.mapping_file import to_toml
from models.intake.reading import read_sheets
from models.intake.template import READ_ME, workbook
from models.sentences.signs import ANGULARITY
from models.units import Display

ROOT = Path(__file__).parent.parent


def plain(text: str) -> str:
    """Take line breaks and signs of a remark out of a text."""
    return re.sub(r"\s+(?:# )?", " ", text)


def test_the_words_say_what_geometry_says() -> None:
    """Project trade reference, 2.1: gap(bottom) − gap(top) = slope × diameter (McMillan, Rotating Machinery, p. 134: not halved)."""
    slope, radius = 0.0004, 100.0
    centre = np.array(
        [5.0, 0.0]
    )  # of the movable hub's face: away from the coupling, and up; seen from above: and right
    up_the_face = np.array([-slope, 1.0]) / math.hypot(1.0, slope)
    top, bottom = (float((centre + side * radius * up_the_face)[0]) for side in (1.0, -1.0))
    assert bottom - top == pytest.approx(slope * 2 * radius)
    assert "rises, or runs to the right, away from the coupling" in ANGULARITY
    assert (
        "wider at the bottom, or on the left" if bottom > top else "wider at the top, or on the right"
    ) in ANGULARITY


def test_every_place_says_it_alike(tmp_path: Path) -> None:
    (tmp_path / "template.xlsx").write_bytes(workbook(Display()))
    notes = next(sheet for sheet in read_sheets(tmp_path / "template.xlsx") if sheet.name == READ_ME)
    read_me = " ".join(str(row[0]) for row in notes.head if row and row[0])
    mapping = plain(to_toml(FileMapping(()), "register.csv"))
    for text in (WORDS["import.signs"], WORDS["about.components"], mapping, read_me):
        assert f"Angularity + : {ANGULARITY}" in text
    seed = (ROOT / "seed_data" / "README.md").read_text(encoding="utf-8")
    for text in (
        WORDS["record.signs"],
        ABOUT,
        EXAMPLES["results"],
        (ROOT / "README.md").read_text(encoding="utf-8"),
        seed,
    ):
        said = plain(text).replace("**", "")
        assert re.search(r"[Aa]ngularity\b[^.]*\+ rises(?:, or runs to the right,)? away from the coupling", said), said
