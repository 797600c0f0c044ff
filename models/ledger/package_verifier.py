# ruff: noqa: T201 - it speaks to whoever runs it
"""Check a package with the history of one machine.  It needs nothing but Python 3.9 or newer.

    python3 verify.py PACKAGE.zip
    python3 verify.py PACKAGE.zip --head KEPT.txt         heads that you kept elsewhere, one or many
    python3 verify.py PACKAGE.zip --key HEX               the public key of today, as you know it from elsewhere

Exit status: 0 everything fits, and the newest key that the package names signed it;
1 something does not fit, or the package names a key and it did not sign; 2 a file or
what was typed could not be read; 3 it fits in itself, and nobody vouches for it: the
book has no key, or heads were given and do not vouch for the key that signed.

What a package cannot show by itself: that its key is the book's.  Anybody can make one
that fits in itself, with a key of their own: all of it, or entries behind those of a
true one.  So 0 without --head and without --key says no more than that it fits in itself.
From a kept head a key is followed to the next where the older one signed that it hands
over to it.  A key that was lost hands over to nobody: then a head that was kept after
the new one was named vouches for it, or the key of today (--key), asked for by another
way than the package came.  The key to which the heads lead may be named again behind
such a one: where it signed since, it is known as before.
Nor can it show that it leaves no entry out.  Whoever holds the key that signs it can
leave any out; whoever holds a key that the book has replaced since can leave out the
entry that replaced it, or hand over to another, and pass for the book.  A head with its
signature that was kept after the key was replaced shows that, or the key of today.
Open standards: RFC 8785 (form of a statement), RFC 9162 (tree), RFC 8032
(Ed25519), C2SP signed note and tlog-checkpoint (head).
"""

from __future__ import annotations

import argparse
import base64
import csv
import hashlib
import io
import json
import re
import struct
import sys
import unicodedata
import zlib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

FORMAT = "driftbook package/1"
README, VERIFIER, HEAD, MANIFEST = "README.txt", "verify.py", "head.txt", "manifest.txt"
STATEMENTS, PROOFS, KEYS, JOBS = "statements.jsonl", "proofs.jsonl", "keys.txt", "jobs.csv"
OLDER, PDF = "older_heads.jsonl", "history.pdf"
NEEDED = (README, VERIFIER, HEAD, MANIFEST, STATEMENTS, PROOFS, KEYS, JOBS, OLDER)

# Where an entry or one of its rows names another entry by its number.
NAMING = (
    "subject", "supersedes", "batch", "asset_id", "job_id", "person_id", "instrument_id", "limit_set_id", "limit_entry",
    "account_id", "signed_entry",
)  # fmt: skip


class RefusedError(Exception):
    """Something does not fit; the text says what."""


def quoted(word: object) -> str:
    """Write what a package says in quotation marks, with nothing in it that a terminal obeys, cut where it is long."""
    text = str(word)
    return repr(text if len(text) <= 120 else text[:119] + "\u2026")


class Key(NamedTuple):
    """A key of the book, and the entry that names it: it signs from there on, until another is named."""

    entry: int
    digits: bytes


class Checked(NamedTuple):
    """What holds, line by line; what no key vouches for; the key in force, ``None`` for a book that names none; what is open."""

    holds: list[str]
    unsigned: list[str]
    key: Key | None
    open: list[str]
    known: bool
    """Whether something from elsewhere speaks for the key: a kept head that covers it or leads to it, or the key itself."""
    unvouched: list[str]
    """From which key on the kept heads vouch for none, up to the one that signed."""


