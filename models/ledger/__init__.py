"""The line of entries: their canonical content and, later, their proofs."""
