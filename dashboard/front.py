"""The server in front: the one address that is believed about who asks, and a word in the log where another claims to be it.

What is believed is compared letter by letter with the address from which a request comes.  So what can never
be such an address is refused at the start: it would let everything in as if it came from this machine, over http.
"""

from __future__ import annotations

import ipaddress
import logging
import threading
import time
from collections.abc import Callable
from typing import Any, Final

from flask import Request

from models.errors import DriftbookError

LOG = logging.getLogger("driftbook.front")

AGAIN_S: Final = 600.0
"""That a server in front is not believed is said again no sooner. [s]"""

_THROUGH: Final = "driftbook.through"
"""Name, in what the server tells of a request, of the mark that it came through a server in front, believed or not."""

_LONGEST: Final = {"REQUEST_METHOD": 20, "PATH_INFO": 2_000}
"""Letters that are kept of a method and of a path: no page and no method of ours is longer. [unitless]"""

_WHO: Final = ("HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO", "HTTP_X_FORWARDED_HOST")
_ALSO: Final = ("HTTP_FORWARDED", "HTTP_X_REAL_IP", "HTTP_VIA")

_HOW: Final = (
    "Give the address from which that server comes in: --proxy 127.0.0.1 where it runs on this machine. A name may lead elsewhere "
    "tomorrow, and in a network anybody could claim to be it: in containers give it a fixed address (deploy/compose.example.yml)."
)


def read_proxy(text: str, host: str) -> str:
    """Read the address of a server in front, in the one form in which a request bears it.

    Parameters
    ----------
    text : str
        What was typed. [unitless]
    host : str
        Where the server listens: an address, or a name. [unitless]

    Raises
    ------
    DriftbookError
        If it is no single address, or one from which nobody can come in where the server listens.
    """
    try:
        found = ipaddress.ip_address(text.strip().removeprefix("[").removesuffix("]"))
    except ValueError:
        raise DriftbookError(f"--proxy takes one IP address, and '{text}' is none.", remedy=_HOW) from None
    if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped is not None:
        found = found.ipv4_mapped
    if found.is_unspecified or found.is_multicast:
        raise DriftbookError(f"No request comes from {text}: it is the address of no server.", remedy=_HOW)
    try:
        here = ipaddress.ip_address("127.0.0.1" if host == "localhost" else host)
    except ValueError:  # a name, of which only the system knows where it leads
        return str(found)
    if here.version != found.version or (not here.is_unspecified and here.is_loopback != found.is_loopback):
        raise DriftbookError(
            f"No request comes from {found} to a server that listens on {host}.",
            remedy="A server in front on this machine: --host 127.0.0.1 --proxy 127.0.0.1. One elsewhere: --host 0.0.0.0 (with an IPv6 "
            "address --host ::), and its own address.",
        )
    return str(found)


def through_front(asked: Request) -> bool:
    """Tell whether a request came through a server in front, whether that is believed or not."""
    return bool(asked.environ.get(_THROUGH))


class Front:
    """Looks at what comes in before anything of it is believed; safe for several threads.

    Parameters
    ----------
    application : callable
        What is asked then (WSGI). [unitless]
    proxy : str or None
        The address that is believed. [unitless]
    clock : callable
        Gives a time that never goes back. [s]
    """

    def __init__(
        self, application: Callable[..., Any], proxy: str | None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._application, self._proxy, self._clock = application, proxy, clock
        self._lock = threading.Lock()
        self._not_before = -AGAIN_S

    def __call__(self, environ: dict[str, Any], start: Any) -> Any:
        """Hand a request on, with a mark where it came through a server in front.

        Of a method or a path that nobody could mean, what follows is the beginning: it is answered, logged and counted as unknown.
        """
        for name, most in _LONGEST.items():
            environ[name] = environ.get(name, "")[:most]
        says = any(name in environ for name in _WHO)
        if says or any(name in environ for name in _ALSO):
            environ[_THROUGH] = True
        if says and environ.get("REMOTE_ADDR") != self._proxy:
            self._tell(str(environ.get("REMOTE_ADDR")))
        return self._application(environ, start)

    def _tell(self, peer: str) -> None:
        now = self._clock()
        with self._lock:
            if now < self._not_before:
                return
            self._not_before = now + AGAIN_S
        known = "no --proxy is given" if self._proxy is None else f"--proxy names {self._proxy}"
        LOG.warning(
            "A request from %s says for whom it is passed on (X-Forwarded-…), and %s: it is not believed. If that is the server "
            "in front, give --proxy %s: until then cookies are not Secure, and everybody seems to ask from there.",
            peer, known, peer,
        )  # fmt: skip