# Ed25519 (RFC 8032, section 5.1): arithmetic over integers, points as (X, Y, Z, T).
P = 2**255 - 19
Q = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P
I = pow(2, (P - 1) // 4, P)  # noqa: E741 - its name in the standard
BASE = (
    15112221349535400772501151409588531511454012693041857206046113283949847762202,
    46316835694926478169428394003475163141307993866256225615783033603165251855960,
)


def _add(a: Sequence[int], b: Sequence[int]) -> tuple[int, int, int, int]:
    e, f = (a[1] - a[0]) * (b[1] - b[0]) % P, (a[1] + a[0]) * (b[1] + b[0]) % P
    g, h = 2 * a[3] * b[3] * D % P, 2 * a[2] * b[2] % P
    w, x, y, z = f - e, h - g, h + g, f + e
    return w * x % P, y * z % P, x * y % P, w * z % P


def _times(factor: int, point: Sequence[int]) -> tuple[int, int, int, int]:
    found: tuple[int, int, int, int] = (0, 1, 1, 0)
    while factor:
        if factor & 1:
            found = _add(found, point)
        point = _add(point, point)
        factor >>= 1
    return found


def _point(data: bytes) -> tuple[int, int, int, int] | None:
    number = int.from_bytes(data, "little")
    y, sign = number & (2**255 - 1), number >> 255
    if y >= P:
        return None
    square = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(square, (P + 3) // 8, P)
    if (x * x - square) % P:
        x = x * I % P
    if (x * x - square) % P or (x == 0 and sign):
        return None
    if x & 1 != sign:
        x = P - x
    return x, y, 1, x * y % P


def _packed(point: Sequence[int]) -> bytes:
    inverse = pow(point[2], P - 2, P)
    x, y = point[0] * inverse % P, point[1] * inverse % P
    return (y | (x & 1) << 255).to_bytes(32, "little")


def ed25519_holds(key: bytes, signature: bytes, data: bytes) -> bool:
    """Tell whether a signature is that of a key under some bytes."""
    if len(key) != 32 or len(signature) != 64:
        return False
    point, s = _point(key), int.from_bytes(signature[32:], "little")
    if point is None or s >= Q:
        return False
    h = int.from_bytes(hashlib.sha512(signature[:32] + key + data).digest(), "little") % Q
    minus = (P - point[0], point[1], 1, P - point[3])
    base = (BASE[0], BASE[1], 1, BASE[0] * BASE[1] % P)
    return _packed(_add(_times(s, base), _times(h, minus))) == signature[:32]


# The tree (RFC 9162, sections 2.1.3.2 and 2.1.4.2).
def leaf_hash(data: bytes) -> bytes:
    """Give the hash of a leaf."""
    return hashlib.sha256(b"\0" + data).digest()


def _node(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\1" + left + right).digest()


def root_of(leaf: bytes, index: int, size: int, proof: Sequence[bytes]) -> bytes | None:
    """Give the root to which a proof leads from a leaf; nothing if it is no proof for that place."""
    last = size - 1
    if not 0 <= index <= last:
        return None
    for step in proof:
        if last == 0:
            return None
        if index & 1 or index == last:
            leaf = _node(step, leaf)
            while not index & 1 and index:
                index, last = index >> 1, last >> 1
        else:
            leaf = _node(leaf, step)
        index, last = index >> 1, last >> 1
    return leaf if last == 0 else None


def consistent(older: int, newer: int, old_root: bytes, new_root: bytes, proof: Sequence[bytes]) -> bool:
    """Tell whether a proof shows that an older tree is the beginning of a newer one."""
    if older == newer:
        return old_root == new_root and not proof
    if not 0 < older < newer:
        return False
    steps = [old_root, *proof] if older & (older - 1) == 0 else list(proof)
    if not steps:
        return False
    place, last = older - 1, newer - 1
    while place & 1:
        place, last = place >> 1, last >> 1
    old = new = steps[0]
    for step in steps[1:]:
        if last == 0:
            return False
        if place & 1 or place == last:
            old, new = _node(step, old), _node(step, new)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            new = _node(new, step)
        place, last = place >> 1, last >> 1
    return last == 0 and old == old_root and new == new_root


# Statements (RFC 8785): numbers as ECMAScript writes them, names in order, nothing between.
def _number(text: str) -> str:
    value = float(text)
    if value == 0:
        return "0"
    digits, _, power = repr(abs(value)).partition("e")
    whole, _, part = digits.partition(".")
    lead = len(whole + part) - len((whole + part).lstrip("0"))
    point, digits = len(whole) + int(power or 0) - lead, (whole + part).strip("0")
    sign, count = "-" if value < 0 else "", len(digits)
    if count <= point <= 21:
        return sign + digits + "0" * (point - count)
    if 0 < point <= 21:
        return sign + digits[:point] + "." + digits[point:]
    if -6 < point <= 0:
        return sign + "0." + "0" * -point + digits
    mantissa = digits[0] + ("." + digits[1:] if count > 1 else "")
    return "{}{}e{}{}".format(sign, mantissa, "+" if point > 0 else "-", abs(point - 1))


class _Number(str):
    """A number by its text, so that none of its digits are lost."""

    __slots__ = ()


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(dict(pairs)) != len(pairs):
        raise RefusedError("a statement holds the same name twice")
    return dict(pairs)


def parsed(line: bytes) -> Any:
    """Read JSON with its numbers as they are written."""
    return json.loads(line.decode(), object_pairs_hook=_pairs, parse_float=_Number, parse_int=_Number)


def canonical(value: Any) -> str:
    """Write a value in canonical form."""
    if isinstance(value, dict):
        order = sorted(value, key=lambda name: name.encode("utf-16-be"))
        return "{" + ",".join(canonical(str(name)) + ":" + canonical(value[name]) for name in order) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(canonical, value)) + "]"
    if isinstance(value, _Number):
        return _number(value)
    return json.dumps(value, ensure_ascii=False)


# The archive: stored files with fixed marks, so that it can be built again byte by byte.
def archive_of(files: Iterable[tuple[str, bytes]]) -> bytes:
    """Write a ZIP archive in its one form: nothing compressed, all dates 1 January 1980."""
    out, listed, count = bytearray(), bytearray(), 0
    for name, data in files:
        raw = name.encode("ascii")
        marks = struct.pack("<HHHHHIIIHH", 20, 0, 0, 0, 0x21, zlib.crc32(data), len(data), len(data), len(raw), 0)
        listed += b"PK\1\2" + struct.pack("<H", 20 | 3 << 8) + marks
        listed += struct.pack("<HHHII", 0, 0, 0, 0o100644 << 16, len(out)) + raw
        out += b"PK\3\4" + marks + raw + data
        count += 1
    end = struct.pack("<HHHHIIH", 0, 0, count, count, len(listed), len(out), 0)
    return bytes(out + listed + b"PK\5\6" + end)


def files_of(archive: bytes) -> dict[str, bytes]:
    """Read an archive; whatever is not exactly as it was made is refused."""
    files: dict[str, bytes] = {}
    at = 0
    while archive[at : at + 4] == b"PK\3\4":
        if len(archive) < at + 30:
            raise RefusedError("the archive is cut off")
        size, length = (
            struct.unpack("<I", archive[at + 22 : at + 26])[0],
            struct.unpack("<H", archive[at + 26 : at + 28])[0],
        )
        name = archive[at + 30 : at + 30 + length].decode("latin-1")
        if name not in {*NEEDED, PDF} or name in files:
            raise RefusedError(
                f"the archive holds a file that no package of this form has, or one twice: {quoted(name)}"
            )
        files[name] = archive[at + 30 + length : at + 30 + length + size]
        at += 30 + length + size
    if not files or archive_of(files.items()) != archive:
        raise RefusedError(
            "the archive is not byte by byte as it was made: something in it, or in its list of files, was changed"
        )
    return files


# Notes: a text, an empty line, signatures.
class Head(NamedTuple):
    """A head: name of the book, number of entries, root."""

    origin: str
    size: int
    root: bytes
    body: bytes
    signatures: list[tuple[str, bytes]]


def _note(data: bytes) -> tuple[bytes, list[tuple[str, bytes]]]:
    text = data.decode().replace("\r\n", "\n")
    body, mark, rest = text.partition("\n\n")
    signatures = []
    for line in rest.split("\n"):
        found = re.fullmatch("\u2014 ([^ +]+) ([A-Za-z0-9+/=]+)", line.strip())
        if line.strip() and not found:
            raise RefusedError("a line of a signature cannot be read: " + quoted(line))
        if found:
            signatures.append((found[1], base64.b64decode(found[2], validate=True)))
    if not mark:
        raise RefusedError("a head or a list is cut off")
    return (body + "\n").encode(), signatures


def head_of(data: bytes) -> Head:
    """Read a head: three lines and signatures, or all of it in one line."""
    found = heads_of(data)
    if len(found) != 1:
        raise RefusedError(f"one head was expected, and there are {len(found)}")
    return found[0]


def heads_of(data: bytes) -> list[Head]:
    """Read all heads of a file, one after the other, each as a note or in one line; blank lines do not count."""
    found: list[list[str]] = []
    for line in data.decode("utf-8-sig").replace("\r\n", "\n").split("\n"):
        words = line.split()
        if not words:
            continue
        if len(words) >= 3 and words[0] != "\u2014" and re.fullmatch("[0-9]+", words[1]):
            marks = [" ".join(words[at : at + 3]) for at in range(3, len(words), 3)]
            found.append([*words[:3], *marks])
        elif found and (len(found[-1]) < 3 or words[0] == "\u2014"):
            found[-1].append(line.strip())
        else:
            found.append([line.strip()])
    if not found:
        raise RefusedError("a head has three lines, and here is none")
    return [_head(lines) for lines in found]


def _head(lines: list[str]) -> Head:
    if len(lines) < 3 or not re.fullmatch("0|[1-9][0-9]{0,17}", lines[1]):
        raise RefusedError("a head has three lines: name of the book, number of entries, root")
    if not re.fullmatch("[A-Za-z0-9/._-]{1,40}", lines[0]):
        raise RefusedError("no book has such a name: " + quoted(lines[0]))
    body, signatures = _note("\n".join([*lines[:3], "", *lines[3:], ""]).encode())
    root = base64.b64decode(lines[2], validate=True)
    if len(root) != 32:
        raise RefusedError("the third line of a head is no root: 32 bytes in Base64 are expected")
    return Head(lines[0], int(lines[1]), root, body, signatures)


def signed_by(origin: str, body: bytes, signatures: Iterable[tuple[str, bytes]], keys: Iterable[bytes]) -> bytes | None:
    """Give the key that signed a note; nothing if none of them did."""
    for name, raw in signatures:
        for key in keys:
            hint = hashlib.sha256(origin.encode() + b"\n\1" + key).digest()[:4]
            if name == origin and raw[:4] == hint and ed25519_holds(key, raw[4:], body):
                return key
    return None


# The jobs as a table, straight from the statements: no number is computed or rounded.
def jobs_csv(statements: Iterable[Mapping[str, Any]]) -> bytes:
    """Write the jobs of some statements as CSV."""
    rows = []
    for said in statements:
        for job in said.get("rows", {}).get("job", []):
            own = {"recorded_us": said["at_us"], "recorded_by": said["author"], "why": said["why"]}
            rows.append({**job, **own})
    names = sorted({name for row in rows for name in row} - {"entry"})
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["entry", *names])
    for row in rows:
        writer.writerow([_cell(row.get(name)) for name in ("entry", *names)])
    return out.getvalue().encode()


def _cell(value: Any) -> str:
    if value is None or value is True or value is False:
        return {None: "", True: "true", False: "false"}[value]
    text = str(value)
    # A text that a spreadsheet would take for a formula is shown as a text.
    return "'" + text if not isinstance(value, _Number) and text[:1] in {"=", "+", "-", "@", "\t", "\r"} else text


# A key hands over to the next: the older one signs the head before the entry that names the newer one, and the newer one.
_HANDED = re.compile(r"\[handed over by the key before it: ([A-Za-z0-9+/]{86}==)\]")


def hand_over(origin: str, size: int, root: bytes, key: bytes) -> bytes:
    """Give what a key signs when it hands over to another, which the entry behind a head of some entries names."""
    head = f"{origin}\n{size}\n{base64.b64encode(root).decode()}\n"
    return f"driftbook hand-over/1\n{head}{key.hex()}\n".encode()


def hand_over_words(signature: bytes) -> str:
    """Write a hand-over as it stands behind the reason of the entry that names the new key."""
    return f"[handed over by the key before it: {base64.b64encode(signature).decode()}]"


def handed_over(why: str, by: bytes, text: bytes) -> bool:
    """Tell whether the words of an entry hold the signature of a key under a hand-over; the last one counts."""
    found = _HANDED.findall(why)
    return bool(found) and ed25519_holds(by, base64.b64decode(found[-1]), text)


def check(archive: bytes, kept: Sequence[Head] = (), key: bytes | None = None) -> Checked:
    """Check a package, with heads and a key from elsewhere; raises at the first thing that does not fit."""
    files = files_of(archive)
    lacking = set(NEEDED) - set(files)
    if lacking:
        raise RefusedError("missing: " + ", ".join(sorted(lacking)))
    body, signatures = _note(files[MANIFEST])
    form, text, _ = body.decode().split("\n")
    listed = json.loads(text)
    digests = {name: hashlib.sha256(data).hexdigest() for name, data in files.items() if name != MANIFEST}
    if form != FORMAT:
        raise RefusedError(f"it is of another form: {quoted(form)}, not {FORMAT!r}")
    if listed["files"] != digests:
        other = [name for name, digest in digests.items() if listed["files"].get(name) != digest]
        raise RefusedError("the files are not those that the list names: " + (", ".join(other) or "it names more"))
    head = head_of(files[HEAD])
    keys = _keys(files[KEYS])
    force = in_force(keys, head.size)
    signed = _signed("the head", head.origin, head.body, head.signatures, keys, force)
    vouched = _signed("the list of files", head.origin, body, signatures, keys, force)
    holds = [f"Files: {len(files)}, each as the list says" + (", and the list is signed." if vouched else ".")]
    if key is not None and (force is None or not signed or force.digits != key):
        raise RefusedError(_not_that_key(key, keys, force if signed else None))
    holds.append(_head_holds(head, force if signed else None, files[OLDER]))
    holds += ["That is the key that you gave."] if key is not None else []
    holds += _kept_hold(head, kept, keys, files[OLDER])
    statements = _statements(files, head, keys)
    numbers = [int(said["number"]) for said in statements]
    if numbers != listed["entries"]:
        raise RefusedError("the statements are not those that the list names")
    holds.append(
        f"Entries: {len(numbers)} of the {head.size} are here, each word for word in its place, and every entry that one of "
        "them names."
    )
    holds += _of_machine(statements, listed)
    holds += _signoffs(statements, files[STATEMENTS].splitlines())
    if files[JOBS] != jobs_csv(statements):
        raise RefusedError(JOBS + " does not say what the statements say")
    holds.append(f"{JOBS} says what the entries say.")
    unsigned = [] if signed else [_unsigned_head(kept, numbers)]
    if not vouched:
        rest = sorted(set(files) - {HEAD, MANIFEST, STATEMENTS, PROOFS, KEYS, JOBS, OLDER})
        unsigned.append(
            f"NOT SIGNED: the list of files. Nothing vouches for {', '.join(rest)}, nor that all entries are here that "
            "were put in: anybody can have exchanged those files, or left entries out."
        )
    handed = _handed(head, keys, statements, files[OLDER])
    unvouched, again = ([], []) if key is not None or not signed else _unvouched(kept, keys, handed)
    holds += [
        f"Key of entry {one.entry}: the key before it signed that it hands over." for one in keys if one.entry in handed
    ]
    left = [
        _left_out(head.size - len(numbers)) if vouched else "",
        _key_open(head, kept, keys) if signed and key is None and not unvouched else "",
        *again,
    ]
    known = key is not None or (bool(kept) and not unvouched)
    return Checked(holds, unsigned, force, [line for line in left if line], known, unvouched)


def _handed(head: Head, keys: list[Key], statements: list[dict[str, Any]], older: bytes) -> set[int]:
    """Give the entries whose key was handed over by the key before it, whose signature stands in the entry's own words."""
    roots = {one["size"]: bytes.fromhex(one["root"]) for one in map(json.loads, older.splitlines())}
    words = {int(said["number"]): said["why"] for said in statements if said.get("rows", {}).get("book_key")}
    return {
        new.entry
        for old, new in zip(keys, keys[1:])  # noqa: B905, RUF007 - Python 3.9 has neither
        if new.entry - 1 in roots
        and handed_over(
            words[new.entry], old.digits, hand_over(head.origin, new.entry - 1, roots[new.entry - 1], new.digits)
        )
    }


def followed(
    keys: Sequence[Key], handed: Iterable[int], signed: Iterable[int], upto: int
) -> tuple[Key | None, list[Key]]:
    """Follow the key in force at a kept head: gives the first key to which nothing leads, and those with which a known one came back.

    A known key is replaced by the one to which it hands over, and by no other: where it is named again behind such
    a one, and signed since (``signed``), whoever has it vouches for all of it.  One that handed over does not come back.
    """
    known, broken = in_force(keys, upto), None
    again: list[Key] = []
    for one in keys:
        if one.entry <= upto:
            continue
        if broken is None and one.entry in handed:
            known = one
        elif known is not None and one.digits == known.digits and one.entry in signed:
            broken = None
            again.append(one)
        elif broken is None:
            broken = one
    return broken, again


def _unvouched(kept: Sequence[Head], keys: list[Key], handed: set[int]) -> tuple[list[str], list[str]]:
    """Say from which key on nothing leads from the heads that were kept to the key that signed, or which key came back."""
    upto = max((one.size for one in kept), default=None)
    if upto is None or not keys:
        return [], []
    # The last key signed the head; one that handed over signed that.
    signed = {old.entry for old, new in zip(keys, keys[1:]) if new.entry in handed} | {keys[-1].entry}  # noqa: B905, RUF007
    broken, again = followed(keys, handed, signed, upto)
    if broken is None:
        return [], [_again(one, keys, upto) for one in again]
    before = in_force(keys, broken.entry - 1)
    said = (
        "no key is named before it"
        if before is None
        else f"key {before.digits.hex()}, which it replaces, did not sign that it hands over"
    )
    told = (
        f"NOT VOUCHED FOR: key {broken.digits.hex()}, which entry {broken.entry} names, and with it all that is said here of "
        f"entries after {upto}, the choice of entries, and the files for reading. The newest head that you kept is from before "
        f"it, and {said}: {_who_can(keys, handed, broken)}. Ask whoever answers for the book for its key, by another way than this package "
        "came (--key), or whoever keeps heads for one from after that entry (--head)."
    )
    return [told], []


def _who_can(keys: list[Key], handed: set[int], broken: Key) -> str:
    """Say who can have made what no kept head vouches for: anybody, or whoever has a copy of a key that was replaced."""
    last = len(keys) - 1
    while keys[last].entry in handed:
        last -= 1
    for old in keys:
        if old.entry < broken.entry and old.digits == keys[last].digits:
            return (
                f"whoever has a copy of key {old.digits.hex()}, which entry {old.entry} names and another replaced, can have made "
                "these entries, and signed them. It looks the same where the book took that key again"
            )
    return (
        "anybody can have made a key and these entries, and signed them. It looks the same where the book's key was lost and "
        "another took its place"
    )


def _again(key: Key, keys: list[Key], upto: int) -> str:
    """Say what stays open where a known key came back."""
    other = in_force(keys, key.entry - 1) or key
    return (
        f"NOT SHOWN: that it was the book which took key {key.digits.hex()} again with entry {key.entry}. The heads that you "
        f"kept lead to that key, and it signed since; key {other.digits.hex()}, which entry {other.entry} names, signed before, "
        "without its hand-over. If it was replaced because somebody else may have it, they can have made what is said here of "
        f"entries after {upto}. A head from after entry {other.entry} that you kept shows that (--head), or the key of today as "
        "you know it from elsewhere (--key)."
    )


def _keys(data: bytes) -> list[Key]:
    pairs = (line.split() for line in data.decode().splitlines() if line)
    return [Key(int(entry), bytes.fromhex(digits)) for entry, digits in pairs]


def in_force(keys: Iterable[Key], size: int) -> Key | None:
    """Give the key that signs a head of some entries: the one that was named last among them."""
    named = [one for one in keys if one.entry <= size]
    return max(named) if named else None


def _signed(
    what: str, origin: str, body: bytes, signatures: list[tuple[str, bytes]], keys: list[Key], force: Key | None
) -> bool:
    """Tell whether the key in force signed; a signature of anybody else, or of a key that was replaced, is refused."""
    if not signatures:
        return False
    if force is not None and signed_by(origin, body, signatures, [force.digits]):
        return True
    other = signed_by(origin, body, signatures, [one.digits for one in keys])
    if other is None or force is None:
        raise RefusedError(f"{what} bears a signature that is not that of the book's key")
    raise RefusedError(
        f"{what} is signed by key {other.hex()}, which was not in force: from entry {force.entry} on the book's key is "
        + force.digits.hex()
    )


def _not_that_key(key: bytes, keys: list[Key], signer: Key | None) -> str:
    said = "the head is not signed by the key that you gave, but by " + (signer.digits.hex() if signer else "none")
    if signer is not None and any(one.digits == key for one in keys):
        said += (
            f", which by this package took its place with entry {signer.entry}. Whether that key is the book's, ask by another "
            "way than the package came"
        )
    return said


def _unsigned_head(kept: Sequence[Head], numbers: list[int]) -> str:
    said = "NOT SIGNED: the head. "
    if not kept:
        return said + "Nothing vouches for any entry here: anybody can have made them."
    upto = max(one.size for one in kept)
    later = sum(number > upto for number in numbers)
    if not later:
        return said + "The head that you kept vouches for the entries here."
    return (
        said
        + f"The head that you kept vouches for the entries up to {upto}, and nothing for the {later} later ones here."
    )


def _left_out(count: int) -> str:
    """Say what a choice of entries does not show of the others."""
    if not count:
        return ""
    return (
        f"NOT SHOWN: whether one of the {count} entries that are not here voids or amends a job, or speaks of this machine "
        "otherwise. Whoever holds the key can leave any out: 'driftbook verify --package FILE' on the book names them."
    )


def _key_open(head: Head, kept: Sequence[Head], keys: list[Key]) -> str:
    """Say from which entry on nothing but the package itself says that its key was not replaced."""
    if not kept:
        return (
            "NOT SHOWN: that the key that signed is the book's. Anybody can make this whole package, or entries behind those of "
            "a true one, with a key of their own."
        )
    covered = max(one.size for one in kept)
    before = in_force(keys, covered)
    # Up to a head with its signature no other key was in force; one without shows only that its entries name this one.
    since = max([one.size for one in kept if _own(one)] + ([before.entry] if before else []), default=0)
    if since >= head.size:
        return ""
    made = "the choice of entries and the files for reading"
    if covered < head.size:
        made = f"the choice of entries, the files for reading, and all that is said of entries after {covered}"
    return (
        f"NOT SHOWN: that, but for those here, no other key was named after entry {since}. Whoever has the key of then, also if "
        f"the book has replaced it since, or one to which it handed over, can have left that out, and made {made}. A head that "
        "you kept from after that entry, with its signature, shows that (--head), or the key of today (--key)."
    )


def _head_holds(head: Head, signer: Key | None, older: bytes) -> str:
    said = f"Head: {head.size} entries of book {head.origin}, "
    said += f"signed by its key of entry {signer.entry}: {signer.digits.hex()}." if signer else "NOT SIGNED."
    for line in older.splitlines():
        one = json.loads(line)
        if not consistent(
            one["size"], head.size, bytes.fromhex(one["root"]), head.root, [bytes.fromhex(h) for h in one["proof"]]
        ):
            raise RefusedError(f"the proof from the older head of {one['size']} entries does not hold")
    return said


def _own(head: Head) -> list[tuple[str, bytes]]:
    """Give the signatures of a head under the name of its book; others are witnesses', whose keys are not known here."""
    return [one for one in head.signatures if one[0] == head.origin]


def _kept_hold(head: Head, kept: Sequence[Head], keys: list[Key], older: bytes) -> list[str]:
    """Hold heads that were kept elsewhere against a package: origin, size, root, and the key by which each is signed."""
    known = {
        0: hashlib.sha256().digest(),
        head.size: head.root,
        **{one["size"]: bytes.fromhex(one["root"]) for one in map(json.loads, older.splitlines())},
    }
    signed = []
    for one in sorted(kept, key=lambda one: one.size, reverse=True):
        if one.origin != head.origin:
            raise RefusedError("the head that you kept is of another book: " + one.origin)
        if one.size > head.size:
            raise RefusedError(
                f"the head that you kept covers {one.size} entries, this package only {head.size}: it is older than that "
                "head, or made to look so, and shows nothing of what came between. Ask for a newer one"
            )
        if known.get(one.size, one.root) != one.root:
            raise RefusedError(
                f"the head that you kept has another root: something in the first {one.size} entries was changed"
            )
        if _kept_signed(one, keys):
            signed.append(one.size)
    lacking = sorted({one.size for one in kept} - set(known))
    if lacking:
        raise RefusedError(
            f"this package holds no proof from {_sizes(lacking)} entries on: ask for one that is made with your file of "
            "heads (driftbook history TAG --package OUT.zip --kept FILE)"
        )
    sizes = sorted({one.size for one in kept})
    if not sizes:
        return []
    said = f"Heads that you kept: {len(sizes)} (of {_sizes(sizes)} entries). The book begins as they say: what is here of entries "
    said += f"up to {sizes[-1]} is as it was then. "
    said += (
        f"That of {max(signed)} entries is signed by the key that is named here for it: no other had replaced it by then."
        if signed
        else "None has its last line, the signature, so they do not show whether another key was named by then."
    )
    return [said]


def _sizes(sizes: Sequence[int]) -> str:
    """Name some sizes, in order; of many the first and the last."""
    some = [str(one) for one in sizes]
    return ", ".join(some if len(some) < 9 else [*some[:3], "\u2026", *some[-3:]])


def _kept_signed(kept: Head, keys: list[Key]) -> bool:
    """Tell whether a kept head is signed; a signature that is not that of the key in force at its size is refused."""
    own, force = _own(kept), in_force(keys, kept.size)
    for one in own:
        if force is not None and signed_by(kept.origin, kept.body, [one], [force.digits]):
            continue
        other = signed_by(kept.origin, kept.body, [one], [key.digits for key in keys])
        said = f"the head that you kept ({kept.size} entries) is signed by "
        if other is None:
            raise RefusedError(
                said
                + "no key that this package names: the entry that names its key is left out here, and with it perhaps "
                "others; or that head was changed"
            )
        raise RefusedError(
            f"{said}key {other.hex()}, which was not in force there by what this package names"
            + (f": that was {force.digits.hex()}, since entry {force.entry}" if force else "")
        )
    return bool(own)


def _statements(files: Mapping[str, bytes], head: Head, keys: list[Key]) -> list[dict[str, Any]]:
    lines, proofs = files[STATEMENTS].split(b"\n"), files[PROOFS].split(b"\n")
    if lines.pop() or proofs.pop() or len(lines) != len(proofs):
        raise RefusedError("there is not one proof for each statement")
    found: list[dict[str, Any]] = []
    told: list[Key] = []
    for line, raw in zip(lines, proofs):  # noqa: B905 - Python 3.9 has no strict
        said, proof = parsed(line), json.loads(raw)
        number = int(said["number"])
        if found and number <= int(found[-1]["number"]):
            raise RefusedError(f"entry {number} is not in its place: the entries are not in order, each once")
        if canonical(said).encode() != line:
            raise RefusedError(f"entry {number} is not in canonical form")
        if (
            proof["entry"] != number
            or root_of(leaf_hash(line), number - 1, head.size, [bytes.fromhex(h) for h in proof["path"]]) != head.root
        ):
            raise RefusedError(
                f"entry {number} is not in the tree of the head: it was changed, or it is of another book"
            )
        found.append(said)
        named = said.get("rows", {}).get("book_key", [])
        told += [Key(number, bytes.fromhex(row["public_key"])) for row in named]
        if len(named) > 1:
            raise RefusedError(f"entry {number} names more than one key")
        if any(row["origin"] != head.origin for row in named):
            raise RefusedError(f"entry {number} names a key of a book of another name than the head's")
    if told != keys:
        raise RefusedError("the keys are not those that the entries name")
    here = {int(said["number"]) for said in found}
    for said in found:
        for name, number in _names(said):
            if number not in here:
                raise RefusedError(f"entry {said['number']} names entry {number} ({name}), which was left out here")
    return found


def _names(said: Mapping[str, Any]) -> list[tuple[str, int]]:
    """Give the entries that an entry names, each with the name of the place; a site is named by a number of its own."""
    lines: list[dict[str, Any]] = [{name: said.get(name) for name in ("subject", "supersedes", "batch")}]
    if said.get("kind") == "site set":
        del lines[0]["subject"]
    lines += [row for rows in said.get("rows", {}).values() for row in rows]
    return [(name, int(row[name])) for row in lines for name in NAMING if row.get(name) is not None]


def _of_machine(statements: list[dict[str, Any]], listed: Mapping[str, Any]) -> list[str]:
    """Hold the machine that the list names against the entries."""
    rows = [
        row
        for said in statements
        for table in ("asset", "asset_version")
        for row in said.get("rows", {}).get(table, [])
    ]
    tags = {row["tag"] for row in rows if int(row.get("asset_id", row.get("id", 0))) == listed["asset"]}
    if listed["tag"] not in tags:
        raise RefusedError(
            f"the list names machine {quoted(listed['tag'])} of entry {quoted(listed['asset'])}, and no entry here does"
        )
    return [f"Machine: {quoted(listed['tag'])}, which entry {int(listed['asset'])} brought into the book."]


def _signoffs(statements: list[dict[str, Any]], lines: list[bytes]) -> list[str]:
    leaves = {int(said["number"]): leaf_hash(line).hex() for said, line in zip(statements, lines)}  # noqa: B905
    by_number = {int(said["number"]): said for said in statements}
    count, doubtful = 0, []
    for said in statements:
        for row in said.get("rows", {}).get("signoff", []):
            number, signed, name = int(said["number"]), int(row["signed_entry"]), said["author"]
            if leaves.get(signed) != row["signed_leaf"] or name.casefold() in {
                one.casefold() for one in _who(by_number[signed])
            }:
                raise RefusedError(f"the sign-off in entry {number} does not fit what it signs")
            count += 1
            doubtful += [
                f"TO LOOK AT: the sign-off in entry {number} is by {quoted(name)}, and in entry {version}, a version "
                f"of what is signed, {quoted(other)} recorded or did the work: the same name, or nearly."
                for version in _versions(by_number, signed)
                for other in sorted(_who(by_number[version]))
                if _nearly(other, name)
            ]
    if not count:
        return []
    said_of = (
        f"Sign-offs: {count}. Each is bound word for word to the version that it signs, and its name is none of those that "
        "recorded that version or did its work. Names are compared as they are written: not people, nor letters that look alike."
    )
    return [said_of, *doubtful]


def _who(said: Mapping[str, Any]) -> set[str]:
    """Give the names of who recorded an entry, and of who did the work of its job."""
    jobs = said.get("rows", {}).get("job", [])
    return {said["author"], *(name for job in jobs for name in json.loads(job.get("people") or "[]"))}


def _versions(by_number: Mapping[int, Mapping[str, Any]], number: int) -> list[int]:
    """Give a version of a job and those before it, as far as they are here."""
    found: list[int] = []
    while number in by_number and number not in found:
        found.append(number)
        jobs = by_number[number].get("rows", {}).get("job", [])
        number = int(jobs[0].get("supersedes") or 0) if jobs else 0
    return found


def _nearly(one: str, other: str) -> bool:
    """Tell whether two names differ only by what is not seen, capitals, signs, blanks or the order of their words."""
    first, second = _words(one), _words(other)
    return bool(first) and ("".join(first) == "".join(second) or sorted(first) == sorted(second))


def _words(name: str) -> list[str]:
    letters = unicodedata.normalize("NFKC", name).replace("\u2019", "").replace("'", "").casefold()
    seen = "".join(letter for letter in letters if letter.isspace() or unicodedata.category(letter) not in {"Cf", "Cc"})
    return re.sub(r"[^\w\s]|_", " ", seen).split()


def main(arguments: Sequence[str] | None = None) -> int:
    """Check the package that is named."""
    parser = argparse.ArgumentParser(description="Check a package with the history of one machine.")
    parser.add_argument("package", help="the package (ZIP)")
    parser.add_argument(
        "--head", metavar="FILE", help="heads that you kept elsewhere, one or many; - reads them from what is typed"
    )
    parser.add_argument(
        "--key", metavar="HEX", help="the public key of the book as it is today, as you know it from elsewhere"
    )
    given = parser.parse_args(arguments)
    try:
        kept, key = _kept(given.head), _key(given.key)
        archive = _read(given.package)
    except (OSError, ValueError, RefusedError) as fault:  # what the auditor brought: no word of the package
        _tell(f"Cannot be read: {fault}")
        return 2
    try:
        found = check(archive, kept, key)
    except RefusedError as fault:
        _tell(f"DOES NOT FIT: {fault}.")
        return 1
    except Exception as fault:  # noqa: BLE001 - a package may hold anything, and none of it ends in a traceback
        _tell(f"DOES NOT FIT: something in it cannot be read ({type(fault).__name__}).")
        return 1
    for line in (*found.holds, *found.unsigned, *found.unvouched, *found.open):
        _tell(line)
    return _ending(found)


def _tell(line: str) -> None:
    """Print a line; what no terminal shows, or the output cannot take, is written out."""
    coding = sys.stdout.encoding or "ascii"
    seen = "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in line)
    print(seen.encode(coding, "backslashreplace").decode(coding))


def _ending(found: Checked) -> int:
    """Say in the last line what all of it comes to, and give the exit status."""
    if found.unsigned and found.key is not None:
        _tell(
            f"NOT VOUCHED FOR: the book has a key (entry {found.key.entry}: {found.key.digits.hex()}), and it did not sign what "
            "is told above as not signed. Ask for a package that is signed."
        )
        return 1
    if found.unsigned:
        _tell(
            "It fits in itself, and the book names no key: nothing is signed. So does a package from which somebody took the "
            "key with all signatures. Ask whether the book has one."
        )
        return 3
    if found.unvouched:
        _tell(
            "It fits in itself, and the heads that you kept do not vouch for the key that signed it: do not take it for the "
            "book's before you know from elsewhere that this key signs today."
        )
        return 3
    _tell(
        "Everything fits." + (" What is told above as NOT SHOWN stays open." if found.open else "")
        if found.known
        else "It fits in itself. Nothing from elsewhere speaks for its key: give a head that you kept (--head), or the key of "
        "today, asked for by another way than the package came (--key)."
    )
    return 0


def _kept(name: str | None) -> list[Head]:
    if not name:
        return []
    try:
        return heads_of(sys.stdin.buffer.read() if name == "-" else _read(name))
    except (RefusedError, ValueError) as fault:
        raise RefusedError(f"{name} holds something that is no head: {fault}") from fault


def _key(digits: str | None) -> bytes | None:
    if not digits:
        return None
    if not re.fullmatch("[0-9A-Fa-f]{64}", digits.strip()):
        raise RefusedError(f"{quoted(digits)} is no public key: 64 hexadecimal digits are expected")
    return bytes.fromhex(digits.strip())


def _read(name: str) -> bytes:
    return Path(name).read_bytes()


if __name__ == "__main__":
    sys.exit(main())
