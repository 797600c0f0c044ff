"""Finds every number that a page shows, and what stands beside it: for the test that none stands without its unit.

A page is the tree of components that the server sends.  A number is told by its own text where that holds its
unit, its count or its window; else by what stands with it: the headings of its column and row, the label of a
key number, the title of an axis.  Each rule is written out below, with its name; there is none for 'anything else'.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

NUMBER = r"[+\-−±]?\d+(?:[.,]\d+)?(?:[\u202f ]\d{3})*"
UNIT = r"(?:mm/m × rpm|mil/in × rpm|mm × rpm|mil × rpm|mm/m|mil/in|mils?|mm|rpm|°C|°F|K|kW|h|%|σ|times|hours?|h run)(?![\w/])"
NOUN = (
    r"(?:jobs?|machines?|runs?|looks?|days?|months?|years?|readings?|as-found readings|as-left readings|entries|entry|visits?|verdicts?"
    r"|instruments?|people|areas?|trains?|intervals?|repeats?|versions?|limit sets?|rows?|columns?|records?|returns?|suggestions?"
    r"|courses|causes?|amendments?|sign-offs?|steps?|times|hours|places)\b"
)
MONTHS = "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
LONG_MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"
SEP = r"(?:\s*(?:to|and|or|–|·|/|;|,|±|÷|×)\s*|\s\s+)"

RULES: dict[str, str] = {
    # Identifiers and dates: they name, they do not measure.
    "as it was typed": r"‘[^’]*’",
    "day": rf"\b\d{{1,2}} (?:{MONTHS}) \d{{4}}(?:, \d\d:\d\d)?",
    "day of a month in full": rf"\b\d{{1,2}}(?: today)? (?:{LONG_MONTHS}) \d{{4}}",
    "month": rf"\b(?:{MONTHS}|{LONG_MONTHS})(?:<br>| )\d{{4}}",
    "date as files write it": r"\b(?:19|20)\d\d-\d\d(?:-\d\d)?(?:[ T]\d\d:\d\d)?\b",
    "clock": r"\b\d\d:\d\d\b",
    "time zone": r"\b[A-Z]\w+/[A-Z]\w+\b",
    "entry of the book": r"\b(?:entry|entries|Entry|Entries)\s(?:\d+)(?:(?: to | beside entry |, | and )\d+)*",
    "numbered from to": r"\bnumbered \d+ to \d+",
    "version of a set": r"\bversion \d+",
    "row of a file": r"\brow \d+",
    "row of feet": r"\b[Rr]ow \d\b",
    "foot": r"\b\d{1,2}[LR]\b",
    "job number": r"\b(?:19|20)\d\d-\d{4}\b",
    "fingerprint": r"\b[0-9a-f]{16,}\b",
    "source with its year": r"\b[A-Z][\w’'./&-]+(?: et al\.| and [A-Z]\w+)?(?:'s| e-Handbook)?,? \(?(?:19|20)\d\d\)?",
    "year of a source": r"\((?:[^()]*, )?(?:19|20)\d\d\)|, (?:19|20)\d\d\)",
    "name of a standard": r"\b(?:ISO|ASME|JCGM|ANSI|DIN|EN|API)(?:/\w+)?[ \d.:A-Z-]*\d+(?:[.:-]\d+)*",
    "year that may be asked for": r"\bor (?:19|20)\d\d\b",
    "name of an encoding": r"\butf-8\b",
    "name of a method of proof": r"\bSHA-256\b|\bEd25519\b",
    # Parts of a formula
    "the ratio at which within ends": r"\b(?:ratio above|ratio of|at most|above|ratio) 1\b(?![.,]\d)",
    "formula": r"\(1 − p\)|[+−]?span/2|√2|\bp = 0\.\d+|σ \(here [\d.]+\)",
    "ratio with its band": rf"ratio {NUMBER}, {NUMBER}[\u202f ]?% band {NUMBER} to {NUMBER}",
    # Counts
    "verdicts that turn, of so many": rf"{NUMBER} would become over and {NUMBER} within, of {NUMBER}",
    "count with its noun, of so many": rf"\b\d+ {NOUN} of {NUMBER}",
    "more or some of what was counted": rf"{NUMBER} (?:more\b|of them\b|of these\b)",
    "count of so many": rf"\b\d+(?:\u202f\d{{3}})* (?:of|/) (?:the )?(?:{NUMBER})(?: {NOUN})?",
    "count of its own noun before": rf"\b{NOUN}[^.;]{{0,40}}?: {NUMBER}\b",
    # Measures
    "pair of components before its unit": rf"V {NUMBER}, H {NUMBER}[\s\u202f]*{UNIT}",
    "factor now, under its unit": rf"\[[^\]]*rpm\][^.;]*; now {NUMBER}",
    "measure in limits": rf"{NUMBER} limits\b",
    "inches": rf"(?:{NUMBER}{SEP})*\d+\.\d+ in\b",
    "measure with its unit": rf"(?:{NUMBER}{SEP})*{NUMBER}[\s\u202f]*{UNIT}",
    "list before its unit in brackets": rf"(?:(?:\d{{1,2}}[LR] )?{NUMBER}{SEP})*{NUMBER} \[[^\]]+\]",
    "ratio with its verdict": rf"{NUMBER} (?:within|over)\b",
    "limit ratio": rf"\b[Rr]atio(?: as found| as left|:)? {NUMBER}(?: to {NUMBER})?",
    "found and left ratio": rf"[Rr]atio found {NUMBER}(?: (?:within|over))?, left {NUMBER}",
    "at limit ratio": rf"\bratio(?:, | of |: ){NUMBER}",
    "count with its noun": rf"(?:{NUMBER})(?: or more)?(?: [\w’'-]+){{0,3}}? {NOUN}",
    "share of an interval": rf"\b{NUMBER}(?:\u202f| )?% (?:interval|band|region)\b",
}
"""What a number may be, by name; in the order in which they are taken out of a text."""

_RULES = tuple(re.compile(rule) for rule in RULES.values())
_DIGIT = re.compile(r"\d")
_COUNTED = r"(?i:\b(?:jobs|machines|runs|looks|days|months|years|readings|entries|visits|verdicts|instruments|intervals|repeats|returns|times)\b)"
_IDENTIFIED = r"\bVersion\b|\bEntry\b|\bJob\b|\bWork order\b|\bDate\b|\bRank\b"
_BESIDE = re.compile(rf"\[[^\]]*\w[^\]]*\]|\b[Rr]atio\b|over/of|{_COUNTED}|{_IDENTIFIED}")
"""What has to stand beside a bare number: a unit in brackets, the word ratio, what is counted, or what it is the name of."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A text with a number, what stands beside it, and where on the page."""

    text: str
    beside: tuple[str, ...]
    where: str

    def untold(self, data: re.Pattern[str] | None = None) -> str:
        """Give what is left of the text when every number that is told is taken out; empty where all are."""
        rest = left_of(self.text, data)
        if not _DIGIT.search(rest) or any(_BESIDE.search(one) for one in self.beside):
            return ""
        return rest.strip()


