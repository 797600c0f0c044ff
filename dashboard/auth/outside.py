"""Sign-in through an OpenID Connect provider outside: the code flow with PKCE, state and nonce.

The three are made from one random cookie, so nothing has to be kept here between the two
requests: whoever comes back with the answer has to be the browser that was sent
away.  Needs the extra ``oidc``; settings come from the environment:

``DRIFTBOOK_OIDC_ISSUER``, ``DRIFTBOOK_OIDC_CLIENT``, ``DRIFTBOOK_OIDC_SECRET``, the own
address under which browsers reach this server, ``DRIFTBOOK_OIDC_ADDRESS``, and a name for the button,
``DRIFTBOOK_OIDC_NAME``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, cast
from urllib.parse import urlsplit

from flask import Flask, current_app

from models.errors import DriftbookError

_KEY: Final = "DRIFTBOOK_OUTSIDE"
_LOOPBACK: Final = frozenset({"localhost", "127.0.0.1", "::1"})


@dataclass(frozen=True, slots=True)
class Outside:
    """A provider, and what this book is to it."""

    issuer: str
    client: str
    secret: str = field(repr=False)
    address: str
    name: str

    @property
    def back(self) -> str:
        """Give the address to which the provider sends a browser back."""
        return f"{self.address}/sign-in/outside/back"


def read_outside(environ: Mapping[str, str]) -> Outside | None:
    """Read the settings of a provider; ``None`` where there is none.

    Raises
    ------
    DriftbookError
        If a setting is missing, an address is not https, or that of this server has a path.
    """
    issuer = environ.get("DRIFTBOOK_OIDC_ISSUER", "").strip()
    if not issuer:
        return None
    given = {
        name: environ.get(f"DRIFTBOOK_OIDC_{name}", "").strip() for name in ("CLIENT", "SECRET", "ADDRESS", "NAME")
    }
    for name in ("CLIENT", "SECRET", "ADDRESS"):
        if not given[name]:
            raise DriftbookError(
                f"A sign-in provider is set, but DRIFTBOOK_OIDC_{name} is not.",
                remedy="Set it, or take the issuer out.",
            )
    for text in (issuer, given["ADDRESS"]):
        secure(text)
    if urlsplit(given["ADDRESS"]).path.strip("/"):
        raise DriftbookError(
            "DRIFTBOOK_OIDC_ADDRESS has a path behind the host, and this server answers under none.",
            remedy="Give it a host name or a port of its own, and that alone here: https://book.example.net",
        )
    try:
        import authlib.integrations.requests_client  # noqa: F401 - only whether it is there
    except ModuleNotFoundError:
        raise DriftbookError(
            "Signing in through a provider needs a library that is not installed.",
            remedy="Install it: in driftbook's checkout, pip install '.[oidc]'.",
        ) from None
    name = given["NAME"] or urlsplit(issuer).hostname or issuer
    return Outside(issuer, given["CLIENT"], given["SECRET"], given["ADDRESS"].rstrip("/"), name[:60])


def secure(address: str) -> None:
    """Refuse an address that is neither https nor on this machine.

    Raises
    ------
    DriftbookError
        If it is neither.
    """
    parts = urlsplit(address)
    if parts.scheme == "https" or (parts.scheme == "http" and parts.hostname in _LOOPBACK):
        return
    raise DriftbookError(f"'{address}' is not an address with https.", remedy="Give one that begins with https://.")


def install_outside(server: Flask, outside: Outside | None) -> None:
    """Keep the provider for the application."""
    server.config[_KEY] = outside


def outside_of_app() -> Outside | None:
    """Give the provider of the application that answers; ``None`` where there is none."""
    return cast("Outside | None", cast("dict[str, Any]", current_app.config).get(_KEY))
