"""The press: data and pictures in, the bytes of a PDF out.

A template is a file of this folder and never contains a text of a book: every text comes to it as data, so that
nothing that somebody typed is read as markup.  Nothing is fetched: fonts and templates lie beside this file.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import typst

from dashboard.reports.glyphs import FONTS, all_printable
from dashboard.words import say
from models.errors import DriftbookError

_SETTER: Any = typst
"""Its own types do not know that files may be given in memory."""

TEMPLATES = Path(__file__).parent / "templates"
STANDARDS = ("a-2a", "ua-1")
"""PDF/A-2a for the archive and PDF/UA-1 for readers who hear a page."""

_REMEMBERED = 10
"""The typesetter remembers for so many settings what it has set."""

PAPERS = {"a4": "a4", "letter": "us-letter"}
"""Sizes of paper that can be chosen, by what they are called here and by the typesetter."""


class UnprintableError(DriftbookError):
    """A paper that the typesetter refuses; a fault of the templates, or a text that no font has."""


@dataclass(frozen=True, slots=True)
class Paper:
    """One document, ready to be set.

    ``template`` names a file of the folder; ``data`` holds every text and number; ``pictures`` are SVG by file name.
    ``made_at`` is the time that the document carries.
    """

    template: str
    title: str
    data: Mapping[str, Any]
    made_at: datetime
    size: str = "a4"
    pictures: Mapping[str, str] = field(default_factory=dict)


def print_pdf(paper: Paper, *, plain: bool = False) -> bytes:
    """Set a paper as PDF/A-2a and PDF/UA-1.

    Parameters
    ----------
    paper : Paper
        What to print. [unitless]
    plain : bool
        True for a PDF that claims no standard, for what is added to it afterwards. [unitless]

    Raises
    ------
    UnprintableError
        If the typesetter refuses it.
    """
    try:
        made = _SETTER.compile(
            _files(paper), font_paths=fonts(), timestamp=round(paper.made_at.timestamp()), pdf_standards=[] if plain else list(STANDARDS)
        )  # fmt: skip
    except typst.TypstError as fault:
        raise UnprintableError(
            say("report.fault", title=paper.title, fault=fault.message), remedy=say("report.fault.remedy")
        ) from fault
    _forget()
    return bytes(made)


def _forget() -> None:
    """Let the typesetter forget what it has set.

    It keeps every piece for the next ten settings, and every try of a sheet's size, which comes to some hundred megabytes
    (measured: ``tests.benchmarks.reports``).  Setting next to nothing so often makes it let go, in a hundredth of a second.
    """
    for _ in range(_REMEMBERED + 1):
        _SETTER.compile({"main.typ": b"x"}, font_paths=fonts())


def ask_of(paper: Paper, label: str) -> list[Any]:
    """Give what a template says of itself under a label, e.g. how many pages it takes.

    Parameters
    ----------
    paper : Paper
        What would be printed. [unitless]
    label : str
        Name of the label. [unitless]
    """
    told: list[Any] = json.loads(_SETTER.query(_files(paper), f"<{label}>", field="value", font_paths=fonts()))
    return told


def pages_of(paper: Paper) -> int:
    """Give how many pages a paper takes."""
    return int(ask_of(paper, "pages")[0])


@lru_cache(maxsize=1)
def fonts() -> typst.Fonts:
    """Give the fonts of the papers: those of this folder, and none of this machine."""
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[str(FONTS)])


@lru_cache(maxsize=16)
def _template(name: str) -> bytes:
    return (TEMPLATES / name).read_bytes()


def _files(paper: Paper) -> dict[str, bytes]:
    made = paper.made_at.astimezone(UTC)
    data = {
        **all_printable(dict(paper.data)),
        "title": all_printable(paper.title),
        "lang": say("language"),
        "paper": PAPERS[paper.size],
        "date": [made.year, made.month, made.day, made.hour, made.minute, made.second],
    }
    return {
        "main.typ": _template(f"{paper.template}.typ"),
        "common.typ": _template("common.typ"),
        "data.json": json.dumps(data, ensure_ascii=False, allow_nan=False).encode(),
        **{name: picture.encode() for name, picture in paper.pictures.items()},
    }
