"""The subcommands verify, head, history and key."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from dashboard.console.common import now, opened, out, settings_of, who
from dashboard.console.endings import DONE, NOT_GOOD
from dashboard.console.key_file import tell_key
from dashboard.console.proving_package import package_as_json, read_package, tell_package
from dashboard.console.whole import PACKAGE, check_over, put_over
from dashboard.proofs import fault_words, is_signed, package_of
from dashboard.words import say
from models.commands.set_key import set_key
from models.errors import BookDamagedError, ConflictError, DriftbookError, InvalidValueError, UnreadableFileError
from models.ledger.checkpoint import Note, read_notes, write_line
from models.ledger.findings import Fault
from models.store.hand_over import Beside, after_others, beside, handed_over
from models.store.known import site_of, sites
from models.store.own_files import refuse_own
from models.store.proofs import BookKey, Head, last_head, one_state, read_keys
from models.store.signing import file_fault, key_fault
from models.store.verify_package import look_at_package
from models.whole_files import add_whole, not_written

if TYPE_CHECKING:
    from models.store.verify import Verified
    from models.store.verify_names import NoRight, OwnWork

_PACKAGE_ELSEWHERE = "--package FILE"

SHOWN = 20
"""So many findings are shown; all are counted."""


def run_verify(given: argparse.Namespace) -> int:
    """Compute the book again, and tell what does not fit."""
    # Bars and processes are loaded here: head, history and key need none.
    from rich.progress import Progress

    from models.store.verify import verify_book

    settings, key = settings_of(given), _key(given.public_key)
    kept = [note for name in given.against or () for note in _kept(name)]
    handed, package = (read_package(given.package) if given.package else None), None
    try:
        with (
            opened(settings, unmarked=True) as engine,
            one_state(engine) as connection,
            Progress(console=out.console, transient=True, disable=given.json or not out.is_terminal) as bar,
        ):
            task = bar.add_task("", total=None)
            shared = None if given.one_process else settings
            found = verify_book(
                connection, against=kept, public_key=key, settings=shared,
                progress=lambda done, of: bar.update(task, completed=done, total=of),
            )  # fmt: skip
            package = None if handed is None else look_at_package(connection, handed)
    except BookDamagedError as fault:
        if "driftbook verify" not in fault.remedy:
            raise
        # To type this command again would help nobody.
        raise BookDamagedError(fault.message, remedy=say("verify.damaged"), found=fault.found) from fault
    fault_of_file = file_fault(settings.key_path, found.keys[-1]) if found.keys else None
    if given.json:
        more = {"key_file": {"is_the_key": not fault_of_file, "fault": fault_of_file}} if found.keys else {}
        more |= {} if package is None else package_as_json(package)
        out.print_json(json.dumps(_as_json(found, strict=given.strict) | more))
    else:
        _tell(found, strict=given.strict, key=key is not None)
        tell_key(settings.key_path, fault_of_file)
        if package is not None:
            tell_package(given.package, package)
    return NOT_GOOD if found.faults(strict=given.strict) or not (package is None or package.fits) else DONE


def _key(text: str | None) -> bytes | None:
    if text is None:
        return None
    try:
        found = bytes.fromhex(text)
    except ValueError:
        found = b""
    if len(found) != 32:
        raise InvalidValueError(say("verify.file.key", asked=text[:80]))
    return found


def _kept(name: str) -> tuple[Note, ...]:
    try:
        text = sys.stdin.read() if name == "-" else Path(name).read_text(encoding="utf-8")
        return read_notes(text)
    except OSError as fault:
        raise UnreadableFileError(f"{name} cannot be read: {fault.strerror or fault}.") from fault
    except ValueError as fault:
        raise UnreadableFileError(
            say("verify.file.head", name=name, fault=fault), remedy=say("verify.file.head.remedy")
        ) from fault


def _as_json(found: Verified, *, strict: bool) -> dict[str, Any]:
    return {
        "fits": found.faults(strict=strict) == 0,
        "entries": found.entries,
        "intact": found.intact,
        "heads": {"kept": found.heads, "signed": found.signed, "unsigned": found.unsigned},
        "unsigned": [asdict(one) | {"open_from": one.open_from(found.spoken_for)} for one in found.without],
        "indexes": found.indexes,
        "newest": None if found.newest is None else found.newest.note,
        "keys": [
            {
                "entry": key.entry,
                "origin": key.origin,
                "public_key": key.public_key.hex(),
                "handed_over": key.entry in found.handed,
                "known_again": key in found.again,
            }
            for key in found.keys
        ],
        "against": [{"size": one.note.checkpoint.size, "holds": one.holds} for one in found.kept],
        "counts": {str(fault): count for fault, count in sorted(found.tally.counts.items())},
        "findings": [asdict(finding) | {"fault": str(finding.fault)} for finding in found.tally.kept],
        "own_work": [asdict(one) for one in found.own_work],
        "no_right": [asdict(one) for one in found.no_right],
    }


def _tell(found: Verified, *, strict: bool, key: bool) -> None:
    out.print(say("verify.intact", n=f"{found.intact:,}", all=f"{found.entries:,}"))
    newest = found.newest
    out.print(
        say("verify.heads.none") if newest is None
        else say("verify.heads", n=f"{found.heads:,}", signed=f"{found.signed:,}", size=f"{newest.size:,}")
    )  # fmt: skip
    _tell_keys(found.keys, found.handed)
    for head in found.kept:
        otherwise = "verify.kept.signature" if head.begins else "verify.kept.not"
        out.print(
            say("verify.kept.holds" if head.holds else otherwise, size=f"{head.note.checkpoint.size:,}"), soft_wrap=True
        )
    for one, other in after_others(found.keys, found.again):
        out.print(_again(one, other, found.spoken_for), markup=False, soft_wrap=True)
    _tell_unsigned(found)
    _tell_own_work(found.own_work)
    _tell_no_right(found.no_right)
    told = [one for one in found.tally.kept if strict or one.fault != "unsigned"]
    if found.faults(strict=strict) == 0:
        _tell_fits(found, key=key)
        return
    for at, finding in enumerate(sorted(told, key=lambda one: (one.entry is None, one.entry or 0))[:SHOWN]):
        if at < 2:
            out.print(say("verify.more" if at else "verify.first"))
        out.print(f"  {fault_words(finding)}", markup=False, soft_wrap=True)
    counts = ", ".join(f"{count:,} × {fault}" for fault, count in sorted(found.tally.counts.items()))
    out.print(say("verify.counts", counts=counts))
    if found.tally.counts[Fault.UNREADABLE]:
        out.print(say("verify.unreadable"), soft_wrap=True)


def _tell_keys(keys: Sequence[BookKey], handed: frozenset[int]) -> None:
    """Tell the keys of the book, the oldest first, and of each whether the one before it handed over to it."""
    for at, one in enumerate(keys):
        line = say("verify.keys", entry=one.entry, digits=one.public_key.hex())
        if at:
            line += " " + say("verify.keys.handed" if one.entry in handed else "verify.keys.alone")
        out.print(line, markup=False, soft_wrap=True)


def _tell_fits(found: Verified, *, key: bool) -> None:
    """Say what was found to be as it was written, and by what; and for what that does not speak."""
    kept = found.spoken_for
    if kept:
        out.print(say("verify.fits.kept", size=f"{kept:,}"))
    if key:
        out.print(say("verify.fits.key"))
    elif kept < found.last:
        out.print(say("verify.fits.after" if kept else "verify.fits"))
    if not kept and not key:
        out.print(say("verify.hint"))
    out.print(say("verify.covers"), soft_wrap=True)
    if not found.indexes:
        out.print(say("verify.covers.server"), soft_wrap=True)


def _tell_unsigned(found: Verified) -> None:
    """Tell the entries under heads without a signature, the signed heads around them, and whether a kept head speaks for them."""
    if not found.unsigned:
        return
    out.print(say("verify.unsigned", n=f"{found.unsigned:,}"), soft_wrap=True)
    for one in found.without[:SHOWN]:
        before, after = (
            say("verify.unsigned.none") if size is None else say("verify.unsigned.head", size=f"{size:,}")
            for size in (one.before, one.after)
        )
        line = say(
            "verify.unsigned.entries",
            first=one.first,
            last=one.last,
            heads=f"{one.heads:,}",
            before=before,
            after=after,
        )
        if one.first <= found.spoken_for:
            line += " " + say("verify.unsigned.kept", size=min(one.last, found.spoken_for))
        out.print(f"  {line}", markup=False, soft_wrap=True)


def _tell_own_work(own: Sequence[OwnWork]) -> None:
    """Tell the sign-offs under the signer's own work; all their entries are named, for nothing else leads to them."""
    if not own:
        return
    out.print(say("verify.own.one" if len(own) == 1 else "verify.own.many", n=f"{len(own):,}"), soft_wrap=True)
    for one in own:
        line = say("verify.own.line", entry=one.entry, name=one.name, signed=one.signed_entry, other=one.other)
        out.print(f"  {line}", markup=False, soft_wrap=True)


