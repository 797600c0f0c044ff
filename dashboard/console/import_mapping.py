"""How the terminal tells a person how a file is read, and what to do where that has to be confirmed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from dashboard.console.common import out, several
from models.intake.mapping import FileMapping
from models.intake.proposing import Ask


class Terminal:
    """Writes what is chosen into the terminal."""

    def says(self, text: str) -> None:
        """Write a sentence."""
        out.print(text, markup=False)

    def begins(self, name: str, text: str) -> None:
        """Write that a file, or some of its sheets, are proposed a mapping."""
        out.print(f"[bold]{name}[/bold] {text}:")

    def shows(self, mapping: FileMapping) -> None:
        """Write how sheets would be read."""
        show_mapping(mapping)

    def waits(self, place: Path, asked: Sequence[str]) -> None:
        """Write what to do about a mapping that waits to be confirmed, or for answers first."""
        if asked:
            questions = "a question waits" if len(asked) == 1 else f"{several(len(asked), 'question')} wait"
            out.print(f"\nNothing was imported yet: in [bold]{place}[/bold] {questions} for an answer.")
            for told in asked:
                out.print(f"  {told}", markup=False, soft_wrap=True)
            out.print(
                "Write the answer there in place of each '?' (where the guess before it is right, take away only the '?'; one answer "
                'goes for all columns of a quantity of which the same is asked; what no column is yet is written beside the one that it is, e.g. field = "tag"), and run the same command again; --confirm alone answers none of them.',
                markup=False,
                soft_wrap=True,
            )
            return
        out.print(
            f"\nNothing was imported yet. Look through [bold]{place}[/bold], correct what is wrong, set confirmed = true,"
        )
        out.print("and run the same command again. If all of it is right as it stands, add --confirm.")


def show_mapping(mapping: FileMapping) -> None:
    """Show a mapping as a table with sample values."""
    from rich.markup import escape
    from rich.table import Table as Grid

    for sheet in mapping.sheets:
        title = f"{sheet.sheet or 'rows'}: {sheet.table}, headings in row {sheet.header_row}, dates {sheet.order}, decimal sign '{sheet.decimal}'"
        grid = Grid(title=title, title_justify="left", title_style="", show_edge=False, pad_edge=False)
        for heading in ("column", "is", "in", "samples"):
            grid.add_column(heading, overflow="fold")
        for column in sheet.columns:
            if not column.heading and not column.samples:
                continue
            name = "" if column.field is None else column.field.heading
            if Ask.FIELD in column.asks:
                name = f"{name}?"
            if column.field is not None and column.field.table is not sheet.table:
                name = f"{name} (of the machine)"
            unit = f"{column.unit}?" if Ask.UNIT in column.asks else column.unit
            if Ask.TIMES in column.asks:
                unit = f"{unit} × {column.guess_of_times}?"
            elif column.times != 1.0:
                unit = f"{unit} × {column.times:g}"
            grid.add_row(
                escape(column.heading), name or "[dim]left out[/dim]", unit, escape(" | ".join(column.samples))
            )
        out.print(grid)
        for word, meaning in sheet.words.items():
            shown = meaning or "… [bold]say what, in the mapping[/bold]"
            out.print(f"  '{escape(word)}' means {shown}")
        out.print()
