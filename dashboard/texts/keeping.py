"""Texts of what keeps a book: the key file and whether it is the book's, backups, books that come to another place."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    "key.file.right": "The key file {path} is the key of this book: new heads are signed with it.",
    "key.file.wrong": "{fault} Heads of what is written from here are kept without a signature. What signs is the book's own key file in that place, or the one that "
    'DRIFTBOOK_KEY names; a key that is lost is replaced by: driftbook key --set --why "…"',
    "key.file.other": "Keep what lies there: it may be the key of another book.",
    "key.file.later": "Whether {path} is its key is told afterwards by: driftbook key",
    "backup.key.right": "The key file is not in it: whoever holds a backup must not be able to sign in the book's name. {path} is the key of this book: "
    "keep a copy of it in another place, under lock.",
    "backup.key.wrong": "The key file is not in it: whoever holds a backup must not be able to sign in the book's name. {fault} Keep a copy of the file that is the key of "
    "this book in another place, under lock.",
    "move.key.copied": "The key of the book was copied from {held} to {wanted}.",
    "move.key.left": "{fault} It was left as it is. The key of the book is {held}: copy it to a place of its own, and name that with DRIFTBOOK_KEY; until then "
    "heads of the book in its new place are kept without a signature.",
    "move.key.not_copied": "The key of the book, {held}, cannot be copied to {wanted}: {why}. Copy it there; until then heads of the book in its new place are kept "
    "without a signature.",
    "move.grants": "Next, where the server works with a role of its own: it has no rights there yet. As the owner of the tables: "
    "driftbook grants --role NAME --apply --book {shown}",
    "upgrade.for_everybody": "Every user of this machine may read the book, and it holds hashes of passwords: versions before made it so. Nothing was changed. Unless it is meant so: "
    "chmod 600 {path} (a group that shares the book: 660), and the same for -wal and -shm beside it where they are there.",
    "grants.schema": "The tables lie in the schema {schema}, not in public. The role finds them where its search_path begins with that name: "
    "its settings say so, or the end of its address: ?options=-csearch_path%3D{typed}",
}
