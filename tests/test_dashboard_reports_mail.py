"""The review by mail: through a server of other make, encrypted, with a password that stands in no text; and its schedule."""

from __future__ import annotations

import re
import ssl
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult

from dashboard.cli import _parser
from dashboard.console.proving import run_head
from dashboard.console.reporting import last_month_over, run_report
from dashboard.reports import mail
from dashboard.reports.mail import MailError, MailSettings, message_of, read_mail_settings, send
from dashboard.reports.press import Paper, print_pdf
from models.errors import DriftbookError, InvalidValueError
from models.settings import Settings
from tests.papers import text_of
from tests.record_book import JOBS, open_book
from tests.seeded import bring_in, write

ROOT = Path(__file__).parents[1]
SECRET = "correct horse battery"  # noqa: S105 - of a server that lives for a test
WHO = {"DRIFTBOOK_SMTP_FROM": "book@plant.example", "DRIFTBOOK_MAIL_TO": "manager@plant.example, second@plant.example"}


@dataclass
class Taken:
    """What a server took."""

    envelopes: list[Any] = field(default_factory=list)
    logins: list[tuple[str, str]] = field(default_factory=list)
    encrypted: list[bool] = field(default_factory=list)

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802, ARG002 - the names that the server asks for
        self.envelopes.append(envelope)
        self.encrypted.append(session.ssl is not None)
        return "250 taken"

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:  # noqa: N802, ARG002
        if address.startswith("refused"):
            return "550 not here"
        envelope.rcpt_tos.append(address)
        return "250 ok"

    def login(self, server: SMTP, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:  # noqa: ARG002
        self.logins.append((data.login.decode(), data.password.decode()))
        return AuthResult(success=data.password.decode() == SECRET, handled=False)


class Server(Controller):
    """A server on a free port, which it tells."""

    def _trigger_server(self) -> None:
        assert self.server is not None
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()


Start = Callable[..., tuple[Server, Taken]]


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def start(authority: trustme.CA) -> Iterator[Start]:
    running: list[Server] = []

    def make(*, tls: bool = True, asks: bool = False, name: str = "localhost") -> tuple[Server, Taken]:
        taken = Taken()
        options: dict[str, Any] = {}
        if tls:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            authority.issue_cert(name).configure_cert(context)
            options |= {"tls_context": context, "require_starttls": True}
        if asks:
            options |= {"authenticator": taken.login, "auth_required": True, "auth_require_tls": tls}
        server = Server(taken, hostname="127.0.0.1", port=0, **options)
        server.start()
        running.append(server)
        return server, taken

    yield make
    for one in running:
        one.stop()


@pytest.fixture
def certificates(authority: trustme.CA, tmp_path: Path) -> str:
    path = tmp_path / "ca.pem"
    authority.cert_pem.write_to_path(str(path))
    return str(path)


def message() -> EmailMessage:
    settings = MailSettings("x", 1, "book@plant.example", ("manager@plant.example",))
    return message_of(
        settings,
        "Review\nBcc: x@y.example",
        "Hällo",
        ("review.pdf", b"%PDF-1.7 ..."),
        datetime(2026, 11, 25, tzinfo=UTC),
    )


def settings_for(server: Server, certificates: str, **more: str) -> MailSettings:
    return read_mail_settings(
        {
            **WHO,
            "DRIFTBOOK_SMTP_HOST": "localhost",
            "DRIFTBOOK_SMTP_PORT": str(server.port),
            "DRIFTBOOK_SMTP_CA": certificates,
            **more,
        }
    )


def test_it_goes_encrypted_and_with_a_password_to_everybody(start: Start, certificates: str) -> None:
    server, taken = start(asks=True)
    send(settings_for(server, certificates, DRIFTBOOK_SMTP_USER="book", DRIFTBOOK_SMTP_PASSWORD=SECRET), message())
    assert taken.logins == [("book", SECRET)]
    assert taken.encrypted == [True]
    assert taken.envelopes[0].rcpt_tos == ["manager@plant.example"]
    told = message_from_bytes(taken.envelopes[0].content, policy=policy.default)
    assert told["Subject"] == "Review Bcc: x@y.example"
    assert told["Bcc"] is None, "a line break in a subject makes no header"
    assert told.get_body().get_content().splitlines() == ["Hällo"]  # type: ignore[union-attr]
    assert next(told.iter_attachments()).get_content() == b"%PDF-1.7 ..."


def test_a_wrong_password_is_told_without_telling_it(
    start: Start, certificates: str, caplog: pytest.LogCaptureFixture
) -> None:
    server, taken = start(asks=True)
    wrong = "wrong and secret"
    settings = settings_for(server, certificates, DRIFTBOOK_SMTP_USER="book", DRIFTBOOK_SMTP_PASSWORD=wrong)
    with pytest.raises(MailError) as told:
        send(settings, message())
    assert not taken.envelopes
    assert wrong not in str(told.value)
    assert wrong not in repr(settings)
    assert wrong not in caplog.text
    assert "does not let book in" in told.value.message
    assert told.value.__cause__ is None


def test_a_server_that_does_not_encrypt_gets_nothing(start: Start, certificates: str) -> None:
    server, taken = start(tls=False)
    with pytest.raises(MailError) as told:
        send(settings_for(server, certificates), message())
    assert "STARTTLS" in str(told.value)
    assert not taken.envelopes


def test_a_certificate_of_a_stranger_is_refused(start: Start, certificates: str) -> None:
    server, taken = start(name="other.example")
    with pytest.raises(MailError) as told:
        send(settings_for(server, certificates), message())
    assert "certificate" in str(told.value)
    assert not taken.envelopes


def test_without_encryption_only_where_that_was_said_and_never_with_a_password(start: Start, certificates: str) -> None:
    server, taken = start(tls=False)
    send(settings_for(server, certificates, DRIFTBOOK_SMTP_SECURITY="none"), message())
    assert taken.encrypted == [False]
    with pytest.raises(InvalidValueError, match="never sent without encryption"):
        settings_for(
            server,
            certificates,
            DRIFTBOOK_SMTP_SECURITY="none",
            DRIFTBOOK_SMTP_USER="b",
            DRIFTBOOK_SMTP_PASSWORD=SECRET,
        )


def test_an_address_that_the_server_refuses_is_told(start: Start, certificates: str) -> None:
    server, _ = start()
    both = read_mail_settings(
        {**WHO, "DRIFTBOOK_SMTP_CA": certificates}, to=["manager@plant.example", "refused@plant.example"], server=f"localhost:{server.port}"
    )  # fmt: skip
    told = message_of(both, "s", "b", ("x.pdf", b"x"), datetime(2026, 11, 25, tzinfo=UTC))
    with pytest.raises(MailError, match=r"refused@plant\.example"):
        send(both, told)


def test_nobody_at_the_other_end_is_told_in_words() -> None:
    settings = MailSettings("127.0.0.1", 9, "book@plant.example", ("manager@plant.example",))
    with pytest.raises(MailError) as told:
        send(settings, message())
    assert "port 9" in told.value.message
    assert told.value.remedy


def test_what_was_typed_goes_before_the_environment(tmp_path: Path) -> None:
    kept = tmp_path / "password"
    kept.write_text(f"{SECRET}\n", encoding="utf-8")
    environ = {
        **WHO,
        "DRIFTBOOK_SMTP_HOST": "mail",
        "DRIFTBOOK_SMTP_PORT": "2525",
        "DRIFTBOOK_SMTP_USER": "u",
        "DRIFTBOOK_SMTP_PASSWORD_FILE": str(kept),
    }
    known = read_mail_settings(environ)
    assert (known.host, known.port, known.security, known.password) == ("mail", 2525, "starttls", SECRET)
    assert known.to == ("manager@plant.example", "second@plant.example")
    typed = read_mail_settings(
        environ, to=["x@y.example"], server="other", user="v", sender="z@y.example", security="tls"
    )
    assert (typed.host, typed.port, typed.user, typed.sender, typed.to) == (
        "other",
        465,
        "v",
        "z@y.example",
        ("x@y.example",),
    )


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"DRIFTBOOK_SMTP_HOST": ""}, "which mail server"),
        ({"DRIFTBOOK_SMTP_HOST": "mail:0"}, "no port"),
        ({"DRIFTBOOK_SMTP_HOST": "mail", "DRIFTBOOK_SMTP_PORT": "smtp"}, "no port"),
        ({"DRIFTBOOK_MAIL_TO": ""}, "to whom"),
        ({"DRIFTBOOK_MAIL_TO": "manager"}, "no mail address"),
        (
            {"DRIFTBOOK_SMTP_FROM": ""},
            "from which address the mail comes.\nName it: --from ADDRESS, or DRIFTBOOK_SMTP_FROM",
        ),
        ({"DRIFTBOOK_SMTP_FROM": "", "DRIFTBOOK_SMTP_USER": "book"}, "from which address"),
        ({"DRIFTBOOK_SMTP_FROM": "book\nBcc: x@y.example"}, "no mail address"),
        ({"DRIFTBOOK_SMTP_SECURITY": "ssl3"}, "no way of encrypting"),
        ({"DRIFTBOOK_SMTP_CA": "nowhere/ca.pem"}, "DRIFTBOOK_SMTP_CA.*nowhere/ca.pem.*No such file"),
        ({"DRIFTBOOK_SMTP_CA": __file__}, "DRIFTBOOK_SMTP_CA.*cannot be read"),
        ({"DRIFTBOOK_SMTP_USER": "u", "DRIFTBOOK_SMTP_PASSWORD_FILE": "nowhere/at/all"}, "cannot be read"),
    ],
)
def test_what_is_missing_or_wrong_is_told_before_anything_is_sent(changed: dict[str, str], says: str) -> None:
    with pytest.raises(DriftbookError, match=says):
        read_mail_settings({**WHO, "DRIFTBOOK_SMTP_HOST": "mail", **changed})


