"""What was asked, read and checked by the description: parameters and body, with everything that is wrong at once."""

from __future__ import annotations

import functools
import hashlib
import json
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import jsonschema
import sqlalchemy as sa
from flask import request
from jsonschema.validators import extend
from werkzeug.exceptions import RequestEntityTooLarge

from dashboard.api.access import Caller
from dashboard.api.operations import Operation, Parameter
from dashboard.api.problems import ProblemError, Where
from dashboard.api.schemas import SCHEMAS
from dashboard.context import Context
from dashboard.views.plan_view import HOUR_US
from models.history.columns import History
from models.store.tree_proofs import KeptTree
from models.tables.base import canonical_json
from models.values.story import Site

MOST_BYTES = 256 * 1024
"""Longest body; one job with the longest notes needs a fifth of it."""

MOST_ERRORS = 60
_WHOLE = re.compile(r"^-?[0-9]{1,18}$", re.ASCII)


@dataclass(frozen=True, slots=True)
class Asked:
    """A request that was read and checked; ``site`` is the one it speaks of, the first one where it speaks of none.

    ``tags`` are those of the versions to which a write is bound; empty where it is bound to none.
    """

    operation: Operation
    caller: Caller
    here: Context
    engine: sa.Engine
    tree: KeptTree
    sites: tuple[Site, ...]
    site: Site
    now: datetime
    given: Mapping[str, Any] = field(default_factory=dict)
    body: Any = None
    key: str = ""
    tags: tuple[str, ...] = ()
    pinned: list[History] = field(default_factory=list)

    @property
    def history(self) -> History:
        """Give the history of the site as the pages show it: of a large book the last picture that is whole.

        Raises
        ------
        StillReadingError
            If a large book is being read, and there is no picture yet.
        """
        if not self.pinned:
            book, site_id = self.here.book, self.site.site_id
            picture = self.here.pictures.of(book, site_id)
            self.pinned.append(book.history(site_id) if picture is None else picture.history)
        return self.pinned[0]

    @property
    def today(self) -> date:
        """Give the day on the site's calendar."""
        return self.now.astimezone(ZoneInfo(self.site.zone)).date()

    @property
    def now_us(self) -> int:
        """Give the present time. [µs since 1970, UTC]."""
        return round(self.now.astimezone(UTC).timestamp() * 1_000_000)

    @property
    def full_hour_us(self) -> int:
        """Give the full hour, for which chances are told: an answer whose numbers moved on at each moment had no tag. [µs since 1970, UTC]."""
        return self.now_us // HOUR_US * HOUR_US

    @property
    def digest(self) -> bytes:
        """Give the digest of what a write asks for: its address and its body, however that was spaced."""
        said = f"{self.operation.method} {request.path}\n{self.site.site_id}\n{canonical_json(self.body)}"
        return hashlib.sha256(said.encode()).digest()


def _whole_text(_validator: Any, pattern: str, instance: Any, _schema: Any) -> Iterator[jsonschema.ValidationError]:
    """Check a pattern as the description means it: '$' is the very end, not the place before a last line break."""
    if isinstance(instance, str) and not _compiled(pattern).search(instance):
        yield jsonschema.ValidationError(f"{instance!r} does not match")


@functools.cache
def _compiled(pattern: str) -> re.Pattern[str]:
    return re.compile(pattern.removesuffix("$") + r"\Z" if pattern.endswith("$") else pattern)


_Validator = extend(jsonschema.Draft202012Validator, {"pattern": _whole_text})


@functools.cache
def _body_validator(of: str) -> Any:
    return _Validator({"$ref": f"#/components/schemas/{of}", "components": {"schemas": SCHEMAS}})


