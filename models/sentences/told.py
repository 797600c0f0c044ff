"""A sentence that knows by which key and with which values it was made.

It *is* its English text, so that a console, an answer of the interface or an
error shows it as it is; a page asks it for key and values and says the same in
the language of its reader.  An f-string around it is English for good: what
belongs into another sentence is one of its values.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, Self

from models.sentences import checks, handing, measuring, signing, sites, typed

SENTENCES: Final[Mapping[str, str]] = MappingProxyType(
    {
        **checks.SENTENCES,
        **handing.SENTENCES,
        **measuring.SENTENCES,
        **signing.SENTENCES,
        **sites.SENTENCES,
        **typed.SENTENCES,
    }
)
"""English by key; what is in braces is filled in."""


class Told(str):
    """A text out of the catalogue.

    A value is a number, a text that is the same in every language (a name, a
    number with its unit), another :class:`Told`, or a tuple of these, which is
    written as a list.
    """

    __slots__ = ("key", "values")

    key: str
    values: Mapping[str, object]

    def __new__(cls, key: str, /, **values: object) -> Self:
        """Write the sentence of a key.

        Parameters
        ----------
        key : str
            Key of the sentence in :data:`SENTENCES`. [unitless]
        **values : object
            What stands in braces in it. [unitless]

        Raises
        ------
        KeyError
            If there is no such sentence, or a value of it is missing: a fault of the program, found by its tests.
        """
        written = {name: ", ".join(value) if isinstance(value, tuple) else value for name, value in values.items()}
        text = SENTENCES[key]
        told = super().__new__(cls, text.format(**written) if written else text)
        object.__setattr__(told, "key", key)
        object.__setattr__(told, "values", MappingProxyType(values))
        return told

    def __setattr__(self, name: str, value: object) -> None:
        """Refuse a change: it would no longer be what it says."""
        raise AttributeError(name)

    def __reduce__(self) -> tuple[object, ...]:
        """Copy and keep it by what it was made of."""
        return _again, (self.key, dict(self.values))


def _again(key: str, values: dict[str, object]) -> Told:
    return Told(key, **values)