def left_of(text: str, data: re.Pattern[str] | None = None) -> str:
    """Take out of a text what the book itself is called, then every number that its own words tell."""
    rest = text if data is None else data.sub(" ", text)
    for rule in _RULES:
        rest = rule.sub(" ", rest)
    return rest


def children_of(node: Any) -> list[Any]:
    props = node.get("props", {}) if isinstance(node, dict) else {}
    inside = props.get("children")
    return inside if isinstance(inside, list) else [] if inside is None else [inside]


def text_of(node: Any) -> str:
    """Give the text of a tree as a person reads it."""
    if isinstance(node, list):
        return " ".join(filter(None, (text_of(one) for one in node)))
    if isinstance(node, dict):
        if node.get("type") in {"Graph", "AgGrid"}:
            return ""
        return " ".join(filter(None, (text_of(one) for one in children_of(node))))
    return "" if node is None or isinstance(node, bool) else str(node)


_BLOCKS = {
    "P",
    "Li",
    "H1",
    "H2",
    "H3",
    "Summary",
    "Label",
    "Button",
    "Caption",
    "Figcaption",
    "A",
    "Link",
    "Option",
    "Span",
    "Strong",
    "Dt",
    "Code",
}


def shown(tree: Any, where: str) -> Iterator[Shown]:
    """Give every text with a number of a tree of components.

    Parameters
    ----------
    tree : component as JSON
        What the server sent. [unitless]
    where : str
        Name of the page. [unitless]
    """
    yield from _walk(tree, where, ())


def _walk(node: Any, where: str, beside: tuple[str, ...]) -> Iterator[Shown]:
    if isinstance(node, list):
        for one in node:
            yield from _walk(one, where, beside)
    elif isinstance(node, dict):
        yield from _own_attributes(node, where)
        special = _SPECIAL.get(str(node.get("type")))
        if special is not None:
            yield from special(node, where)
        elif node.get("type") in _BLOCKS:
            yield from _block(node, where, beside)
        else:
            for one in children_of(node):
                yield from _walk(one, where, beside)
    elif isinstance(node, int | float | str) and not isinstance(node, bool) and _DIGIT.search(str(node)):
        yield Shown(str(node), beside, where)


