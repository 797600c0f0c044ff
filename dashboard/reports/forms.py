"""Fields laid over a field sheet, so that it can be filled in on a screen: a variant that claims no standard.

The typesetter makes no form fields.  They are added afterwards, each where the sheet says that its
box lies, under the name that the field has on the Record page.  PDF/A and PDF/UA ask for more of
a form than that, so this variant carries neither claim; the sheet to print does.
"""

from __future__ import annotations

import io
from typing import Any

from pypdf import PdfReader, PdfWriter
from pypdf.generic import (
    ArrayObject,
    BooleanObject,
    DecodedStreamObject,
    DictionaryObject,
    FloatObject,
    NameObject,
    NumberObject,
    TextStringObject,
)

from dashboard.reports.glyphs import printable
from dashboard.reports.press import Paper, ask_of, print_pdf
from models.intake.typed import CLOCK

_PRINTED = 4
_MULTILINE = 1 << 12
_TALL = 25.0
"""Boxes higher than this take several lines. [pt]"""

_TEXT_STYLE = "/Helv 9 Tf 0 g"
_CROSS = b"q 1.2 w 1.5 1.5 m 6.5 6.5 l 1.5 6.5 m 6.5 1.5 l S Q"


def fillable_pdf(paper: Paper) -> bytes:
    """Print a field sheet and lay its fields over it.

    Parameters
    ----------
    paper : Paper
        The sheet, made to be filled in. [unitless]

    Returns
    -------
    bytes
        A PDF with an interactive form, in the order of typing.
    """
    writer = PdfWriter(clone_from=PdfReader(io.BytesIO(print_pdf(paper, plain=True))))
    fields = ArrayObject()
    for told in in_typing_order(ask_of(paper, "field")):
        page = writer.pages[int(told["page"]) - 1]
        widget = _widget(told, float(page.mediabox.height), writer)
        reference = writer._add_object(widget)  # noqa: SLF001 - the only way to a reference that pypdf gives
        widget[NameObject("/P")] = page.indirect_reference or NameObject("/Null")
        page.setdefault(NameObject("/Annots"), ArrayObject()).append(reference)
        fields.append(reference)
    for page in writer.pages:
        # Without an order of its own, a reader goes through the fields as they are listed: as they are typed.
        page.pop("/Tabs", None)
    font = DictionaryObject({NameObject("/Type"): NameObject("/Font"), NameObject("/Subtype"): NameObject("/Type1"), NameObject("/BaseFont"): NameObject("/Helvetica"), NameObject("/Encoding"): NameObject("/WinAnsiEncoding")})  # fmt: skip
    fonts = DictionaryObject({NameObject("/Helv"): writer._add_object(font)})  # noqa: SLF001
    writer.root_object[NameObject("/AcroForm")] = DictionaryObject(
        {
            NameObject("/Fields"): fields,
            NameObject("/NeedAppearances"): BooleanObject(True),
            NameObject("/DA"): TextStringObject(_TEXT_STYLE),
            NameObject("/DR"): DictionaryObject({NameObject("/Font"): fonts}),
        }
    )
    made = io.BytesIO()
    writer.write(made)
    return made.getvalue()


def in_typing_order(told: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Put the places of each clock in the order in which they are typed; they lie on the sheet as on the dial."""
    places = {name: rank for rank, name in enumerate((*CLOCK, "returned"))}
    ordered = list(told)
    dials: dict[str, list[int]] = {}
    for index, one in enumerate(told):
        dial, _, place = one["name"].rpartition(".")
        if place in places and ".dial." in one["name"]:
            dials.setdefault(dial, []).append(index)
    for slots in dials.values():
        mine = sorted((told[slot] for slot in slots), key=lambda one: places[one["name"].rpartition(".")[2]])
        for slot, one in zip(slots, mine, strict=True):
            ordered[slot] = one
    return ordered


def _widget(told: dict[str, Any], page_height: float, writer: PdfWriter) -> DictionaryObject:
    x, y, wide, high = (float(told[name]) for name in ("x", "y", "w", "h"))
    # The sheet counts down from the upper edge, a PDF up from the lower one.
    corners = (x, page_height - y - high, x + wide, page_height - y)
    widget = DictionaryObject(
        {
            NameObject("/Type"): NameObject("/Annot"),
            NameObject("/Subtype"): NameObject("/Widget"),
            NameObject("/Rect"): ArrayObject(FloatObject(round(one, 2)) for one in corners),
            NameObject("/F"): NumberObject(_PRINTED),
            NameObject("/T"): TextStringObject(told["name"].replace(".", "_")),
            NameObject("/TU"): TextStringObject(printable(told["says"])),
        }
    )
    if told["kind"] == "tick":
        appearance = DictionaryObject({NameObject(f"/{state}"): _picture(drawn, wide, high, writer) for state, drawn in (("Yes", _CROSS), ("Off", b""))})  # fmt: skip
        widget.update(
            {
                NameObject("/FT"): NameObject("/Btn"),
                NameObject("/V"): NameObject("/Off"),
                NameObject("/AS"): NameObject("/Off"),
                NameObject("/AP"): DictionaryObject({NameObject("/N"): appearance}),
            }
        )
        return widget
    widget.update(
        {
            NameObject("/FT"): NameObject("/Tx"),
            NameObject("/V"): TextStringObject(told["value"]),
            NameObject("/DA"): TextStringObject(_TEXT_STYLE),
            NameObject("/Ff"): NumberObject(_MULTILINE if high > _TALL else 0),
        }
    )
    return widget


def _picture(drawn: bytes, wide: float, high: float, writer: PdfWriter) -> Any:
    stream = DecodedStreamObject()
    stream.set_data(drawn)
    stream.update(
        {
            NameObject("/Type"): NameObject("/XObject"),
            NameObject("/Subtype"): NameObject("/Form"),
            NameObject("/BBox"): ArrayObject(FloatObject(one) for one in (0.0, 0.0, wide, high)),
        }
    )
    return writer._add_object(stream)  # noqa: SLF001
