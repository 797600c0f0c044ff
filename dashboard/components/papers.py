"""The line on a page that offers its papers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from dashboard.components import elements as html
from dashboard.components.pieces import Child
from dashboard.place import Place
from dashboard.reports.paths import history_path, labels_path, month_path, package_path, sheet_path
from dashboard.words import say


def month_papers(month: date, place: Place) -> html.P:
    """Offer the review of a month."""
    return _line([(say("report.link.month"), month_path(place, month))])


def asset_papers(tag: str, place: Place, *, audit: bool = False) -> html.P:
    """Offer the history, the field sheet and the label of a machine, and its package to who may audit."""
    package = [(say("proof.package.link"), package_path(place, tag))] if audit else []
    return _line(
        [
            (say("report.link.history"), history_path(place, tag)),
            (say("report.link.sheet"), sheet_path(place, tag)),
            (say("report.link.fill"), sheet_path(place, tag, fill=1)),
            (say("report.link.label"), labels_path(place, tag=tag)),
            *package,
        ]
    )


def due_papers(place: Place) -> html.P:
    """Offer labels of all machines in service."""
    return _line([(say("report.link.labels"), labels_path(place))])


def _line(links: Sequence[tuple[str, str]]) -> html.P:
    parts: list[Child] = [say("report.link")]
    for text, href in links:
        # A paper opens beside the page: what was chosen there stays as it is.
        parts += [" · " if len(parts) > 1 else " ", html.A(text, href=href, target="_blank", rel="noopener")]
    return html.P(parts, className="take papers")
