"""Requests that are longer than what is read: said in the words of the house, on a page and to programs, with what to do.

The server looks at the length that a request states and keeps nothing of one that is too long.  It answers
by itself then, in words of its own; here such a request goes on to the application without what was sent,
and what asks for that finds it too long.
"""

from __future__ import annotations

import io
from typing import Any, Final

import dash
from flask import Response, abort, jsonify, request
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.server import BaseWSGIServer
from waitress.task import ErrorTask, WSGITask
from waitress.utilities import RequestEntityTooLarge as TooLarge
from werkzeug.exceptions import RequestEntityTooLarge

from dashboard.api.operations import PREFIX
from dashboard.auth.forms import message_page
from dashboard.importing.import_page import IMPORTING
from dashboard.importing.sent_files import MOST_BYTES as MOST_OF_ONE_FILE
from dashboard.security import MOST_BYTES, MOST_OF_A_FILE
from dashboard.words import say

_TOO_LONG: Final = "driftbook.too_long"
"""Name, in what the server tells of a request, of the mark that nothing of it was kept."""

_HEARD_OUT: Final = 256 << 20
"""So much of a request that is too long is listened to, in bytes: who hangs up on a browser that still sends is not heard by it."""


class _Parser(HTTPRequestParser):  # type: ignore[misc]  # the library has no types
    """Lets a request that is too long come to its end, and keeps nothing of it."""

    _left = 0
    expect_continue: bool = False

    def received(self, data: bytes) -> int:
        """Take what has come."""
        if self._left:
            taken = min(len(data), self._left)
            self._left -= taken
            self.completed = not self._left
            return taken
        consumed: int = super().received(data)
        if isinstance(self.error, TooLarge):
            # Who asks first whether to send ('Expect') is told no at once, and sends nothing.
            if not self.expect_continue and 0 < self.content_length <= _HEARD_OUT:
                self._left, self.completed = self.content_length, False
            self.expect_continue = False
        return consumed


class _LongTask(WSGITask):  # type: ignore[misc]
    """Asks the application about a request of which nothing was kept."""

    def get_environment(self) -> dict[str, Any]:
        """Give what is told of the request: that it is too long, and nothing of what was sent."""
        environ: dict[str, Any] = super().get_environment()
        stated = self.request.content_length or 0
        environ |= {
            _TOO_LONG: stated,
            "CONTENT_LENGTH": str(max(stated, MOST_OF_A_FILE + 1)),
            "wsgi.input": io.BytesIO(),
        }
        return environ

    def execute(self) -> None:
        """Answer, and hang up: what may still come is no request."""
        self.set_close_on_finish()
        super().execute()


def _task(channel: HTTPChannel, of: HTTPRequestParser) -> ErrorTask | _LongTask:
    return _LongTask(channel, of) if isinstance(of.error, TooLarge) else ErrorTask(channel, of)


class Channel(HTTPChannel):  # type: ignore[misc]
    """A connection on which requests that are too long are answered by the application."""

    parser_class = _Parser
    error_task_class = staticmethod(_task)


def hear_out(places: list[Any]) -> None:
    """Let the places where a server listens open connections of this kind.

    Parameters
    ----------
    places : list
        What the server's loop looks at; only those that listen are changed. [unitless]
    """
    for place in places:
        if isinstance(place, BaseWSGIServer):
            place.channel_class = Channel


def install_long(app: dash.Dash) -> None:
    """Say in words that a request is too long, wherever that is found.

    Parameters
    ----------
    app : dash.Dash
        The application, with its gate installed: a stranger is sent to sign in first. [unitless]
    """

    def check() -> None:
        # The interface says by itself that what it was sent is too long.
        if _TOO_LONG in request.environ and not request.path.startswith(f"{PREFIX}/"):
            abort(413)

    app.server.before_request(check)
    app.server.register_error_handler(RequestEntityTooLarge, _said)


def _said(fault: RequestEntityTooLarge) -> Response:
    del fault
    is_file = request.blueprint == IMPORTING.name
    most = MOST_OF_ONE_FILE if is_file else MOST_BYTES
    stated = request.environ.get(_TOO_LONG, request.content_length)
    if stated and stated <= most:
        text = say("long.field")
    else:
        # Of a request that states no length it is known only that the server would take no more.
        sent = say("long.sent", n=f"{stated / (1 << 20):.1f}") if stated else say("long.more", n=MOST_OF_A_FILE >> 20)
        text = say("long.file" if is_file else "long.text", sent=sent, most=most >> 20)
    if request.path.startswith("/_") or not request.accept_mimetypes.accept_html:
        answer = jsonify({"notice": text})
        answer.status_code = 413
        return answer
    return message_page(say("long.title"), text, 413, again=request.full_path.rstrip("?") if is_file else None)