def _block(node: Any, where: str, beside: tuple[str, ...]) -> Iterator[Shown]:
    """A text may be made of pieces, a number in bold for one: it is read as a whole."""
    whole = text_of(node)
    if _DIGIT.search(whole):
        yield Shown(whole, beside, where)
    for one in children_of(node):
        if isinstance(one, dict):
            yield from _attributes(one, where)


def _pairs(node: Any, where: str) -> Iterator[Shown]:
    """A key number or a fact: told by its label and by what stands below it."""
    for pair in children_of(node):
        label = text_of([one for one in children_of(pair) if one.get("type") == "Dt"])
        for one in children_of(pair):
            parts = [text_of(part) for part in children_of(one)]
            yield from _walk(one, f"{where} | {label}", (label, *parts))


def _verbatim(_node: Any, _where: str) -> Iterator[Shown]:
    """A signed note, letter by letter: nothing in it is a number to be read."""
    yield from ()


def _select(node: Any, where: str) -> Iterator[Shown]:
    return _options(node.get("props", {}).get("data"), where)


def _own_attributes(node: dict[str, Any], where: str) -> Iterator[Shown]:
    for name in ("title", "aria-label", "placeholder", "alt"):
        text = node.get("props", {}).get(name)
        if isinstance(text, str) and _DIGIT.search(text):
            yield Shown(text, (), f"{where} {name}")


def _attributes(node: dict[str, Any], where: str) -> Iterator[Shown]:
    yield from _own_attributes(node, where)
    for one in children_of(node):
        if isinstance(one, dict):
            yield from _attributes(one, where)


def _options(data: Any, where: str) -> Iterator[Shown]:
    for one in data or ():
        if isinstance(one, dict):
            yield from _options(one["items"], where) if "items" in one else _walk(one.get("label"), where, ())


def _table(node: Any, where: str) -> Iterator[Shown]:
    parts = {one["type"]: one for one in children_of(node) if isinstance(one, dict)}
    caption = text_of(parts.get("Caption"))
    if _DIGIT.search(caption):
        yield Shown(caption, (), f"{where} caption")
    heads = [text_of(cell) for row in children_of(parts.get("Thead", {})) for cell in children_of(row)]
    for head in heads:
        if _DIGIT.search(head):
            yield Shown(head, (head,), f"{where} | {caption}")
    for row in children_of(parts.get("Tbody", {})):
        cells = children_of(row)
        first = text_of(cells[0]) if cells else ""
        for place, cell in enumerate(cells):
            head = heads[place] if place < len(heads) else ""
            if any(_named(one, "day-number") for one in children_of(cell)):
                yield from _calendar(cell, caption, where)
                continue
            label = f"{where} | {caption} | {head} | {first}"
            # A cell may hold two lines: each is told by its own words or by the column; the row's heading tells only measures in brackets.
            row_unit = tuple(re.findall(r"\[[^\]]+\]|[Rr]atio|Work order", first)) if place else ()
            for line in _lines(cell):
                yield Shown(line, (head, *row_unit), label)


def _named(node: Any, css: str) -> bool:
    return isinstance(node, dict) and node.get("props", {}).get("className") == css


def _lines(cell: Any) -> Iterator[str]:
    inner = children_of(cell)
    blocks = [one for one in inner if isinstance(one, dict) and one.get("type") == "Div"]
    if blocks:
        for one in blocks:
            yield from _lines(one)
        rest = text_of([one for one in inner if one not in blocks])
        if _DIGIT.search(rest):
            yield rest
        return
    text = text_of(cell)
    if _DIGIT.search(text):
        yield text


def _calendar(cell: Any, caption: str, where: str) -> Iterator[Shown]:
    """A day of a calendar is read with the month in its caption; how many fall due with the title of the number."""
    month = caption.partition(":")[0]
    for one in children_of(cell):
        text, label = text_of(one), f"{where} | {caption}"
        if _named(one, "day-number"):
            yield Shown(f"{text} {month}", (), label)
        elif _DIGIT.search(text):
            title = one.get("props", {}).get("title", "")
            yield Shown(title if title.startswith(text) else text, (), label)


def _figure(node: Any, where: str) -> Iterator[Shown]:
    inside = children_of(node)
    title = text_of([one for one in inside if isinstance(one, dict) and one.get("type") == "Figcaption"])
    label = f"{where} | figure {title}"
    for one in inside:
        graphs = list(_graphs(one))
        for graph in graphs:
            yield from _drawn(graph["props"]["figure"], title, label)
        if graphs:
            says = one.get("props", {}).get("aria-label", "")
            if _DIGIT.search(says):
                yield Shown(says, (title,), f"{label} says")
        else:
            yield from _walk(one, label, ())


