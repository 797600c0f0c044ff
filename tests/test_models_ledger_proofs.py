"""The tree and its proofs, against published vectors and an independent library."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pymerkle
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.ledger.package_verifier import consistent, root_of
from models.ledger.proofs import Tree
from models.ledger.tree import EMPTY_ROOT, Frontier, frontier_of, leaf_hash, node_hash

# Vectors of the trees of RFC 6962 and RFC 9162, and SHA-256 examples of FIPS 180-4; sources in the file.
PUBLISHED: dict[str, Any] = json.loads((Path(__file__).parent / "published" / "hash_merkle.json").read_text())
LEAVES = [leaf_hash(bytes.fromhex(text)) for text in PUBLISHED["leaves_hex"]]


def hexed(proof: list[bytes]) -> list[str]:
    return [step.hex() for step in proof]


def test_hashes_are_the_published_ones() -> None:
    for text, digest in PUBLISHED["sha256"].items():
        assert hashlib.sha256(text.encode()).hexdigest() == digest
    assert hashlib.sha256(b"a" * 1_000_000).hexdigest() == PUBLISHED["sha256_million_a"]
    assert leaf_hash(b"L123456").hex() == PUBLISHED["leaf_L123456"]
    assert node_hash(b"N123", b"N456").hex() == PUBLISHED["node_N123_N456"]


def test_roots_are_the_published_ones() -> None:
    tree, growing = Tree(LEAVES), Frontier()
    assert growing.root() == EMPTY_ROOT
    for size, root in enumerate(PUBLISHED["roots"]):
        assert tree.root(size).hex() == root
        assert Tree(LEAVES[:size]).root().hex() == root
        assert growing.root().hex() == root
        if size < len(LEAVES):
            growing.append(LEAVES[size])


@pytest.mark.parametrize("case", PUBLISHED["inclusion"])
def test_inclusion_is_the_published_one(case: dict[str, Any]) -> None:
    tree, index, size = Tree(LEAVES), case["leaf_index"], case["tree_size"]
    proof = tree.inclusion(index, size)
    assert hexed(proof) == case["proof"]
    assert root_of(LEAVES[index], index, size, proof) == tree.root(size)


@pytest.mark.parametrize("case", PUBLISHED["consistency"])
def test_consistency_is_the_published_one(case: dict[str, Any]) -> None:
    tree, older, newer = Tree(LEAVES), case["size1"], case["size2"]
    proof = tree.consistency(older, newer)
    assert hexed(proof) == case["proof"]
    assert consistent(older, newer, tree.root(older), tree.root(newer), proof)


def twin_of(count: int) -> tuple[Tree, pymerkle.InmemoryTree]:
    """Give the same tree by us and by the library pymerkle (an implementation of its own of RFC 9162)."""
    data = [f"entry {number}".encode() for number in range(count)]
    twin = pymerkle.InmemoryTree(algorithm="sha256")
    for one in data:
        twin.append_entry(one)
    return Tree(leaf_hash(one) for one in data), twin


def test_twin_has_the_same_roots_and_proofs() -> None:
    tree, twin = twin_of(41)
    for size in range(1, 42):
        assert tree.root(size) == twin.get_root(size)
        for index in range(size):
            ours, theirs = tree.inclusion(index, size), twin.prove_inclusion(index + 1, size)
            # The library lists the leaf itself too, and goes from left to right.
            assert sorted([*ours, leaf_hash(f"entry {index}".encode())]) == sorted(theirs.path)
            pymerkle.verify_inclusion(leaf_hash(f"entry {index}".encode()), tree.root(size), theirs)


def by_the_words(older: int, part: list[int], *, whole: bool) -> list[bytes]:
    """Give SUBPROOF as RFC 9162, section 2.1.4.1 defines it, without anything kept."""
    if older == len(part):
        return [] if whole else [over(part)]
    split = 1
    while split * 2 < len(part):
        split *= 2
    if older <= split:
        return [*by_the_words(older, part[:split], whole=whole), over(part[split:])]
    return [*by_the_words(older - split, part[split:], whole=False), over(part[:split])]


def over(part: list[int]) -> bytes:
    if len(part) == 1:
        return leaf_hash(f"entry {part[0]}".encode())
    split = 1
    while split * 2 < len(part):
        split *= 2
    return node_hash(over(part[:split]), over(part[split:]))


def test_twin_agrees_on_consistency() -> None:
    tree, twin = twin_of(33)
    for newer in range(1, 34):
        for older in range(1, newer + 1):
            theirs = twin.prove_consistency(older, newer)
            pymerkle.verify_consistency(tree.root(older), tree.root(newer), theirs)
            ours = tree.consistency(older, newer)
            assert consistent(older, newer, tree.root(older), tree.root(newer), ours)
            # The library names the older tree's full subtrees one by one; the standard's own words give ours.
            assert ours == ([] if older == newer else by_the_words(older, list(range(newer)), whole=True))


@given(st.integers(1, 300), st.data())
def test_every_proof_holds_and_no_other_leaf_fits(count: int, data: st.DataObject) -> None:
    leaves = [leaf_hash(number.to_bytes(4, "big")) for number in range(count)]
    tree = Tree(leaves)
    size = data.draw(st.integers(1, count))
    index = data.draw(st.integers(0, size - 1))
    proof, root = tree.inclusion(index, size), tree.root(size)
    assert root_of(leaves[index], index, size, proof) == root
    assert len(proof) <= (size - 1).bit_length()
    assert root_of(leaf_hash(b"other"), index, size, proof) != root
    assert root_of(leaves[index], index, size, [*proof, leaf_hash(b"")]) != root
    for at in range(len(proof)):
        assert root_of(leaves[index], index, size, proof[:at] + proof[at + 1 :]) != root
        assert root_of(leaves[index], index, size, [*proof[:at], b"\0" * 32, *proof[at + 1 :]]) != root
    older = data.draw(st.integers(1, size))
    steps, old = tree.consistency(older, size), tree.root(older)
    assert consistent(older, size, old, root, steps)
    assert not consistent(older, size, leaf_hash(b"old"), root, steps)
    assert not consistent(older, size, old, leaf_hash(b"new"), steps)
    for at in range(len(steps)):
        assert not consistent(older, size, old, root, steps[:at] + steps[at + 1 :])


@given(st.lists(st.integers(0, 40), max_size=8))
def test_tree_grows_as_it_is_made_whole(parts: list[int]) -> None:
    leaves = [leaf_hash(number.to_bytes(4, "big")) for number in range(sum(parts))]
    grown, frontier, done = Tree(), Frontier(), 0
    for part in parts:
        grown.extend(leaves[done : done + part])
        frontier.extend(leaves[done : done + part])
        done += part
        assert frontier_of(frontier.size, frontier.to_bytes()) == frontier
    whole = Tree(leaves)
    assert grown._levels == whole._levels
    assert frontier.root() == whole.root() == grown.root(len(leaves))


def test_what_is_not_there_is_refused() -> None:
    tree = Tree(LEAVES)
    for wrong in (lambda: tree.root(9), lambda: tree.root(-1), lambda: tree.inclusion(8), lambda: tree.inclusion(3, 3),
                  lambda: tree.consistency(5, 4), lambda: tree.consistency(2, 9), lambda: tree.extend([b"short"]),
                  lambda: frontier_of(3, b"\0" * 32)):  # fmt: skip
        with pytest.raises(ValueError, match=r"."):
            wrong()
    assert len(tree) == 8
    assert root_of(LEAVES[0], 8, 8, []) is None
    assert root_of(LEAVES[0], -1, 8, []) is None
    assert not consistent(9, 8, tree.root(), tree.root(), [])
