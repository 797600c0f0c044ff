"""The one description of the interface: every operation with its parameters, answers and permission.

The document that is published is made of it, the routes are made of it, and
requests are checked by it; so none of the three can say something else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

from dashboard.api.schemas import LINE, NAME, SCHEMAS, Schema, one_of, to, whole
from dashboard.views.due_page_view import DEFAULT_RISK, RISKS
from models.values.kinds import Kind
from models.values.roles import Permission

PREFIX: Final = "/api/v1"

MOST_ON_PAGE: Final = 500
ON_PAGE: Final = 100
MOST_DAYS: Final = 3660
DAYS: Final = 92
"""How far ahead the due list looks unless it is told: a quarter, as the page does."""


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter of an address or a header; ``default`` is what holds where it is left out."""

    name: str
    schema: Schema
    says: str
    where: Literal["query", "path", "header"] = "query"
    default: Any = None

    @property
    def whole(self) -> bool:
        """Tell whether it is a whole number."""
        return bool(self.schema.get("type") == "integer")


@dataclass(frozen=True, slots=True)
class Operation:
    """One thing that can be asked for; ``columns`` where the answer stands on the history as columns, ``estimates`` where also on its study."""

    name: str
    method: Literal["GET", "POST"]
    path: str
    says: str
    permission: Permission
    answer: str
    parameters: tuple[Parameter, ...] = ()
    body: str = ""
    at_site: bool = True
    columns: bool = False
    estimates: bool = False
    more: str = ""

    @property
    def writes(self) -> bool:
        """Tell whether it writes into the book."""
        return self.method == "POST"

    @property
    def status(self) -> int:
        """Give the status of an answer that is none of a problem."""
        return 201 if self.writes else 200

    @property
    def query(self) -> dict[str, Parameter]:
        """Give the parameters of the query by name."""
        return {one.name: one for one in self.parameters if one.where == "query"}

    @property
    def in_path(self) -> dict[str, Parameter]:
        """Give the parameters of the path by name."""
        return {one.name: one for one in self.parameters if one.where == "path"}


_TAG = Parameter(
    "tag", {"type": "string", "minLength": 1, "maxLength": 80, "pattern": NAME}, "Tag of the machine.", "path"
)
_ENTRY = Parameter("entry", whole("Number of an entry."), "Entry of a version of the job.", "path")
_NUMBER = Parameter("number", whole("Number of an entry."), "Number of the entry.", "path")
_SIZE = Parameter(
    "size",
    whole("Size of a tree."),
    "Number of entries that the head covers; only kept heads can be asked for.",
    "path",
)
_SITE = Parameter(
    "site",
    {"type": "string", "minLength": 1, "maxLength": 40, "pattern": LINE},
    "Code of the site; the first one where it is left out. A token holds for one site only.",
)
_LIMIT = Parameter("limit", whole("Longest page.", most=MOST_ON_PAGE), "Longest page.", default=ON_PAGE)
_CURSOR = Parameter(
    "cursor",
    {"type": "string", "maxLength": 40, "pattern": r"^[0-9]{1,12}\.[0-9a-f]{16}$"},
    "Take it from 'next'; it means nothing by itself.",
)
_RISK = Parameter(
    "risk",
    {"type": "integer", "enum": list(RISKS)},
    "Accepted probability of being over limit, in per cent.",
    default=DEFAULT_RISK,
)
_BEFORE = Parameter("before", whole("Number of an entry."), "Only what is older than this number.")
_KEY = Parameter(
    "Idempotency-Key",
    {"type": "string", "minLength": 1, "maxLength": 255, "pattern": "^[!-~]([ -~]*[!-~])?$"},
    "A text of your own choice, new with every new request. Sent again with the same body, the request is not done again and the first answer "
    "comes back; with another body it is refused. Quotes around it do not matter.",
    "header",
)


_MATCH = Parameter(
    "If-Match",
    {"type": "string", "minLength": 1, "maxLength": 1000, "pattern": r'^(\*|"[!#-~]*"( *, *"[!#-~]*")*)$'},
    "The ETag that GET /jobs/{entry} gave for the version that is meant (RFC 9110, section 13.1.1). Where the number stands for anything else by now, 412 says "
    "so and nothing is written. It may be left out; send it: numbers are given anew where an older state of the book is put back.",
    "header",
)


def _text(name: str, most: int, says: str) -> Parameter:
    return Parameter(name, {"type": "string", "minLength": 1, "maxLength": most, "pattern": LINE}, says)


