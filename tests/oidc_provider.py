"""A small OpenID Connect provider for the tests: discovery, keys, the code flow with PKCE; and every way to lie that a test asks for."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import secrets
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, unquote, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT, SECRET = "driftbook-test", "provider secret of the test"


@dataclass
class Provider:
    """What the provider knows, and how it lies."""

    address: str = ""
    subject: str = "sub-77"
    key: RSAKey = field(
        default_factory=lambda: RSAKey.generate_key(2048, parameters={"kid": "one", "use": "sig", "alg": "RS256"})
    )
    claims: dict[str, Any] = field(default_factory=dict)
    sign: Callable[[dict[str, Any]], str] | None = None
    says_issuer: str = ""
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    asked: list[dict[str, str]] = field(default_factory=list)
    token_requests: int = 0

    def discovery(self) -> dict[str, Any]:
        return {
            "issuer": self.says_issuer or self.address,
            "authorization_endpoint": f"{self.address}/authorize",
            "token_endpoint": f"{self.address}/token",
            "jwks_uri": f"{self.address}/keys",
            "response_types_supported": ["code"],
            "code_challenge_methods_supported": ["S256"],
        }

    def authorize(self, query: dict[str, str]) -> str:
        """Take somebody for signed in at once, and give the address to go back to."""
        self.asked.append(query)
        code = secrets.token_urlsafe(16)
        self.codes[code] = query
        return f"{query['redirect_uri']}?{urlencode({'code': code, 'state': query['state']})}"

    def token(self, form: dict[str, str], authorization: str) -> tuple[int, dict[str, Any]]:
        self.token_requests += 1
        named = base64.b64decode(authorization.removeprefix("Basic ")).decode()
        if tuple(map(unquote, named.split(":", 1))) not in {(CLIENT, SECRET), (CLIENT, SECRET.replace(" ", "+"))}:
            return 401, {"error": "invalid_client"}
        asked = self.codes.pop(form.get("code", ""), None)
        made = (
            base64.urlsafe_b64encode(hashlib.sha256(form.get("code_verifier", "").encode()).digest())
            .rstrip(b"=")
            .decode()
        )
        if asked is None or asked["code_challenge_method"] != "S256" or asked["code_challenge"] != made:
            return 400, {"error": "invalid_grant"}
        if form.get("redirect_uri") != asked["redirect_uri"]:
            return 400, {"error": "invalid_grant"}
        now = int(time.time())
        claims = {
            "iss": self.address,
            "sub": self.subject,
            "aud": CLIENT,
            "exp": now + 300,
            "iat": now,
            "nonce": asked["nonce"],
        }
        claims = {name: value for name, value in (claims | self.claims).items() if value is not None}
        signed = self.sign(claims) if self.sign else jwt.encode({"alg": "RS256", "kid": "one"}, claims, self.key)
        return 200, {"access_token": "unused", "token_type": "Bearer", "id_token": signed}

    def forged(self, how: str) -> Callable[[dict[str, Any]], str]:
        """Give a way to sign that must not be believed."""
        if how == "other key":
            other = RSAKey.generate_key(2048)
            return lambda claims: jwt.encode({"alg": "RS256", "kid": "one"}, claims, other)

        def packed(raw: bytes) -> str:
            return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()

        def part(value: dict[str, Any]) -> str:
            return packed(json.dumps(value).encode())

        if how == "public key as secret":
            # By hand: no library makes such a token any more.
            def signed(claims: dict[str, Any]) -> str:
                text = f"{part({'alg': 'HS256', 'kid': 'one'})}.{part(claims)}"
                return f"{text}.{packed(hmac.digest(self.key.as_pem(private=False), text.encode(), 'sha256'))}"

            return signed
        return lambda claims: f"{part({'alg': 'none'})}.{part(claims)}."


@contextmanager
def serving() -> Iterator[Provider]:
    """Serve a provider on this machine."""
    provider = Provider()

    class Handler(BaseHTTPRequestHandler):
        def _send(self, status: int, body: Any = None, location: str = "") -> None:
            text = json.dumps(body).encode()
            self.send_response(status)
            if location:
                self.send_header("Location", location)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(text)))
            self.end_headers()
            self.wfile.write(text)

        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            query = {name: values[0] for name, values in parse_qs(parts.query).items()}
            if parts.path == "/.well-known/openid-configuration":
                self._send(200, provider.discovery())
            elif parts.path == "/keys":
                self._send(200, {"keys": [provider.key.as_dict(private=False)]})
            elif parts.path == "/authorize":
                self._send(302, None, provider.authorize(query))
            else:
                self._send(404)

        def do_POST(self) -> None:
            raw = self.rfile.read(int(self.headers["Content-Length"])).decode()
            form = {name: values[0] for name, values in parse_qs(raw).items()}
            self._send(*provider.token(form, self.headers.get("Authorization", "")))

        def log_message(self, *_: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    provider.address = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield provider
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
