"""Texts of the due part."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {}
