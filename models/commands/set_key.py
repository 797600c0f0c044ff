"""Set the key that signs the heads of the book: the first with the book, a further one when the old one is lost or old."""

from __future__ import annotations

import os
import secrets
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from models.errors import KeyFileError
from models.ledger.keys import Signer, make_key, new_key, read_signer, write_key_file
from models.settings import Settings
from models.store.engine import make_engine
from models.store.hand_over import hand_over_words
from models.store.own_files import refuse_own
from models.store.proofs import BookKey, key_in_force
from models.store.unit import Unit, writing
from models.tables.proofs import BookKeyRow
from models.values.kinds import Kind
from models.whole_files import settle_names, why_not, write_whole

_NAME_IT = "Name the file that signed so far: --old-key FILE. Where it is lost, leave that out."
_ELSEWHERE = "Name another file behind --old-key: the old key is kept there, and a new one takes its place."


def new_origin() -> str:
    """Give a name for a new book, under which its heads are known everywhere: no two books have the same."""
    return f"driftbook/{secrets.token_hex(8)}"


def say_key(unit: Unit, signer: Signer, origin: str, why: str = "") -> int:
    """Append that a key signs from now on."""
    entry = unit.append(Kind.KEY_SET, why=why)
    unit.add(BookKeyRow, (entry, unit.site_id, origin, signer.public_key))
    return entry


def set_key(
    settings: Settings, site_id: int, *, by: str, now: datetime, why: str, old: Path | None = None
) -> int | None:
    """Make the key in the key file the one that signs, making a new one where there is none or the old one is to hand over.

    The file changes while nobody else can write, so that every head is signed by one of both.  Where a process ends
    between that and the commit, the old key lies where ``old`` says, and the same once more sets the new one.

    Parameters
    ----------
    settings : Settings
        Where the book and its key are. [unitless]
    site_id : int
        Site in whose name it is said. [unitless]
    by : str
        Who says it. [unitless]
    now : datetime
        Aware moment. [unitless]
    why : str
        Reason; it stays in the book. [unitless]
    old : pathlib.Path, optional
        File of the key that signs so far: it then signs that it hands over. Where there is none, and that key lies in the key file, it is copied there. [unitless]

    Returns
    -------
    int or None
        Number of the entry; ``None`` if that key signs already.

    Raises
    ------
    KeyFileError
        If a file cannot be made or read, no reason is given, or what is given as the old key does not sign so far.
    ConflictError
        If the old key would lie in the key file or in another file of the book.
    """
    engine = make_engine(settings)
    try:
        return _set(engine, settings, site_id, by, now, why, old)
    finally:
        engine.dispose()


def _set(
    engine: sa.Engine, settings: Settings, site_id: int, by: str, now: datetime, why: str, old: Path | None
) -> int | None:
    with writing(engine, site_id, by, now) as unit:  # two at once would both replace the same key
        held = key_in_force(unit.connection)
        if held is not None and not why.strip():
            raise KeyFileError("A new key needs a reason: it stays in the book.", remedy='Give it: --why "…"')
        giver = None
        if old is not None:
            _keep_old(settings, old, held)
            giver = _giver(old, held)
        text = None
        if giver is not None and _holds(settings.key_path, giver.public_key):
            text, signer = new_key()
        else:
            signer = make_key(settings.key_path)
        if held is not None and held.public_key == signer.public_key:
            return None
        words = why.strip()
        if giver is not None and held is not None:
            words += " " + hand_over_words(unit.connection, giver, held.origin, unit.next_number, signer.public_key)
        entry = say_key(unit, signer, held.origin if held else new_origin(), words)
        if text is not None:
            _take_place(text, settings.key_path)
    return entry


def _keep_old(settings: Settings, old: Path, held: BookKey | None) -> None:
    """Copy the key that signs out of the key file, to where it is asked to lie and nothing lies."""
    refuse_own(settings, old)
    if held is None or os.path.lexists(old) or not _holds(settings.key_path, held.public_key):
        return
    try:
        write_key_file(old, settings.key_path.read_bytes())
    except OSError as fault:
        raise KeyFileError(
            f"The old key cannot be kept in {old}: {why_not(fault)}; nothing was written.", remedy=_ELSEWHERE
        ) from fault


def _holds(path: Path, public_key: bytes) -> bool:
    signer = read_signer(path)
    return signer is not None and signer.public_key == public_key


def _take_place(text: bytes, path: Path) -> None:
    """Put a new key in the place of the old one, before the commit that names it; whoever could read that can read this one."""
    place = Path(os.path.realpath(path))
    try:
        write_whole(place, text, place.stat())
        settle_names(place.parent)
    except OSError as fault:
        raise KeyFileError(
            f"The new key cannot be put in the place of {path}: {why_not(fault)}; nothing was written.",
            remedy="Look at the rights of the file and its folder.",
        ) from fault


def _giver(old: Path, held: BookKey | None) -> Signer:
    """Read the key that hands over."""
    try:
        signer = read_signer(old)
    except KeyFileError as fault:  # its own remedy sets a key to which nobody hands over
        raise KeyFileError(
            f"The file {old} of the old key is no key of a book (an Ed25519 key in PEM is expected); nothing was written.",
            remedy=_NAME_IT,
        ) from fault
    if signer is None:
        raise KeyFileError(
            f"The file {old} of the old key is not there, or may not be read; nothing was written.",
            remedy=_NAME_IT,
        )
    if held is None or held.public_key != signer.public_key:
        named = "names no key yet" if held is None else f"has the key of entry {held.entry}"
        raise KeyFileError(
            f"The file {old} is not the key that signs so far (the book {named}); nothing was written.",
            remedy=_NAME_IT,
        )
    return signer