def parameters(operation: Operation, path: Mapping[str, str]) -> dict[str, Any]:
    """Read the parameters of a request.

    Parameters
    ----------
    operation : Operation
        What is asked for. [unitless]
    path : mapping of str to str
        What stands in the path. [as typed]

    Raises
    ------
    ProblemError
        404 if the path cannot be the address of anything; 422 with all that is wrong with the query.
    """
    given: dict[str, Any] = {}
    for name, parameter in operation.in_path.items():
        value, wrong = _read(parameter, path[name])
        if wrong:
            raise ProblemError(404, "not-found", f"There is nothing at this address: {wrong}", remedy=parameter.says)
        given[name] = value
    errors: list[Where] = []
    for name, texts in request.args.lists():
        if name not in operation.query:
            known = ", ".join(operation.query) or "none"
            errors.append({"parameter": name[:80], "detail": "It is not known here.", "remedy": f"Known: {known}."})
        elif len(texts) > 1:
            errors.append({"parameter": name, "detail": "It is given more than once.", "remedy": "Give it once."})
        else:
            given[name], wrong = _read(operation.query[name], texts[0])
            if wrong:
                errors.append({"parameter": name, "detail": wrong, "remedy": operation.query[name].says})
    for name, parameter in operation.query.items():
        if name in given:
            continue
        if parameter.default is ...:
            errors.append({"parameter": name, "detail": "It is missing.", "remedy": parameter.says})
        given[name] = parameter.default
    if errors:
        raise ProblemError(422, "not-valid", "A parameter is not as it has to be.", errors=errors[:MOST_ERRORS])
    return given


def _read(parameter: Parameter, text: str) -> tuple[Any, str]:
    value: Any = text
    if parameter.whole:
        if not _WHOLE.match(text):
            return None, f"'{text[:40]}' is no whole number."
        value = int(text)
    if isinstance(value, str) and not _encodes(value):
        return None, "It is no text in UTF-8."
    error = next(_Validator(parameter.schema).iter_errors(value), None)
    return value, "" if error is None else sentence(error)


