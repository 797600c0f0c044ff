"""What can go wrong, as one base class and a handful of situations.

A message says what is wrong, where, and what to do.  The program's own
faults stay ordinary Python exceptions: only what a person can mend is a
:class:`DriftbookError`, and only that is shown without a traceback.
"""

from __future__ import annotations


class DriftbookError(Exception):
    """Something that a person can mend; the text is shown to them as it is."""

    def __init__(self, message: str, *, remedy: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy

    def __str__(self) -> str:
        """Give the message and, on a line of its own, what to do."""
        return f"{self.message}\n{self.remedy}" if self.remedy else self.message


class InvalidValueError(DriftbookError):
    """A value that cannot be true: it was refused before it reached the book."""


class NotAQuantityError(InvalidValueError):
    """A text that is not a number with a unit that is understood here."""

    def __init__(self, found: str, expected: str) -> None:
        super().__init__(f"'{found}' is not {expected}.")
        self.found = found
        self.expected = expected


class BookStateError(DriftbookError):
    """The book as it is now cannot be worked with: what was asked for may be right, and can be asked for again later."""


class BookMissingError(BookStateError):
    """There is no book at the address that was given."""


class BookExistsError(DriftbookError):
    """A book is already there and is not overwritten."""


class WrongRevisionError(BookStateError):
    """The book was written by an older or newer version of the tool."""


class AlteredBookError(DriftbookError):
    """The book is not what was written into it: somebody has changed it behind the tool's back."""


class UnreadableFileError(DriftbookError):
    """A file that cannot be read as a table."""


class NotWrittenError(DriftbookError):
    """A file that was asked for cannot be written; nothing half-done of it is left."""


class UnknownNameError(DriftbookError):
    """A site, asset, person, instrument or limit set that the book does not know."""


class ConflictError(DriftbookError):
    """The book holds something else under the same key."""


class RefTakenError(ConflictError):
    """A job number that another job has: ``entry`` is the newest version that bears it; ``same`` where that says the very same."""

    def __init__(self, message: str, *, remedy: str = "", entry: int, same: bool = False) -> None:
        super().__init__(message, remedy=remedy)
        self.entry, self.same = entry, same


class OtherVersionError(ConflictError):
    """Under the number of an entry the book holds something else than what a form or request was made from."""


class OvertakenError(ConflictError):
    """A version was amended or voided meanwhile: another one stands in its place."""


class BookBusyError(BookStateError):
    """Somebody else is writing, for longer than is waited."""


class KeyFileError(DriftbookError):
    """The file with the book's key cannot be written, or is no key."""


class NoRoomError(BookStateError):
    """The disk of the book is full; nothing was written."""


class BookReadOnlyError(BookStateError):
    """The book, its disk or its database takes no writing."""


class BookDamagedError(BookStateError):
    """The file of the book is damaged; ``found`` says what was seen, without the place."""

    def __init__(self, message: str, *, remedy: str = "", found: str = "") -> None:
        super().__init__(message, remedy=remedy)
        self.found = found


class UndecodableTextError(BookDamagedError):
    """A text in the file of the book is no text: its bytes are not UTF-8."""


class BookUnreachableError(BookStateError):
    """The disk or the database server of the book does not answer."""


class BookCrowdedError(BookStateError):
    """The database server of the book answers, and takes no more connections."""


class BookCutOffError(BookStateError):
    """The database server of the book broke off a question: it took longer than the server, the database or the role allow."""


class BookReplacedError(BookUnreachableError):
    """The file of the book was taken away, or another book or an older state lies in its place, while it was open."""


class BackupError(DriftbookError):
    """A backup that could not be made, or is not what it was made of."""
