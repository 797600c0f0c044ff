"""Passwords: which are taken, how they are kept, and that looking one up for nobody takes as long as for somebody.

Kept is the hash of Argon2id with the parameters that RFC 9106, section 4, names as
its second recommended option: 3 passes over 64 MiB in 4 lanes, salt of 128 bits, tag of
256 bits.  Length counts and composition does not, as OWASP ASVS 5.0, V6.2, asks.
"""

from __future__ import annotations

import re
import secrets
import threading
import unicodedata
from functools import cache
from itertools import pairwise
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from argon2.low_level import Type

from models.errors import InvalidValueError
from models.sentences.told import Told

SHORTEST: Final = 8
GOOD: Final = 15
LONGEST: Final = 200
"""Letters of a password: the fewest that are taken, how many are better, the most that are looked at."""

_AT_ONCE = threading.BoundedSemaphore(2)
"""Each hash takes 64 MiB: a crowd at the door must not take the memory of the whole machine."""

_COMMON_TEXT = (
    "abc abcd abcde abcdef access account admin administrator alignment asdf asdfgh autumn bearing book changeme"
    " change coupling dragon driftbook engineer factory football guest hello hunter iloveyou install laser"
    " letmein login machine maintenance manager master millwright monkey motor offset operator pass passcode"
    " passphrase passw password plant princess pump qazwsx qwer qwert qwerty qwertyuiop qwertz reader recorder"
    " reliability root secret service shaft shadow shim site spring start summer sunshine superman supervisor"
    " system temp temporary test tester testing trustno welcome winter workshop zxcvbn"
)
"""Our own short list of words that everybody tries first, those of the trade among them."""

_COMMON = frozenset(_COMMON_TEXT.split())

_LOOKS_LIKE = str.maketrans({"0": "o", "1": "l", "3": "e", "4": "a", "5": "s", "7": "t", "@": "a", "$": "s", "!": "i"})


@cache
def _hasher() -> PasswordHasher:
    return PasswordHasher(time_cost=3, memory_cost=65_536, parallelism=4, hash_len=32, salt_len=16, type=Type.ID)


@cache
def _nobody() -> str:
    """Give a hash that no password fits, for names that nobody has."""
    return _hasher().hash(secrets.token_hex(32))


def check_password(password: str, *about: str) -> None:
    """Refuse a password that is short, known to everybody, or made of what is known of its owner.

    Parameters
    ----------
    password : str
        What was typed; blanks inside and around count. [unitless]
    *about : str
        Login, name and the like. [unitless]

    Raises
    ------
    InvalidValueError
        If it is refused; the text says why.
    """
    if len(password) < SHORTEST:
        raise InvalidValueError(
            Told("told.password.short", n=len(password), least=SHORTEST),
            remedy=Told("told.password.short.remedy", good=GOOD),
        )
    if len(password) > LONGEST:
        raise InvalidValueError(
            Told("told.password.long", n=len(password), most=LONGEST), remedy=Told("told.password.long.remedy")
        )
    plain = unicodedata.normalize("NFKC", password).casefold()
    if _is_common(plain):
        raise InvalidValueError(Told("told.password.common"), remedy=Told("told.password.remedy"))
    for text in about:
        for word in re.split(r"[\s.@_-]+", text.casefold()):
            if len(word) >= 4 and word in plain and len(plain) - len(word) < SHORTEST:
                raise InvalidValueError(
                    Told("told.password.known", word=word),
                    remedy=Told("told.password.remedy"),
                )


def _is_common(plain: str) -> bool:
    """Tell whether a password is a common word with figures or signs around it, a row of keys, or one thing repeated."""
    if len(set(plain)) <= 3:
        return True
    steps = {ord(b) - ord(a) for a, b in pairwise(plain)}
    if steps in ({1}, {-1}):
        return True
    cores = {
        re.sub(r"[^a-z]", "", plain),
        re.sub(r"[^a-z]", "", re.sub(r"[\d\W_]+$", "", plain).translate(_LOOKS_LIKE)),
    }
    return any(_made_of_common(core) for core in cores if core) or plain.isdigit()


def _made_of_common(core: str) -> bool:
    """Tell whether a text is one or two common words and nothing else."""
    return core in _COMMON or any(core[:cut] in _COMMON and core[cut:] in _COMMON for cut in range(3, len(core) - 2))


def hashed(password: str) -> str:
    """Give the hash of a password, with its own salt and parameters."""
    with _AT_ONCE:
        return _hasher().hash(unicodedata.normalize("NFKC", password))


def fits(kept: str | None, password: str) -> bool:
    """Tell whether a password fits a hash; without a hash it takes as long and never fits."""
    with _AT_ONCE:
        try:
            _hasher().verify(kept or _nobody(), unicodedata.normalize("NFKC", password[:LONGEST]))
        except (VerificationError, InvalidHashError):
            return False
    return kept is not None and len(password) <= LONGEST


def is_weak(kept: str) -> bool:
    """Tell whether a hash was made with weaker parameters than today's."""
    return _hasher().check_needs_rehash(kept)


def made_up() -> str:
    """Make a password that somebody else is told once and has to change: 80 bits, easy to read out."""
    letters = "abcdefghjkmnpqrstuvwxyz23456789"
    text = "".join(secrets.choice(letters) for _ in range(16))
    return "-".join(text[start : start + 4] for start in range(0, 16, 4))