def _tell_no_right(given: Sequence[NoRight]) -> None:
    """Tell the sign-offs behind which no account stands; all of them, as above."""
    if not given:
        return
    out.print(
        say("verify.no_right.one" if len(given) == 1 else "verify.no_right.many", n=f"{len(given):,}"), soft_wrap=True
    )
    for one in given:
        line = say("verify.no_right.line", entry=one.entry, name=one.name, signed=one.signed_entry)
        out.print(f"  {line}", markup=False, soft_wrap=True)


def run_head(given: argparse.Namespace, environ: Mapping[str, str] = os.environ) -> int:
    """Print the newest head; keep it in a file and send it where that was asked for."""
    mail = None
    if given.mail:
        from dashboard.reports.mail import read_mail_settings

        mail = read_mail_settings(
            environ,
            to=given.mail,
            server=given.smtp,
            user=given.smtp_user,
            sender=given.sender,
            security=given.security,
        )
    settings = settings_of(given)
    if given.output:
        refuse_own(settings, Path(given.output))
    with opened(settings) as engine, engine.connect() as connection:
        head = last_head(connection)
        if head is None:
            raise DriftbookError(say("head.none"), remedy=say("head.none.remedy"))
        # The head goes to the standard output as it is: a scheduler may pipe it anywhere.
        sys.stdout.write(f"{write_line(head.note)}\n" if given.line else head.note)
        if given.output:
            _append(Path(given.output), head, connection)
    if mail is not None:
        from dashboard.reports.mail import message_of, send

        at = now()
        body = say(
            "head.mail.body", origin=head.origin, size=f"{head.size:,}", at=f"{at:%Y-%m-%d %H:%M} UTC", note=head.note
        )
        subject = say("head.mail.subject", origin=head.origin, size=f"{head.size:,}")
        message = message_of(mail, subject, body, ("head.txt", head.note.encode()), at)
        attached = next(message.iter_attachments())
        attached.set_type("text/plain")
        attached.set_param("charset", "utf-8")
        send(mail, message)
        print(f"Sent to {', '.join(mail.to)} through {mail.host}.", file=sys.stderr)  # noqa: T201
    if head.signature is None:
        print(say("head.unsigned"), file=sys.stderr)  # noqa: T201
    return 0