OPERATIONS: Final = (
    Operation("description", "GET", "/openapi.json", "This description.", Permission.OPEN, "", at_site=False),
    Operation("sites", "GET", "/sites", "The sites that may be asked about.", Permission.READ, "Sites", at_site=False),
    Operation(
        "assets", "GET", "/assets", "Machines, page by page.", Permission.READ, "Machines",
        (_SITE, _text("area", 120, "Only machines of this area; capitals do not matter."),
         _text("text", 200, "Only machines in whose tag, description, train, area or driven machine every word occurs; blanks and dashes of a tag do not matter."), _LIMIT, _CURSOR),
        columns=True,
    ),
    Operation(
        "asset", "GET", "/assets/{tag}", "Everything about a machine but its jobs.", Permission.READ, "MachineStory", (_TAG, _SITE, _RISK),
        columns=True, estimates=True,
    ),
    Operation("asset_jobs", "GET", "/assets/{tag}/jobs", "All versions of all jobs of a machine.", Permission.READ, "JobVersions", (_TAG, _SITE)),
    Operation(
        "jobs", "GET", "/jobs", "Jobs by the entry of their newest version, the oldest first.", Permission.READ, "Jobs",
        (_SITE, _text("ref", 120, "Only the job that bears this number, or bore it."), _text("work_order", 120, "Only jobs of this work order."),
         _text("tag", 80, "Only jobs of this machine, by any of its tags; of a record that was merged also those of the machine that holds them now."), Parameter("since", whole("Number of an entry.", least=0), "Only jobs whose newest version came after this entry.", default=0), _LIMIT),
        more="What is new: read to the last page, keep its 'head', and send it as 'since' the next time. A job that was amended, voided or taken back since then is "
        "new again, as its newest version; 'first_entry' stays. Numbers and orders are compared letter by letter. A work order alone is looked for in all jobs of the "
        "site: name the machine or 'since' too where the book is large. Where an older state of "
        "the book was put back, its last numbers are given anew: 409 (`list-changed`) while it ends before 'since', and nothing tells it later; begin again then.",
    ),
    Operation("job", "GET", "/jobs/{entry}", "One version of a job.", Permission.READ, "JobVersion", (_ENTRY, _SITE)),
    Operation(
        "record", "POST", "/jobs", "Record a job.", Permission.RECORD, "JobVersion", (_SITE, _KEY), body="NewJob",
        more="It is checked as on the page Record: what cannot be is refused; what is nearly always a slip needs a stated reason.",
    ),
    Operation(
        "amend", "POST", "/jobs/{entry}/amendment", "Amend a version of a job; nothing is edited, a new version takes its place.",
        Permission.AMEND, "JobVersion", (_ENTRY, _SITE, _KEY, _MATCH), body="Amendment",
    ),
    Operation(
        "void", "POST", "/jobs/{entry}/void", "Void a job, or take a void one back; nothing is deleted, a new version says so.",
        Permission.AMEND, "JobVersion", (_ENTRY, _SITE, _KEY, _MATCH), body="Voiding",
        more="For a job that was recorded on the wrong machine, twice, or by mistake. A void job counts nowhere and stays readable; its number "
        "is never given to another job; it can be neither amended nor signed off until it is taken back.",
    ),
    Operation(
        "due", "GET", "/due", "What is to be looked at now and next.", Permission.READ, "DueList",
        (_SITE, Parameter("by", one_of(("risk", "rule"), "By what."), "By forecast and accepted risk, or by the rule of the calendar.", default="risk"),
         _RISK, Parameter("within", whole("Days.", least=0, most=MOST_DAYS), "How many days ahead.", default=DAYS), _LIMIT, _CURSOR),
        columns=True, estimates=True,
    ),
    Operation(
        "entries", "GET", "/entries", "Entries of the book, the newest first.", Permission.AUDIT, "EntryLines",
        (_SITE, Parameter("kind", one_of(Kind, "Kind."), "Only entries of this kind."), _text("tag", 80, "Only what speaks of this machine."),
         _text("person", 120, "Only what this person wrote, did or reviewed, or what speaks of them."),
         _text("instrument", 80, "Only what speaks of this instrument."), _text("ref", 120, "Only versions of the job of this number."), _BEFORE, _LIMIT),
    ),
    Operation("entry", "GET", "/entries/{number}", "One entry with its statement.", Permission.AUDIT, "Entry", (_NUMBER, _SITE)),
    Operation("heads", "GET", "/heads", "Kept heads of the tree, the newest first.", Permission.AUDIT, "Heads", (_BEFORE, _LIMIT), at_site=False),
    Operation("head", "GET", "/heads/{size}", "One kept head.", Permission.AUDIT, "Head", (_SIZE,), at_site=False),
    Operation(
        "inclusion", "GET", "/entries/{number}/proof", "Proof that an entry is in the tree of a head.", Permission.AUDIT, "Inclusion",
        (_NUMBER, _SITE, Parameter("size", whole("Size of a tree."), "Of which head; the newest where it is left out.")),
    ),
    Operation(
        "consistency", "GET", "/heads/{size}/consistency", "Proof that an older head is the beginning of this one.", Permission.AUDIT, "Consistency",
        (_SIZE, Parameter("from", whole("Size of a tree."), "Size of the older head; needed.", default=...)), at_site=False,
    ),
)  # fmt: skip
"""Everything that can be asked for.  A default of ``...`` means that the parameter is needed."""

