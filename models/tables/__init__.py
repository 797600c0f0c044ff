"""Mapped classes: what the database holds, one family a file; no behaviour."""