def _encodes(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def key_of_request(operation: Operation) -> str:
    """Read the key under which a write is done once; empty where there is none.

    Raises
    ------
    ProblemError
        If it is no key.
    """
    typed = request.headers.get("Idempotency-Key")
    if typed is None or not operation.writes:
        return ""
    plain = typed.strip()
    if len(plain) > 1 and plain[0] == plain[-1] == '"':
        plain = plain[1:-1]
    if not 1 <= len(plain) <= 255 or not all(" " <= letter <= "~" for letter in plain):
        where = {"header": "Idempotency-Key", "detail": "It is no text of 1 to 255 plain ASCII letters."}
        raise ProblemError(422, "not-valid", "The key of the request cannot be read.", errors=[where])
    return plain


_TAG = r'(?:W/)?"[^"\x00-\x20]*"'
_TAGS = re.compile(rf"{_TAG}(?:\s*,\s*{_TAG})*")


def tags_of_request(operation: Operation) -> tuple[str, ...]:
    """Read to which versions a write is bound (RFC 9110, section 13.1.1); none where it is bound to whatever stands there.

    Raises
    ------
    ProblemError
        If that cannot be read: it would be done unbound.
    """
    if "If-Match" not in request.headers:
        return ()
    typed = ", ".join(request.headers.getlist("If-Match")).strip()
    bound = any(one.name == "If-Match" for one in operation.parameters)
    if bound and typed == "*":
        return ()
    if not bound or not _TAGS.fullmatch(typed):
        why = "It is no list of entity tags." if bound else "There is no version to which this request could be bound."
        remedy = "Send the ETag of GET /jobs/{entry}, with its quotes, or leave it out."
        where = {"header": "If-Match", "detail": why, "remedy": remedy}
        raise ProblemError(422, "not-valid", "The header If-Match cannot be taken.", errors=[where])
    return tuple(re.findall(_TAG, typed))


def body(operation: Operation) -> Any:
    """Read and check the body of a write.

    Raises
    ------
    ProblemError
        413, 415, 400 where it cannot be read; 422 with all that is wrong with it.
    """
    if request.mimetype != "application/json":
        raise ProblemError(
            415, "not-json", "The body has to be JSON.", remedy="Send it with 'Content-Type: application/json'.",
            headers={"Accept": "application/json"},
        )  # fmt: skip
    request.max_content_length = MOST_BYTES
    try:
        raw = request.get_data(cache=False)
    except RequestEntityTooLarge:
        raise ProblemError(
            413, "too-large", f"The body is longer than the {MOST_BYTES:,} bytes that are read here; nothing was done with it.",
            remedy="One request records one job: send several, or import a file of many: driftbook import FILE",
        ) from None  # fmt: skip
    try:
        said = json.loads(raw.decode(), parse_constant=_no_number, object_pairs_hook=_once)
        # A half of a pair of surrogates is no letter, and no database takes it.
        json.dumps(said, ensure_ascii=False).encode()
    except (ValueError, RecursionError) as fault:
        told = str(fault) if isinstance(fault, json.JSONDecodeError | _TwiceError) else "it is no text that can be kept"
        raise ProblemError(
            400, "not-readable", f"The body is no JSON: {told[:200]}", remedy="Correct it and send it again."
        ) from None
    errors = [where for error in _body_validator(operation.body).iter_errors(said) for where in _places(error)]
    if errors:
        raise ProblemError(
            422, "not-valid", "The body is not as it has to be.", remedy="'errors' says what, where, and what is expected.",
            errors=errors[:MOST_ERRORS],
        )  # fmt: skip
    return said


class _TwiceError(ValueError):
    """A name that stands twice in one object: one of the two would be lost."""


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise _TwiceError("a name stands twice in one object")
    return found


def _no_number(text: str) -> Any:
    raise _TwiceError(f"{text} is no number")


def pointer(*parts: Any) -> str:
    """Write a JSON pointer as the fragment of an address (RFC 6901, section 6)."""
    return "#" + "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)


def _places(error: Any) -> list[Where]:
    at = list(error.absolute_path)
    if error.validator == "required":
        # One error a missing name comes from the checker; the name itself stands in its sentence only.
        name = next((one for one in error.validator_value if error.message.startswith(repr(one))), "")
        return [{"pointer": pointer(*at, name), "detail": "It is missing.", "remedy": _expected(error.schema, name)}]
    if error.validator == "anyOf":
        # At least one of some names is needed: the first one is told as missing, and its description tells when it may be.
        name = error.validator_value[0]["required"][0]
        return [{"pointer": pointer(*at, name), "detail": "It is missing.", "remedy": _expected(error.schema, name)}]
    if error.validator == "additionalProperties":
        known = error.schema["properties"]
        listed = ", ".join(known)
        return [
            {"pointer": pointer(*at, name), "detail": "It is not known here.", "remedy": f"Known: {listed}."}
            for name in error.instance
            if name not in known
        ]
    return [{"pointer": pointer(*at), "detail": sentence(error), "remedy": _expected(error.schema)}]


def _expected(schema: Any, name: str = "") -> str:
    part = schema.get("properties", {}).get(name, {}) if name else schema
    return str(part.get("description", "See the description: /api/v1/openapi.json."))


def sentence(error: Any) -> str:
    """Say in a sentence what is wrong with a value."""
    rule, wanted = error.validator, error.validator_value
    shown = json.dumps(error.instance, ensure_ascii=False, default=str)[:60]
    kinds = wanted if isinstance(wanted, list) else [wanted]
    told: Mapping[str, Callable[[], str]] = {
        "type": lambda: f"{shown} is no {' or '.join(map(str, kinds))}.",
        "enum": lambda: f"{shown} is none of: {', '.join(map(str, kinds))}.",
        "minimum": lambda: f"{shown} is below {wanted:g}.",
        "maximum": lambda: f"{shown} is above {wanted:g}.",
        "minLength": lambda: "It is blank.",
        "maxLength": lambda: f"It is longer than {wanted} letters.",
        "maxItems": lambda: f"It has more than {wanted} members.",
        "minProperties": lambda: "It is empty.",
        "pattern": lambda: f"{shown} does not have the form that is expected.",
    }
    return told[rule]() if rule in told else f"{shown} is not as it has to be."