ROUTES: Final[dict[str, Permission]] = {
    **{f"api.{one.name}": one.permission for one in OPERATIONS},
    "api.nowhere": Permission.OPEN,
}
"""What each endpoint of the interface asks for; the interface checks it itself, by token or session."""

ABOUT: Final = """\
What the book knows, for programs, and a way in for jobs.

**Units.** Offsets, feet and distances in mm; angularity in mm/m (= mrad = mil/in, the same number); temperatures in °C; hours; rpm. The
names of numbers end with their unit. Nothing is rounded. Vertical + is up; horizontal + is to the right for somebody at the movable
machine who looks towards the stationary one. Angularity + rises, or runs to the right, away from the coupling. Deviation = measured − target; a limit ratio up to 1 is within, above it over.

**Who asks.** Send `Authorization: Bearer TOKEN`; `driftbook token make` makes one. A token holds for one site, and may never do more than
its account. What it writes has the person of the account as author; `typed.through` names the token. A signed-in page may read with its
session, but writes need a token. A book without any account can be read by whoever reaches it, and cannot be written to through here.

**Twice.** A write with an `Idempotency-Key` is done once: sent again with the same body it gives the first answer, also when both are sent
at the same time. The answer is kept in the same transaction as the job, and for good. Answers that are problems are not kept: nothing was
written, so correct it and send it again. Where no key was sent and the answer was lost: a job number that is taken answers 409 with the `entry` that bears it, its address (`location`,
and the header), and whether it says the same (`same_content`); `GET /jobs?ref=` finds it too.

**What is meant.** An entry's number is one version's as long as the book is not put back to an older state: then its last numbers are given anew, to
other jobs. Before you amend, void or take back, get the job, and send the `ETag` of that answer as `If-Match`: the write is done to that version or to none
(412, `other-version`), and the check is made in the transaction that writes. Without `If-Match` it is done to whatever stands under the number. Sent again
under its `Idempotency-Key`, a write that was done gives its first answer, whatever `If-Match` says by then. The tag is a strong one; a proxy that packs
answers may make it weak (`W/`), and such a one never fits.

**Pages.** `next` and the header `Link` (RFC 8288) lead to the next page. Lists of entries, heads and jobs go by number: nothing slips by while the book grows. Lists
of machines and dates may change between two pages: the next page is given where the machines before it are those that were given, and otherwise 409 (`list-changed`):
begin again. So pages that were read to the end hold every machine of the list once. Reads carry an `ETag`; with `If-None-Match` an unchanged
answer is 304. The answer to one question may change without an entry: with the day of the site, with the hour (chances are those of the full hour), and when
estimates over all machines follow a new job (`estimates_head`).

**Problems** are `application/problem+json` (RFC 9457) with `code`, `detail`, `remedy`, and `errors` that point into the body. 503 says
nothing about the request: `busy` (somebody else writes, a large book is being read, or its server broke off what took too long), `book-away` (its database or disk does not answer),
`book-not-writable` (the disk is full, or only reading is allowed), `book-unusable` (damaged, or of another version). Send it again later; a
write with an `Idempotency-Key` is done once even where the answer to the first try was lost.

A forecast suggests when to look; it is no promise that a machine is in order until then. Before anybody works on a machine it is isolated, locked and tried,
by the rules of the site.
"""