def _append(path: Path, head: Head, connection: sa.Connection) -> None:
    """Add a head to a file of heads of its book; the same one is not added twice."""
    try:
        there = path.read_text(encoding="utf-8") if path.exists() else ""
        notes = read_notes(there) if there.strip() else ()
    except ValueError as fault:
        raise UnreadableFileError(
            say("verify.file.head", name=path, fault=fault), remedy=say("verify.file.head.remedy")
        ) from fault
    except OSError as fault:
        raise not_written(path, fault, "-o FILE") from fault
    others = sorted({one.checkpoint.origin for one in notes} - {head.origin})
    if others:  # whoever holds the book against this file would be told ever after that it was changed
        raise ConflictError(
            say("head.other", path=path, others=", ".join(others), origin=head.origin),
            remedy=say("head.other.remedy"),
        )
    found, fresh = beside(connection, head, notes), head.checkpoint not in {one.checkpoint for one in notes}
    if fresh:
        try:
            # As backup does: both are named beside each other for a scheduler.
            path.parent.mkdir(parents=True, exist_ok=True)
            add_whole(path, (("\n" if there.strip() else "") + head.note).encode())
        except OSError as fault:
            raise not_written(path, fault, "-o FILE") from fault
    said = "head.written" if fresh else "head.there"
    print(say(said, size=f"{head.size:,}", path=path), file=sys.stderr)  # noqa: T201
    _tell_beside(found, head, path, fresh=fresh)


