"""Addresses of the papers, for the pages that offer them."""

from __future__ import annotations

from datetime import date

from dashboard.place import Place, asset_path


def month_path(place: Place, month: date) -> str:
    """Write the address of the monthly review."""
    return place.to(f"/report/month/{month:%Y-%m}.pdf")


def history_path(place: Place, tag: str) -> str:
    """Write the address of the history of a machine."""
    return place.to(f"/report{asset_path(tag)}.pdf")


def package_path(place: Place, tag: str) -> str:
    """Write the address of the auditor's package of a machine."""
    return place.to(f"/package{asset_path(tag).removeprefix('/asset')}.zip")


def sheet_path(place: Place, tag: str, **choices: object) -> str:
    """Write the address of the field sheet of a machine."""
    return place.to(f"/report/sheet{asset_path(tag).removeprefix('/asset')}.pdf", **choices)


def labels_path(place: Place, **choices: object) -> str:
    """Write the address of the labels of machines."""
    return place.to("/report/labels.pdf", **choices)
