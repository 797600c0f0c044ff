"""Files with the rows that came back: written before the good rows are in the book, and taken away again if these are not."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import Self

from dashboard.console.common import several
from models.commands.report import Report, SheetReport
from models.errors import UnreadableFileError
from models.whole_files import why_not


class MendFiles:
    """The files to mend of one import; what was written is removed unless :meth:`keep` is called."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self._made: list[Path] = []

    def __enter__(self) -> Self:
        """Begin an import."""
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _fault: BaseException | None, _trace: TracebackType | None
    ) -> None:
        """End it: files of an import that came to nothing would be mended in vain."""
        for path in self._made:
            path.unlink(missing_ok=True)

    def keep(self) -> None:
        """Let the files stay: the import is done."""
        self._made.clear()

    def write(self, report: Report) -> None:
        """Write the refused rows of each file beside it.

        Raises
        ------
        UnreadableFileError
            If that cannot be done.
        """
        from models.intake.mend import reserve, write_mend  # where rows come back, and only there

        by_file: dict[Path, list[SheetReport]] = {}
        for sheet in report.sheets:
            if sheet.refused:
                by_file.setdefault(sheet.source.path, []).append(sheet)
        for path, sheets in by_file.items():
            bad = [sheet.came_back() for sheet in sheets]
            try:
                place = reserve(path)
                self._made.append(place)
                write_mend(place, bad, delimiter=sheets[0].source.sheet.delimiter)
            except OSError as fault:
                raise UnreadableFileError(
                    f"The rows of {path.name} that came back cannot be written beside it: {why_not(fault)}; nothing was imported.",
                    remedy="Put the file into a folder that can be written, or import without --accept-good.",
                ) from fault
            count = sum(len(sheet.refused) for sheet in sheets)
            self.lines.append(
                f"{several(count, 'row')} came back in {place}; mend {'it' if count == 1 else 'them'} there and import that file."
            )
