"""Labels to cut out and stick on machines: tag, what it is, and a code that opens its page on a phone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.place import shortened
from dashboard.reports.codes import qr_picture
from dashboard.reports.identity import Identity, common, made
from dashboard.reports.press import Paper
from dashboard.words import say
from dashboard.writing import count


@dataclass(frozen=True, slots=True)
class Label:
    """One label: a machine, and the address that its code opens."""

    tag: str
    description: str
    area: str
    address: str


def labels_paper(labels: Sequence[Label], identity: Identity, *, size: str = "a4") -> Paper:
    """Lay labels out in sheets.

    Parameters
    ----------
    labels : sequence of Label
        The labels, in their order. [unitless]
    identity : Identity
        Which site and book. [unitless]
    size : str
        Size of the paper. [unitless]
    """
    title = say("report.labels.title", site=identity.site.name)
    told = [
        {
            "tag": label.tag,
            "description": shortened(label.description, 90),
            "area": shortened(label.area, 60),
            "file": f"code-{number}.svg",
            "says": say("report.labels.code", tag=label.tag, address=label.address),
        }
        for number, label in enumerate(labels)
    ]
    pictures = {f"code-{number}.svg": qr_picture(label.address) for number, label in enumerate(labels)}
    data = common(identity, title) | {"labels": told, "site": identity.site.name}
    data["foot"] = say("report.labels.subject")
    data["as_of"] = say("report.sheet.as_of", head=count(identity.head), at=made(identity))
    return Paper("labels", title, data, identity.made_at, size, pictures)
