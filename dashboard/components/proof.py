"""The piece of the Book page that shows what proves the book."""

from __future__ import annotations

from dashboard.components import elements as html
from dashboard.components.pieces import Child, note
from dashboard.place import Place
from dashboard.reports.paths import package_path
from dashboard.words import say
from dashboard.writing import count, moment
from models.values.proof import BookProof


def proof_part(proof: BookProof | None, zone: str, tag: str, place: Place) -> html.Details:
    """Put the newest head of the book, and what to do with it.

    Parameters
    ----------
    proof : BookProof or None
        The newest head; ``None`` before there is one. [unitless]
    zone : str
        Zone in which its moment is shown. [unitless]
    tag : str
        Machine whose package is offered; none where it is blank. [unitless]
    place : Place
        Where the reader is. [unitless]
    """
    parts: list[Child] = [html.Summary(say("proof.title")), html.P(say("proof.about"))]
    if proof is None:
        return html.Details([*parts, note(say("proof.none"))], className="more")
    signed = say("proof.not_signed") if proof.key_entry is None else say("proof.signed", entry=proof.key_entry)
    parts += [
        html.P(f"{say('proof.head', size=count(proof.size), at=moment(proof.at, zone))}, {signed}."),
        html.Pre(proof.note.strip(), className="head", tabIndex=0),
        html.P(say("proof.copy")),
        html.P(say("proof.verify")),
    ]
    if proof.unsigned:
        parts.append(note(say("proof.unsigned", n=count(proof.unsigned), all=count(proof.heads)), strong=True))
    if tag:
        link = html.A(say("proof.package", tag=tag), href=package_path(place, tag))
        parts.append(html.P([link, ". ", say("proof.package.about")]))
    return html.Details(parts, className="more proof")
