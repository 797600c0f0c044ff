"""Attributes whose names Dash takes only as texts."""

from __future__ import annotations

from typing import Any


def aria(**values: str) -> dict[str, Any]:
    """Give attributes for those who do not see the page, e.g. ``aria(label="Pages")`` for ``aria-label``."""
    return {f"aria-{name}": value for name, value in values.items()}


def data(**values: str) -> dict[str, Any]:
    """Give ``data-`` attributes, by which the browser's own script finds things."""
    return {f"data-{name}": value for name, value in values.items()}
