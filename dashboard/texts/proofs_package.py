"""Texts of a package that is held against the book."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    "verify.package.refused": "{name} DOES NOT FIT: {why}",
    "verify.package.seen": "{name}: {n} entries of {tag}, up to the head of {size} entries.",
    "verify.package.root": "It DOES NOT FIT: the first {size} entries of this book give another root than the package's head.",
    "verify.package.other": "  entry {entry} says otherwise in the package than in the book, or is not in the book",
    "verify.package.strange": "It HOLDS {n} entries of the book that are not of this machine, nor such as it rests on:",
    "verify.package.replaced": "Its list is signed by a key that entry {entry} replaced: whoever had that key could have made its PDF, README and verify.py since. The entries were held against the "
    "book above; make a new package for the rest.",
    "verify.package.left_out": "It LEAVES OUT {n} entries that the book has of this machine, or on which they rest:",
    "verify.package.entry": "  entry {entry}: {kind}, by {author}",
    "verify.package.other_version": "Another version of driftbook made it: the verify.py in it is not the one of this version. Older versions put less into a package, of records that were "
    "merged above all, so that may be all that is missing; nothing in it tells whether it is. Have a new one made: driftbook history {tag} --package FILE",
    "verify.package.fits": "The package leaves nothing out that this book has of the machine up to that head, and says nothing otherwise.",
    "verify.package.newer": "The book has {n} entries of this machine, or on which it rests, after the head of {size} entries; a new package has them.",
}
