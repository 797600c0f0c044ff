"""What is typed: names of files, ports, and addresses that are never repeated, for a password may stand in them."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator, Sequence
from typing import ClassVar, NoReturn

from models.settings import Settings, is_address

NOT_REPEATED = "(an address, which is not repeated)"
"""What stands in a message in the place of an address."""

_WITHIN = re.compile(r"\w[\w+.-]*://.*", re.DOTALL)
"""An address behind something else: an option that is typed together with its value."""


class Parser(argparse.ArgumentParser):
    """A parser that does not repeat an address when it says what is wrong; ``typed`` is what it has to read."""

    typed: ClassVar[Sequence[str]] = ()

    def error(self, message: str) -> NoReturn:
        """Say what is wrong, and stop."""
        super().error(hidden(message, self.typed, every=True))


def file(text: str) -> str:
    """Read the name of a file or folder; the parser says what is refused.

    Parameters
    ----------
    text : str
        What was typed. [unitless]

    Raises
    ------
    argparse.ArgumentTypeError
        If it is an address: folders would be made that have the password in their names.
    """
    if is_address(text):
        raise argparse.ArgumentTypeError(
            "an address stands where the name of a file or folder belongs, and is not repeated here. "
            "The address of a book stands behind --book. A file of such a name: write ./ before it"
        )
    return text


def port(text: str) -> int:
    """Read a port; the parser says what is refused."""
    if not (text.isascii() and text.isdigit() and int(text) <= 65_535):
        raise argparse.ArgumentTypeError(f"'{text}' is no port: give a number from 0 to 65535")
    return int(text)


def hidden(message: str, typed: Sequence[str], *, every: bool = False) -> str:
    """Give a message without the addresses that were typed, whole or cut off.

    Parameters
    ----------
    message : str
        What is to be said. [unitless]
    typed : sequence of str
        What was typed. [unitless]
    every : bool
        Take those out too in which nobody is named who signs in. [unitless]
    """
    for word in typed:
        for part in _addresses(word):
            if every or not ("://" in part and Settings(book=part).shown == part):
                message = _without(message, part)
    return message


def _addresses(word: str) -> Iterator[str]:
    """Give what is an address of a word: all of it, or what stands behind an option."""
    within = _WITHIN.search(word)
    for part in (word, word.partition("=")[2], within[0] if within else ""):
        if part and is_address(part):
            yield part


def _without(message: str, part: str) -> str:
    """Take an address out, as it was typed or as Python quotes it; of one that was cut off, what reaches into its password."""
    for form in (part, repr(part)[1:-1]):
        user = form.find("//") + 2 if "//" in form else 0
        password = form.find(":", user) + 1 or len(form)
        for end in range(len(form), min(password, len(form) - 1), -1):
            if form[:end] in message:
                message = message.replace(form[:end], NOT_REPEATED)
                break
    return message