def _graphs(node: Any) -> Iterator[dict[str, Any]]:
    if isinstance(node, dict):
        if node.get("type") == "Graph":
            yield node
        for one in children_of(node):
            yield from _graphs(one)


def _numeric(values: Any) -> bool:
    if isinstance(values, dict):  # a typed array
        return bool(values.get("dtype"))
    return any(isinstance(one, int | float) for one in values or ())


def _drawn(figure: dict[str, Any], title: str, label: str) -> Iterator[Shown]:
    layout, traces = figure.get("layout", {}), figure.get("data", [])
    titles = {axis: _axis_title(layout.get(f"{axis}axis", {})) for axis in ("x", "y")}
    for axis, text in titles.items():
        yield from _axis(
            layout.get(f"{axis}axis", {}), [trace.get(axis) for trace in traces], (text, title), f"{label}, axis {axis}"
        )
    for note in layout.get("annotations", ()):
        if _DIGIT.search(note.get("text", "")):
            yield Shown(note["text"].replace("<br>", " "), (), f"{label}, word")
    for trace in traces:
        yield from _written(trace, label)
        yield from _hover(trace, titles, label)


def _axis_title(axis: dict[str, Any]) -> str:
    named = axis.get("title")
    return str((named.get("text", "") if isinstance(named, dict) else named) or "")


def _axis(axis: dict[str, Any], values: list[Any], beside: tuple[str, ...], label: str) -> Iterator[Shown]:
    if _DIGIT.search(beside[0]):
        yield Shown(beside[0], (beside[0],), f"{label}, title")
    ticks = axis.get("ticktext")
    if ticks is not None:
        yield from (Shown(str(tick), beside, label) for tick in ticks if _DIGIT.search(str(tick)))
    elif axis.get("type") != "date" and any(_numeric(one) for one in values):
        yield Shown(f"9{axis.get('ticksuffix', '')}", beside, label)


def _written(trace: dict[str, Any], label: str) -> Iterator[Shown]:
    """What is written into the picture is told by the name of its trace."""
    if "text" in str(trace.get("mode", "")):
        name = str(trace.get("name") or "")
        texts = [one for one in _strings(trace.get("text")) if _DIGIT.search(one)]
        yield from (Shown(one.replace("<br>", " / "), (name,), f"{label}, written at {name}") for one in texts)


def _hover(trace: dict[str, Any], titles: dict[str, str], label: str) -> Iterator[Shown]:
    """A hover is told by its own words: the axis may be far away."""
    template, name = trace.get("hovertemplate"), f"{label}, hover of {trace.get('name')}"
    if not template:
        if trace.get("hoverinfo") != "skip" and "text" not in str(trace.get("mode", "")):
            yield Shown("9", (" ".join(titles.values()),), f"{name} without a template")
        return
    filled = re.sub(r"%\{(x|y|customdata)[^{}]*\}", _filled, template)
    yield Shown(re.sub(r"<[^<>]*>|%\{[^{}]*\}", " ", filled), (), name)
    for part in ("text", "customdata"):
        if f"%{{{part}}}" in template:
            said = [one for one in _strings(trace.get(part)) if _DIGIT.search(one)]
            yield from (Shown(re.sub(r"<[^<>]*>", " ", one), (), f"{name}, {part}") for one in said)


def _filled(found: re.Match[str]) -> str:
    whole = found.group()
    return "1 Jan 2026" if "|%" in whole else "" if whole == "%{customdata}" else "9"


def _strings(values: Any) -> Iterable[str]:
    if isinstance(values, str):
        return [values]
    return [str(one) for one in values if isinstance(one, str)] if isinstance(values, list) else []


def _grid(node: Any, where: str) -> Iterator[Shown]:
    props = node["props"]
    for group in props["columnDefs"]:
        for column in group.get("children", [group]):
            head = f"{group.get('headerName', '')} {column['headerName']}"
            for row in props["rowData"]:
                value = row.get(f"{column['field']}_text", row.get(column["field"]))
                if value is not None and _DIGIT.search(str(value)):
                    yield Shown(str(value), (head,), f"{where} | grid | {head}")


_SPECIAL: dict[str, Callable[[Any, str], Iterator[Shown]]] = {
    "Pre": _verbatim,
    "Table": _table,
    "Figure": _figure,
    "AgGrid": _grid,
    "Select": _select,
    "Dl": _pairs,
}