def document(version: str) -> dict[str, Any]:
    """Make the OpenAPI document.

    Parameters
    ----------
    version : str
        Version of the tool. [unitless]
    """
    paths: dict[str, Any] = {}
    for operation in OPERATIONS:
        paths.setdefault(operation.path, {})[operation.method.lower()] = _described(operation)
    return {
        "openapi": "3.1.0",
        "info": {"title": "driftbook", "version": version, "description": ABOUT},
        "servers": [{"url": PREFIX}],
        "paths": paths,
        "components": {
            "schemas": SCHEMAS,
            "securitySchemes": {
                "token": {"type": "http", "scheme": "bearer", "description": "Made by 'driftbook token make'."},
            },
        },
    }


_WHEN_WRONG: Final = {
    400: "The request cannot be read.",
    401: "Nobody is named, or the token does not hold.",
    403: "The token may not do this.",
    404: "There is no such thing.",
    405: "There is no such method here.",
    409: "The book holds something else: the job number is taken, the version was amended or voided already, or a list has changed since the page before.",
    412: "The entry is not, or no longer, the version that If-Match names; nothing was written.",
    413: "The body is too large.",
    415: "The body is no JSON.",
    422: "Something is wrong with a parameter or with the body; 'errors' lists all of it.",
    503: "The book cannot be worked with now, as 'code' says; what was asked for may be right. Send it again after 'Retry-After' seconds.",
}


_HEADERS: Final = {401: "WWW-Authenticate", 503: "Retry-After"}
"""What always comes with a problem of a status."""


_TAGS: Final = {
    "description": "Changes with the description.",
    "sites": "Changes with what is said.",
    "job": "A strong tag of this version: see If-Match.",
}
"""What is said of the tag of an answer that has one of its own."""


def _described(operation: Operation) -> dict[str, Any]:
    wrong = [405, 422, 503] if operation.permission is Permission.OPEN else [401, 403, 405, 422, 503]
    if operation.in_path or operation.at_site:
        wrong.append(404)
    if operation.writes:
        wrong += [400, 409, 413, 415, *([412] if _MATCH in operation.parameters else [])]
    elif _CURSOR in operation.parameters or operation.name == "jobs":
        wrong.append(409)
    schema = to(operation.answer) if operation.answer else {"type": "object"}
    headers: dict[str, Any] = {"Cache-Control": {"schema": {"type": "string"}}}
    if operation.writes:
        told = "Address of the version."
        headers["Location"] = {"required": True, "schema": {"type": "string"}, "description": told}
    else:
        told = _TAGS.get(operation.name, "Changes with the book, and with the day.")
        if operation.estimates:
            told = "Changes with the book, with day and hour, and with the estimates over all machines."
        headers["ETag"] = {"required": True, "schema": {"type": "string"}, "description": told}
    answers: dict[str, Any] = {
        str(operation.status): {
            "description": SCHEMAS[operation.answer]["description"] if operation.answer else "The description.",
            "headers": headers,
            "content": {"application/json": {"schema": schema}},
        }
    }
    if not operation.writes:
        answers["304"] = {"description": "Nothing has changed."}
    for status in sorted(wrong):
        answers[str(status)] = {
            "description": _WHEN_WRONG[status],
            "content": {"application/problem+json": {"schema": to("Problem")}},
        }
        if status == 409 and operation.body in {"NewJob", "Amendment"}:
            told = "Where the job number is taken: address of the entry that bears it."
            answers["409"]["headers"] = {"Location": {"schema": {"type": "string"}, "description": told}}
        if status in _HEADERS:
            answers[str(status)]["headers"] = {_HEADERS[status]: {"required": True, "schema": {"type": "string"}}}
    described: dict[str, Any] = {
        "operationId": operation.name,
        "summary": operation.says,
        "parameters": [_parameter(one) for one in operation.parameters],
        "responses": answers,
        "security": [] if operation.permission is Permission.OPEN else [{"token": []}],
    }
    if operation.more:
        described["description"] = operation.more
    if operation.body:
        described["requestBody"] = {"required": True, "content": {"application/json": {"schema": to(operation.body)}}}
    return described


def _parameter(one: Parameter) -> dict[str, Any]:
    schema = {key: value for key, value in one.schema.items() if key != "description"}
    if one.default is not None and one.default is not ...:
        schema["default"] = one.default
    needed = one.where == "path" or one.default is ...
    return {"name": one.name, "in": one.where, "required": needed, "schema": schema, "description": one.says}
