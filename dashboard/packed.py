"""Answers packed for the way: beside a pump the network is slow, and what a page needs first is 3.7 MB unpacked.

Only what holds no secret is packed: scripts, styles, and the answers of the pages.  A page that shows a token or
bears a form's mark is HTML and goes as it is, so that nobody learns a secret from the length of a packed answer (BREACH).
"""

from __future__ import annotations

import gzip
import threading
from collections import OrderedDict
from hashlib import sha256
from typing import Final

from flask import Flask, Response, request

LEAST: Final = 1_400
"""Shorter answers go as they are: they fit a packet or two. [byte]"""

KEPT: Final = 8 << 20
"""So much of packed files is kept. [byte]"""

_FILES: Final = ("/_dash-component-suites/", "/assets/")
_ANSWERS: Final = ("/_dash-update-component", "/_dash-layout", "/_dash-dependencies")
_TYPES: Final = frozenset(
    {"application/javascript", "text/javascript", "text/css", "image/svg+xml", "application/json"}
)
_WELL, _QUICK = 6, 1


class _Shelf:
    """Files that were packed, those that were asked for last."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._held: OrderedDict[bytes, bytes] = OrderedDict()
        self._size = 0

    def packed(self, plain: bytes) -> bytes:
        """Give a file packed, which takes a tenth of a second for the largest; by what it holds, for anybody can ask under other addresses."""
        key = sha256(plain).digest()
        with self._lock:
            found = self._held.get(key)
            if found is not None:
                self._held.move_to_end(key)
                return found
        made = gzip.compress(plain, _WELL, mtime=0)
        with self._lock:
            if key not in self._held:
                self._held[key] = made
                self._size += len(made)
            while self._size > KEPT and self._held:
                self._size -= len(self._held.popitem(last=False)[1])
        return made


def pack_answers(server: Flask) -> None:
    """Pack scripts, styles and the answers of pages for browsers that take them so.

    Parameters
    ----------
    server : flask.Flask
        The application's server. [unitless]
    """
    shelf = _Shelf()

    def pack(response: Response) -> Response:
        path = request.path
        is_file = path.startswith(_FILES)
        if not (is_file or path.startswith(_ANSWERS)) or response.mimetype not in _TYPES:
            return response
        response.vary.add("Accept-Encoding")
        if response.status_code != 200 or request.method == "HEAD" or response.content_encoding:
            return response
        if not request.accept_encodings["gzip"]:
            return response
        response.direct_passthrough = False
        plain = response.get_data()
        if len(plain) < LEAST:
            return response
        packed = shelf.packed(plain) if is_file else gzip.compress(plain, _QUICK, mtime=0)
        if len(packed) >= len(plain):
            return response
        response.set_data(packed)
        response.content_encoding = "gzip"
        response.headers.pop("Accept-Ranges", None)
        mark, _ = response.get_etag()
        if mark:
            # The same file, in other bytes: RFC 9110, section 8.8.1.
            response.set_etag(mark, weak=True)
        return response

    server.after_request(pack)
