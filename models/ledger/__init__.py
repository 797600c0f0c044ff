"""The line of entries: their canonical form, the tree over them, keys, heads and proofs."""
