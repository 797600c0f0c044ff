"""What is answered while the book cannot be worked with: 503, in words that name no server, no file and no form.

Why it is so stands in the log, once; see ``models.store.watch``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Final, TypeVar

import sqlalchemy as sa
from flask import Flask, Response, current_app, g
from werkzeug.wrappers import Response as AnyResponse

from dashboard.components import elements as html
from dashboard.components.pieces import Child, later
from dashboard.ids import RecordIds, Shell
from dashboard.picture import StillReadingError
from dashboard.words import say, tell
from models.errors import (
    BookBusyError,
    BookCrowdedError,
    BookCutOffError,
    BookDamagedError,
    BookReadOnlyError,
    BookReplacedError,
    BookStateError,
    DriftbookError,
    NoRoomError,
    WrongRevisionError,
)
from models.store.watch import Watch

R = TypeVar("R", bound=AnyResponse)

RETRY_SECONDS: Final = 10
"""When to ask again, in the header Retry-After. [s]"""

_KEY: Final = "DRIFTBOOK_WATCH"


@dataclass(frozen=True, slots=True)
class Away:
    """What is said: a code for programs, and what is wrong and what to do for people."""

    code: str
    text: str
    remedy: str


def install_watch(server: Flask, engine: sa.Engine | None) -> Watch:
    """Let a server keep an eye on its book.

    Parameters
    ----------
    server : flask.Flask
        The server. [unitless]
    engine : sqlalchemy.Engine, optional
        The engine of its book. [unitless]
    """
    watch = Watch(engine)
    server.config[_KEY] = watch
    return watch


def away_of(fault: Exception) -> Away | None:
    """Give what is said of a fault that lies in the book as it is now; ``None`` for every other fault."""
    if isinstance(fault, StillReadingError | BookBusyError):
        return Away("busy", tell(fault.message), tell(fault.remedy))
    # Of the pool, or of the server at its door: nothing was asked of the book.
    if isinstance(fault, sa.exc.TimeoutError | BookCrowdedError):
        return Away("busy", say("away.crowded"), say("away.remedy"))
    if not isinstance(fault, BookStateError):
        return None
    code, text = "book-away", say("away.gone")
    if isinstance(fault, BookReplacedError):
        text = say("away.replaced")
    elif isinstance(fault, BookCutOffError):
        code, text = "busy", say("away.cut_off")
    elif isinstance(fault, NoRoomError):
        code, text = "book-not-writable", say("away.full")
    elif isinstance(fault, BookReadOnlyError):
        code, text = "book-not-writable", say("away.read_only")
    elif isinstance(fault, BookDamagedError):
        code, text = "book-unusable", say("away.damaged")
    elif isinstance(fault, WrongRevisionError):
        code, text = "book-unusable", say("away.revision")
    return Away(code, text, say("away.remedy"))


def noticed(fault: Exception) -> Away | None:
    """Give the same, and let it be logged where it is news."""
    # What a replica does wrong is told by whoever keeps it; the same is asked of the book's own server then.
    if isinstance(fault, BookStateError | sa.exc.TimeoutError):
        watch: Watch | None = current_app.config.get(_KEY)
        copied = g.get("copied") is not None
        if watch is not None and isinstance(fault, sa.exc.TimeoutError):
            watch.turned_away("its replica" if copied else "the book")
        elif watch is not None and isinstance(fault, BookStateError) and not copied:
            watch.noticed(fault)
    return away_of(fault)


def hand_on(fault: DriftbookError) -> None:
    """Raise a fault that cannot be mended in the form in which it came up: the book is away, not the form wrong.

    Parameters
    ----------
    fault : DriftbookError
        What went wrong. [unitless]
    """
    if isinstance(fault, BookStateError) and not isinstance(fault, BookBusyError):
        raise fault


def answered(response: R) -> R:
    """Make an answer one that says: later."""
    response.status_code = 503
    response.headers["Retry-After"] = str(RETRY_SECONDS)
    response.headers["Cache-Control"] = "no-store"
    return response


def refused_file(fault: DriftbookError, status: int) -> Response:
    """Say instead of a file why there is none.

    Parameters
    ----------
    fault : DriftbookError
        What went wrong. [unitless]
    status : int
        The status, where it does not lie in the book as it is now. [unitless]
    """
    away = noticed(fault)
    if away is None:
        return Response(f"{fault}\n", status=status, mimetype="text/plain")
    return answered(Response(f"{away.text}\n{away.remedy}\n", mimetype="text/plain"))


# -- pages ---------------------------------------------------------------------------------------------------------


def part(away: Away) -> html.Div:
    """Put what stands in the place of a page."""
    return later(say("away.title"), away.text, away.remedy)


def beside_form(away: Away) -> list[Child]:
    """Put what stands beside the form of a job that could not be recorded."""
    return [html.P(away.text), html.P(say("away.kept"))]


def callback_answer(away: Away, output: object) -> Response:
    """Answer a callback that was not even begun.

    With 503 the page would take the server for gone, and load itself again, for ever; the server is there.

    Parameters
    ----------
    away : Away
        What is said. [unitless]
    output : object
        What the callback fills, as the browser names it. [unitless]
    """
    filled: dict[str, Any] = {}
    name = str(output).strip(".").partition("...")[0].removesuffix(".children")
    if name == RecordIds.ANSWER:
        filled = {name: {"children": beside_form(away)}}
    elif fills_page(name):
        filled = {name: {"children": part(away)}}
    said = {"multi": True, "response": filled, "sideUpdate": {Shell.NOTICE: {"children": away.text}}}
    return Response(json.dumps(said), mimetype="application/json", headers={"Cache-Control": "no-store"})


def fills_page(name: str) -> bool:
    """Tell whether an element is the whole of what a page shows."""
    return name == Shell.CONTENT or name.endswith("-body")
