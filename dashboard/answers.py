"""Finished answers of the pages that only show: made once, and given again as long as nothing that they rest on has changed.

An answer rests on the question (page, choices, colours), the person who asks, the
book up to its last entry, the picture that is shown of it, and the quarter of an hour:
in every zone of the world a day begins with one.  Pages on which something is written are never kept.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any

import dash
from flask import Response, request

from dashboard.context import context
from dashboard.words import spoken

RULE = "_dash-update-component"

SHOWN = frozenset(
    {
        "month-body",
        "offenders-body",
        "due-body",
        "asset-body",
        "asset-study-body",
        "asset-rest-body",
        "book-body",
        "people-body",
        "limits-body",
    }
)
"""Parts of pages that only show."""

MOST_BYTES = 48_000_000
"""So much is kept; what nobody asked for the longest goes first. [byte]"""

EACH = 1_000
"""So much is counted for what an answer rests on and for its place. [byte]"""

LONGEST = 4_000_000
"""A longer answer is not kept. [byte]"""


class Answers:
    """Answers by what they rest on."""

    def __init__(self, most: int = MOST_BYTES) -> None:
        self._lock = Lock()
        self._kept: OrderedDict[Hashable, bytes] = OrderedDict()
        self._bytes, self._most = 0, most

    def get(self, key: Hashable) -> bytes | None:
        """Give an answer; ``None`` where it is not kept."""
        with self._lock:
            found = self._kept.get(key)
            if found is not None:
                self._kept.move_to_end(key)
            return found

    def put(self, key: Hashable, answer: bytes) -> None:
        """Keep an answer, and let the oldest go."""
        with self._lock:
            before = self._kept.pop(key, None)
            self._bytes += EACH + len(answer) - (0 if before is None else EACH + len(before))
            self._kept[key] = answer
            while self._bytes > self._most:
                self._bytes -= EACH + len(self._kept.popitem(last=False)[1])


def keep_answers(app: dash.Dash) -> None:
    """Let an application give finished answers again.

    Parameters
    ----------
    app : dash.Dash
        The application; its guards run before, for each request. [unitless]
    """
    server, answers = app.server, Answers()
    endpoint = next(rule.endpoint for rule in server.url_map.iter_rules() if rule.rule.endswith(RULE))
    make: Callable[..., Any] = server.view_functions[endpoint]

    def answer(*args: Any, **kwargs: Any) -> Response:
        key = _key()
        kept = None if key is None else answers.get(key)
        if kept is not None:
            return Response(kept, mimetype="application/json")
        made: Response = server.make_response(make(*args, **kwargs))
        if key is None or made.status_code != 200 or made.is_streamed:
            return made
        data = made.get_data()
        # What says more than the page itself (a notice of an error) is not repeated, nor what was overtaken while it was made.
        if len(data) <= LONGEST and b'"sideUpdate"' not in data and _key() == key:
            answers.put(key, data)
        return made

    server.view_functions[endpoint] = answer


def _key() -> Hashable | None:
    """Give what the answer to this request rests on; ``None`` where it is not one to keep."""
    asked = request.get_json(silent=True)
    outputs = asked.get("outputs") if isinstance(asked, dict) else None
    shown = outputs.get("id") if isinstance(outputs, dict) else None
    if not isinstance(shown, str) or shown not in SHOWN:
        return None
    here = context()
    now = here.clock()
    quarter = (now.toordinal(), now.hour, now.minute // 15, now.utcoffset())
    # What was sent is as long as whoever sends it likes: its hash is kept, so that what is kept stays bounded.
    sent = (
        request.get_data(),
        repr(request.cookies.to_dict()).encode(),
    )
    return (
        *(hashlib.sha256(part).digest() for part in sent),
        spoken(),
        here.book.head(),
        here.pictures.state(),
        here.copied,
        quarter,
    )
