"""A problem with a file, as a value: where it is, what stands there, what was expected."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """An error keeps its row out of the book; a warning does not; a note tells how good rows are taken."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


class Code(StrEnum):
    """What kind of problem it is."""

    NOT_A_NUMBER = "not-a-number"
    AMBIGUOUS_NUMBER = "ambiguous-number"
    WRONG_UNIT = "wrong-unit"
    BAD_DATE = "bad-date"
    FUTURE_DATE = "future-date"
    UNKNOWN_ASSET = "unknown-asset"
    UNKNOWN_INSTRUMENT = "unknown-instrument"
    IMPOSSIBLE_VALUE = "impossible-value"
    ODD_VALUE = "odd-value"
    MISSING_VALUE = "missing-value"
    INCOMPLETE = "incomplete-misalignment"
    LEFT_WITHOUT_FOUND = "left-without-found"
    FOUND_WITHOUT_LEFT = "found-without-left"
    DUPLICATE = "duplicate-in-file"
    KEY_CONFLICT = "key-conflict-in-file"
    KEY_IN_BOOK = "key-conflict-with-book"
    SAME_VISIT = "visit-in-the-book"
    SAME_MOMENT = "same-asset-same-moment"
    NOT_A_CHOICE = "not-a-choice"
    NOT_JUDGED = "not-judged"
    MACHINE_DIFFERS = "machine-described-otherwise"
    OUT_OF_SERVICE = "machine-out-of-service"
    BACK_IN_SERVICE = "machine-back-in-service"
    TAG_LOOKS_ALIKE = "tag-looks-like-another"
    NAME_LOOKS_ALIKE = "name-looks-like-another"
    NOBODY = "name-of-nobody"
    SEVERAL_PEOPLE = "several-people-in-one-name"
    MOVED_AGAINST = "moves-against-measured"
    MOVED_NOTHING = "moves-without-change"
    LEFT_AS_FOUND = "left-as-found"
    JUDGED_BEFORE = "judged-before-described"
    HOLDS_LATER = "described-from-later-on"
    DESCRIBED_LATER = "later-description-in-the-book"
    UNDECIDED = "undecided-by-the-rule"
    LOOKS_LIKE_TOTAL = "not-a-record"
    OLD_VERSION = "version-that-does-not-count"
    CUT_SHORT = "cut-short"
    SHEET_NOT_READ = "sheet-not-read"
    HIDDEN_SHEET = "hidden-sheet"
    GUESSED_ENCODING = "guessed-encoding"
    MORE_CELLS = "more-cells-than-headings"
    COLUMNS_LEFT_OUT = "columns-left-out"
    ROWS_ABOVE = "rows-above-headings"
    NO_HEADING = "column-without-heading"
    NO_VALUE = "spreadsheet-error"
    MERGED = "merged-cells"
    HEADING_BETWEEN = "heading-between-rows"
    ODD_TIME = "time-of-clock-change"
    SHORT_YEAR = "two-digit-year"


@dataclass(frozen=True, slots=True)
class Problem:
    """One problem.

    ``row`` counts as a spreadsheet shows it, from 1, and is 0 where the whole sheet is meant; ``column`` is the letter
    and the heading, or empty where the whole row is meant.  ``is_sentence`` tells that ``expected`` says by itself what is
    wrong, and is no name of a thing that was expected.  ``entry`` is that of the job in the book that an amendment changes.
    """

    file: str
    sheet: str
    row: int
    column: str
    code: Code
    severity: Severity
    found: str
    expected: str
    is_sentence: bool = False
    entry: int | None = None

    @property
    def place(self) -> str:
        """Give the place in one line: file, sheet, row, column."""
        sheet = f" › {self.sheet}" if self.sheet else ""
        column = f", column {self.column}" if self.column else ""
        row = f", row {self.row}" if self.row else ""
        return f"{self.file}{sheet}{row}{column}"

    @property
    def text(self) -> str:
        """Give what was found and what was expected in one line."""
        if self.is_sentence:
            return f"found '{self.found}': {self.expected}" if self.found else self.expected
        found = f"found '{self.found}'; " if self.found else ""
        return f"{found}expected {self.expected}"


def column_name(index: int, heading: str) -> str:
    """Name a column as a spreadsheet does, with its heading: ``'F (found offset V)'``."""
    letters = ""
    number = index + 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters} ({heading})" if heading else letters