def given(*typed: str) -> Any:
    return _parser().parse_args(["report", *typed])


def test_the_command_sends_the_review_with_the_paper_inside(
    sqlite_book: Settings, tmp_path: Path, start: Start, certificates: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:  # fmt: skip
    server, taken = start(asks=True)
    environ = {
        **WHO,
        "DRIFTBOOK_SMTP_CA": certificates,
        "DRIFTBOOK_SMTP_USER": "book",
        "DRIFTBOOK_SMTP_PASSWORD": SECRET,
    }
    monkeypatch.chdir(tmp_path)
    with open_book(sqlite_book, tmp_path) as opened:

        def slowly(paper: Paper) -> bytes:
            """Somebody records a job while the paper is being printed."""
            late = f"{JOBS.splitlines()[0]}\nJ6,F-1,2025-11-20 09:00,planned,Ana Wick,D-1,0.3,0.3,0,0,0,0,0,0,,,\n"
            assert bring_in(opened.reader.engine, opened.site, *write(tmp_path, late=late)).written
            return print_pdf(paper)

        monkeypatch.setattr("dashboard.console.reporting.print_pdf", slowly)
        arguments = given(
            "month", "2025-11", "--book", sqlite_book.book, "--mail", "--smtp", f"localhost:{server.port}"
        )
        assert run_report(arguments, environ) == 0
    told = message_from_bytes(taken.envelopes[0].content, policy=policy.default)
    assert told["To"] == "manager@plant.example, second@plant.example"
    assert "November 2025" in told["Subject"]
    body = told.get_body().get_content()  # type: ignore[union-attr]
    assert "1 job on 1 machine" in body
    assert re.search(
        r"Due now: \d machines? of 2 in service by the rule of 12 months; \d more due within 31 days; by risk", body
    )
    paper = next(told.iter_attachments())
    assert paper.get_filename() == "review-2025-11.pdf"
    printed = text_of(paper.get_content())
    assert "Alignment review, November 2025" in printed
    assert "1 job on 1 machine" in printed
    assert SECRET not in capsys.readouterr().out
    assert not (tmp_path / "review-2025-11.pdf").exists(), "what was sent needs no file, unless one was asked for"


def test_a_review_that_could_not_be_sent_is_kept_as_a_file(
    sqlite_book: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with open_book(sqlite_book, tmp_path):
        arguments = given("month", "2025-11", "--book", sqlite_book.book, "--mail", "--smtp", "127.0.0.1:9")
        with pytest.raises(MailError, match=r"The paper was written to review-2025-11\.pdf"):
            run_report(arguments, WHO)
        with pytest.raises(MailError, match="was not sent") as told:  # a head is no paper
            run_head(
                _parser().parse_args(
                    ["head", "--book", sqlite_book.book, "--mail", "a@plant.example", "--smtp", "127.0.0.1:9"]
                ),
                WHO,
            )
        assert "written" not in str(told.value)
        with pytest.raises(InvalidValueError, match="has not begun"):
            run_report(given("month", "2099-01", "--book", sqlite_book.book), {})
    assert (tmp_path / "review-2025-11.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("today", "month"),
    [
        (date(2026, 11, 1), date(2026, 10, 1)),
        (date(2026, 1, 31), date(2025, 12, 1)),
        (date(2026, 3, 30), date(2026, 2, 1)),
    ],
)
def test_a_schedule_asks_for_the_month_that_is_over(today: date, month: date) -> None:
    assert last_month_over(today) == month


def test_the_examples_of_schedules_call_what_the_command_understands() -> None:
    service = (ROOT / "deploy/systemd/driftbook-report.service").read_text(encoding="utf-8")
    timer = (ROOT / "deploy/systemd/driftbook-report.timer").read_text(encoding="utf-8")
    script = (ROOT / "deploy/windows/monthly-report.cmd").read_text(encoding="utf-8")
    task = ET.parse(ROOT / "deploy/windows/monthly-report.xml").getroot()  # noqa: S314 - our own file
    called = [line.partition("=")[2] for line in service.splitlines() if line.startswith("ExecStart=")]
    called += [line.partition(" >>")[0] for line in script.splitlines() if "driftbook.exe" in line]
    assert len(called) == 2
    for line in called:
        typed = line.split()[1:]
        assert _parser().parse_args(typed).mail == []
    assert "OnCalendar=*-*-01 " in timer
    space = {"t": "http://schemas.microsoft.com/windows/2004/02/mit/task"}
    assert task.findtext("t:Triggers/t:CalendarTrigger/t:ScheduleByMonth/t:DaysOfMonth/t:Day", namespaces=space) == "1"
    assert len(task.findall("t:Triggers/t:CalendarTrigger/t:ScheduleByMonth/t:Months/*", space)) == 12
    named = set(re.findall(r"DRIFTBOOK_\w+", service + script))
    assert "DRIFTBOOK_SMTP_PASSWORD_FILE" in named
    assert named <= {mail.HOST, mail.USER, mail.TO, mail.PASSWORD_FILE, "DRIFTBOOK_BOOK"}, (
        "the command knows each of them"
    )
    for text in (service, script):
        assert "DRIFTBOOK_SMTP_PASSWORD=" not in text, "no password stands in an example"