def _tell_beside(found: Beside, head: Head, path: Path, *, fresh: bool) -> None:
    """Tell where the book is not what a file of heads says of it, and where a head makes the file speak for another key."""
    told = [
        say(key, size=f"{size:,}", here=f"{head.size:,}", path=path)
        for key, size in (("head.ahead", found.ahead), ("head.other_root", found.other), ("head.signer", found.signer))
        if size is not None
    ]
    if fresh and found.key is not None:  # from now on this file speaks for that key: somebody has to look, once
        key = "head.first_key" if found.first else "head.other_key"
        told.append(say(key, size=f"{found.size:,}", entry=found.key.entry, path=path))
    if fresh:
        told += [_again(one, other, found.size) for one, other in found.again]
    for line in told:
        print(line, file=sys.stderr)  # noqa: T201


def _again(key: BookKey, other: BookKey, size: int) -> str:
    """Say what stays open where a known key signs again after another."""
    return say("verify.keys.again", entry=key.entry, other=other.public_key.hex(), size=f"{size:,}")


def run_history(given: argparse.Namespace) -> int:
    """Write the package of a machine."""
    from models.store.reader import Reader

    kept = [note.checkpoint.size for note in _kept(given.kept)] if given.kept else []
    path, settings = Path(given.package), settings_of(given)
    check_over(path, PACKAGE, _PACKAGE_ELSEWHERE, settings)
    with opened(settings) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        made = package_of(
            Reader(engine), site, given.tag, now(), kept=kept, pdf=not given.no_pdf, by=say("report.maker.command")
        )
    put_over(path, made, PACKAGE, _PACKAGE_ELSEWHERE, settings)
    out.print(f"Wrote {path} ({len(made):,} bytes). It is checked by: python3 verify.py {path.name}", markup=False)
    if not is_signed(made):
        out.print(say("proof.package.unsigned"), soft_wrap=True)
    return 0


def run_key(given: argparse.Namespace) -> int:
    """Show the keys of the book, or set another."""
    settings, entry = settings_of(given), None
    if given.old_key and not given.set:
        raise InvalidValueError(say("key.old"), remedy=say("key.why.remedy"))
    if given.why and not given.set:  # who gives a reason believes that a key is set by it
        raise InvalidValueError(say("key.why"), remedy=say("key.why.remedy"))
    if given.set:  # the entry about it is one of a site; the keys are those of the book
        with opened(settings) as engine, engine.connect() as connection:
            site = sites(connection)[0]
        old = Path(given.old_key) if given.old_key else None
        entry = set_key(settings, site.site_id, by=who(given), now=now(), why=given.why, old=old)
        out.print(
            f"The key in {settings.key_path} signs from entry {entry} on."
            if entry is not None
            else f"The key in {settings.key_path} signs already; nothing was written.",
            markup=False,
        )
        if entry is not None and old is not None:
            out.print(say("key.old.kept", path=old), markup=False, soft_wrap=True)
    with opened(settings) as engine, engine.connect() as connection:
        keys = read_keys(connection)
        handed = handed_over(connection, keys)
        _tell_keys(keys, handed)
        fault = key_fault(engine, settings.key_path)
    tell_key(settings.key_path, fault)
    if entry is not None and len(keys) > 1:
        out.print(say("key.replaced"), soft_wrap=True)
        if entry not in handed:
            out.print(say("key.alone"), soft_wrap=True)
        if any(one.public_key == keys[-1].public_key for one in keys[:-1]):
            out.print(say("key.again"), soft_wrap=True)
    return 0
