"""Looking into papers by code that is not ours: their text, their codes, what they claim to be."""

from __future__ import annotations

import io
import re

import pikepdf
import pypdfium2
import zxingcpp
from pypdf import PdfReader


def pages_of(pdf: bytes) -> list[str]:
    """Give the text of each page as it is selected and searched: single blanks, words whole again."""
    found = []
    document = pypdfium2.PdfDocument(pdf)
    try:
        found += [page.get_textpage().get_text_range() for page in document]
    finally:
        document.close()
    return [plain(text) for text in found]


def text_of(pdf: bytes) -> str:
    return " ".join(pages_of(pdf))


def plain(text: str) -> str:
    """Join words that a hyphen of the typesetter cut (a mark of its own in the document), and make every blank single."""
    joined = re.sub(r"[\u00ad\ufffe]\s*", "", text).replace("\u200b", "")
    return re.sub(r"\s+", " ", joined)


def codes_of(pdf: bytes) -> list[str]:
    """Draw every page and read its QR codes, by two libraries that share nothing with ours."""
    found: list[str] = []
    document = pypdfium2.PdfDocument(pdf)
    try:
        for page in document:
            picture = page.render(scale=3.0).to_pil()
            found += [code.text for code in zxingcpp.read_barcodes(picture)]
    finally:
        document.close()
    return found


def edges_of(pdf: bytes) -> list[list[float]]:
    """Give how far to the right each piece of text of each page reaches. [pt]."""
    found = []
    document = pypdfium2.PdfDocument(pdf)
    try:
        for page in document:
            text = page.get_textpage()
            found.append([text.get_rect(index)[2] for index in range(text.count_rects())])
    finally:
        document.close()
    return found


def page_sizes(pdf: bytes) -> set[tuple[int, int]]:
    """Give the sizes of the pages. [pt]."""
    return {(round(page.mediabox.width), round(page.mediabox.height)) for page in PdfReader(io.BytesIO(pdf)).pages}


def claims_of(pdf: bytes) -> dict[str, str]:
    """Give what the document says of itself in its metadata."""
    with pikepdf.open(io.BytesIO(pdf)) as document, document.open_metadata() as told:
        keys = ("pdfaid:part", "pdfaid:conformance", "pdfuaid:part", "dc:title")
        return {key: str(told.get(key, "")) for key in keys}


def fonts_of(pdf: bytes) -> dict[str, bool]:
    """Give the fonts of all pages and of what is drawn in them, each with whether its file lies in the document."""
    found: dict[str, bool] = {}
    with pikepdf.open(io.BytesIO(pdf)) as document:
        for item in document.objects:
            if isinstance(item, pikepdf.Dictionary) and item.get("/Type") == "/FontDescriptor":
                name = str(item.get("/FontName"))
                found[name] = any(key in item for key in ("/FontFile", "/FontFile2", "/FontFile3"))
    return found
