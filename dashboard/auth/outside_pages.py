"""The way to a sign-in provider outside and back: pages of the door, see :mod:`dashboard.auth.outside`."""

from __future__ import annotations

import base64
import hashlib
import hmac
import logging
import secrets
from typing import Any, Final, cast

from flask import redirect, request

from dashboard.auth import asking
from dashboard.auth.door_page import DOOR, entered, here
from dashboard.auth.forms import message_page, page, tag
from dashboard.auth.outside import Outside, outside_of_app, secure
from dashboard.words import say

LOG = logging.getLogger("driftbook.door")

_COOKIE: Final = "driftbook-outside"
_MINUTES: Final = 10
_ALGORITHMS: Final = ["RS256", "PS256", "ES256", "EdDSA"]
"""Signatures of tokens that are taken: with a public key only."""

_PATIENCE: Final = 10.0


def _made(secret: str, what: str) -> str:
    """Make state, nonce or verifier from the secret of the cookie: known to this browser and to nobody else."""
    digest = hmac.new(secret.encode(), what.encode(), hashlib.sha256).digest()
    return base64.urlsafe_b64encode(digest).rstrip(b"=").decode()


def _cookie() -> str:
    return f"__Host-{_COOKIE}" if request.is_secure else _COOKIE


@DOOR.route("/sign-in/outside", methods=["GET"], endpoint="outside")
def go_outside() -> Any:
    """Send the browser to the provider."""
    outside = outside_of_app()
    if outside is None:
        return redirect(asking.SIGN_IN)
    secret = secrets.token_urlsafe(32)
    try:
        known = _discovered(outside)
        client = _client(outside)
        address, _ = client.create_authorization_url(
            known["authorization_endpoint"],
            state=_made(secret, "state"),
            nonce=_made(secret, "nonce"),
            code_verifier=_made(secret, "verifier"),
        )
    except Exception:
        LOG.exception("The provider %s does not answer as it should.", outside.issuer)
        return message_page(say("door.title"), say("door.outside.failed", name=outside.name), 502)
    response = redirect(address, code=303)
    onward = base64.urlsafe_b64encode(asking.safe_next(request.args.get("next")).encode()).decode()
    asking.set_cookie(cast("Any", response), _cookie(), f"{secret}.{onward}", seconds=_MINUTES * 60)
    return response


@DOOR.route("/sign-in/outside/back", methods=["GET"], endpoint="outside_back")
def back_from_outside() -> Any:
    """Take what the provider says, check it, and sign in whom it names."""
    outside, access = outside_of_app(), asking.access_of_app()
    if outside is None or access is None:
        return redirect(asking.SIGN_IN)
    secret, _, kept = request.cookies.get(_cookie(), "").partition(".")
    state = request.args.get("state", "")
    failed = say("door.outside.failed", name=outside.name)
    if not secret or not hmac.compare_digest(state.encode(), _made(secret, "state").encode()):
        return _without_cookie(message_page(say("door.title"), failed, 400))
    try:
        identity = _identity(outside, secret)
    except Exception:
        LOG.exception("What the provider %s says cannot be believed.", outside.issuer)
        return _without_cookie(message_page(say("door.title"), failed, 400))
    answer = access.from_outside(identity, here(), request.cookies.get(asking.session_cookie()))
    if not answer.came_in:
        said = tag("p", say("door.outside.unknown", name=outside.name))
        return _without_cookie(page(say("door.title"), said, tag("code", identity, class_="secret"), status=403))
    try:
        onward = asking.safe_next(base64.urlsafe_b64decode(kept.encode()).decode())
    except ValueError:
        onward = "/"
    return _without_cookie(entered(answer.token, onward))


def _without_cookie(response: Any) -> Any:
    """Take the cookie of the way there: it serves once."""
    asking.drop_cookie(response, _cookie())
    return response


def _client(outside: Outside) -> Any:
    from authlib.integrations.requests_client import OAuth2Session

    return OAuth2Session(
        outside.client,
        outside.secret,
        scope="openid",
        redirect_uri=outside.back,
        code_challenge_method="S256",
        token_endpoint_auth_method="client_secret_basic",  # noqa: S106 - the name of a method
    )


def _fetched(address: str) -> dict[str, Any]:
    import requests

    secure(address)
    answer = requests.get(address, timeout=_PATIENCE, allow_redirects=False)
    answer.raise_for_status()
    found = answer.json()
    if not isinstance(found, dict):
        raise TypeError("no JSON object")
    return found


def _discovered(outside: Outside) -> dict[str, Any]:
    """Read what the provider says of itself; it has to be the issuer that was asked."""
    known = _fetched(f"{outside.issuer.rstrip('/')}/.well-known/openid-configuration")
    if known.get("issuer") != outside.issuer:
        raise ValueError("the provider names another issuer")
    for name in ("authorization_endpoint", "token_endpoint", "jwks_uri"):
        secure(str(known[name]))
    return known


def _identity(outside: Outside, secret: str) -> str:
    """Change the code for a token, check the token, and give issuer and subject."""
    from joserfc import jwt
    from joserfc.jwk import KeySet

    if request.args.get("error"):
        raise ValueError("the provider refused: " + request.args["error"][:80])
    if request.args.get("iss", outside.issuer) != outside.issuer:
        raise ValueError("the answer comes from another issuer")
    known = _discovered(outside)
    given = _client(outside).fetch_token(
        known["token_endpoint"],
        code=request.args.get("code", ""),
        code_verifier=_made(secret, "verifier"),
        timeout=_PATIENCE,
    )
    keys = KeySet.import_key_set(cast("Any", _fetched(str(known["jwks_uri"]))))
    token = jwt.decode(str(given["id_token"]), keys, algorithms=_ALGORITHMS)
    rules = jwt.JWTClaimsRegistry(
        leeway=60,
        iss={"essential": True, "value": outside.issuer},
        sub={"essential": True},
        aud={"essential": True, "value": outside.client},
        exp={"essential": True},
        iat={"essential": True},
        nonce={"essential": True, "value": _made(secret, "nonce")},
    )
    rules.validate(token.claims)
    several = isinstance(token.claims["aud"], list) and len(token.claims["aud"]) > 1
    if (several or "azp" in token.claims) and token.claims.get("azp") != outside.client:
        raise ValueError("the token was made for another program")
    subject = str(token.claims["sub"])
    if not subject or len(subject) > 255 or any(letter.isspace() for letter in subject):
        raise ValueError("the subject cannot be kept")
    return f"{outside.issuer} {subject}"
