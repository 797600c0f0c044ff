"""Sending the monthly review by mail: settings from what was typed and the environment, encrypted, never with a password in a log."""

from __future__ import annotations

import smtplib
import ssl
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime, make_msgid, parseaddr
from pathlib import Path

from dashboard.words import say
from models.errors import DriftbookError, InvalidValueError

HOST, PORT, USER, SENDER, SECURITY = (
    "DRIFTBOOK_SMTP_HOST",
    "DRIFTBOOK_SMTP_PORT",
    "DRIFTBOOK_SMTP_USER",
    "DRIFTBOOK_SMTP_FROM",
    "DRIFTBOOK_SMTP_SECURITY",
)
PASSWORD, PASSWORD_FILE = "DRIFTBOOK_SMTP_PASSWORD", "DRIFTBOOK_SMTP_PASSWORD_FILE"
TO, CERTIFICATES = "DRIFTBOOK_MAIL_TO", "DRIFTBOOK_SMTP_CA"
"""The environment's names.  There is no option for the password: what is typed stands in the list of processes."""

STARTTLS, TLS, NONE = "starttls", "tls", "none"
PORTS = {STARTTLS: 587, TLS: 465, NONE: 25}
"""Ways of encrypting and the port that each has by custom (RFC 6409, RFC 8314; numbers from memory)."""

WAIT_SECONDS = 30.0


class MailError(DriftbookError):
    """A message that could not be sent; what it was to carry is not lost."""


@dataclass(frozen=True, slots=True)
class MailSettings:
    """Through which server a message goes, from whom to whom; the password is kept out of every text of it."""

    host: str
    port: int
    sender: str
    to: tuple[str, ...]
    security: str = STARTTLS
    user: str = ""
    password: str = field(default="", repr=False)
    certificates: str = ""


def read_mail_settings(
    environ: Mapping[str, str],
    *,
    to: Sequence[str] = (),
    server: str | None = None,
    user: str | None = None,
    sender: str | None = None,
    security: str | None = None,
) -> MailSettings:
    """Build the settings from what was typed, then the environment.

    Parameters
    ----------
    environ : mapping of str to str
        The environment. [unitless]
    to : sequence of str
        Addresses of those who get it. [unitless]
    server : str or None
        Name of the server, with its port behind a colon where it is not the usual one. [unitless]
    user : str or None
        Name under which the server knows us. [unitless]
    sender : str or None
        Address of the sender. [unitless]
    security : str or None
        ``'starttls'``, ``'tls'`` or ``'none'``. [unitless]

    Raises
    ------
    InvalidValueError
        If something is missing or cannot be right.
    """
    chosen = security or environ.get(SECURITY) or STARTTLS
    if chosen not in PORTS:
        raise InvalidValueError(say("report.mail.security", asked=chosen))
    host, port = _server(
        server or environ.get(HOST, ""), environ.get(PORT, "") if server is None else "", PORTS[chosen]
    )
    receivers = tuple(one.strip() for one in (to or environ.get(TO, "").split(",")) if one.strip())
    login = user or environ.get(USER, "")
    from_ = sender or environ.get(SENDER, "") or (login if "@" in login else "")
    if not from_:
        raise InvalidValueError(say("report.mail.no_sender"), remedy=say("report.mail.no_sender.remedy"))
    for address in (from_, *receivers):
        _check(address)
    if not receivers:
        raise InvalidValueError(say("report.mail.nobody"), remedy=say("report.mail.nobody.remedy"))
    password = _password(environ) if login else ""
    if chosen == NONE and password:
        raise InvalidValueError(say("report.mail.bare"), remedy=say("report.mail.bare.remedy"))
    return MailSettings(host, port, from_, receivers, chosen, login, password, _certificates(environ))


def _certificates(environ: Mapping[str, str]) -> str:
    """Give the file with the certificates that are trusted, which has to be one; empty for those of the system."""
    path = environ.get(CERTIFICATES, "")
    try:
        ssl.create_default_context(cafile=path or None)
    except OSError as fault:  # what is no certificate is a kind of it
        said = fault.strerror or str(fault)
        raise InvalidValueError(say("report.mail.certificates", path=path, fault=said)) from None
    return path


def _server(text: str, port: str, usual: int) -> tuple[str, int]:
    host, colon, behind = text.strip().partition(":")
    if not host:
        raise InvalidValueError(say("report.mail.no_server"), remedy=say("report.mail.no_server.remedy"))
    number = behind if colon else port.strip() or str(usual)
    if not (number.isascii() and number.isdigit() and 0 < int(number) < 65_536):
        raise InvalidValueError(say("report.mail.port", asked=number))
    return host, int(number)


def _check(address: str) -> None:
    name, _, domain = parseaddr(address)[1].partition("@")
    if not (name and domain) or any(letter in address for letter in "\r\n,;"):
        raise InvalidValueError(say("report.mail.address", asked=address))


def _password(environ: Mapping[str, str]) -> str:
    if environ.get(PASSWORD):
        return environ[PASSWORD]
    path = environ.get(PASSWORD_FILE)
    if not path:
        return ""
    try:
        return Path(path).read_text(encoding="utf-8").rstrip("\r\n")
    except OSError as fault:
        raise InvalidValueError(say("report.mail.password_file", path=path, fault=fault.strerror or "")) from None


def message_of(
    settings: MailSettings, subject: str, body: str, attachment: tuple[str, bytes], made_at: datetime
) -> EmailMessage:  # fmt: skip
    """Write the message that carries a paper.

    Parameters
    ----------
    settings : MailSettings
        From whom to whom. [unitless]
    subject, body : str
        What it says. [unitless]
    attachment : tuple of str and bytes
        Name of the file and the PDF. [unitless]
    made_at : datetime
        When it was made. [unitless]
    """
    message = EmailMessage()
    message["Subject"] = " ".join(subject.split())
    message["From"] = settings.sender
    message["To"] = ", ".join(settings.to)
    message["Date"] = format_datetime(made_at)
    message["Message-ID"] = make_msgid(domain=parseaddr(settings.sender)[1].rpartition("@")[2])
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(body)
    name, pdf = attachment
    message.add_attachment(pdf, maintype="application", subtype="pdf", filename=name)
    return message


def send(settings: MailSettings, message: EmailMessage) -> None:
    """Hand a message to the server.

    Raises
    ------
    MailError
        If it was not taken; nothing in the error tells the password.
    """
    try:
        with _connected(settings) as server:
            if settings.user:
                server.login(settings.user, settings.password)
            refused = server.send_message(message)
    except smtplib.SMTPAuthenticationError:
        # The server's answer may repeat what was sent to it, so it is not shown.
        raise MailError(
            say("report.mail.login", server=settings.host, user=settings.user), remedy=say("report.mail.login.remedy")
        ) from None
    except (smtplib.SMTPException, OSError) as fault:
        said = str(fault) or type(fault).__name__
        if settings.password:
            said = said.replace(settings.password, "…")
        raise MailError(
            say("report.mail.failed", server=settings.host, port=settings.port, fault=said.rstrip(".")), remedy=say("report.mail.failed.remedy")
        ) from None  # fmt: skip
    if refused:
        raise MailError(say("report.mail.refused", names=", ".join(sorted(refused))))


def _connected(settings: MailSettings) -> smtplib.SMTP:
    """Connect, encrypted as the settings say; a server that does not encrypt is refused before anything is sent."""
    trusted = ssl.create_default_context(cafile=settings.certificates or None)
    if settings.security == TLS:
        return smtplib.SMTP_SSL(settings.host, settings.port, timeout=WAIT_SECONDS, context=trusted)
    server = smtplib.SMTP(settings.host, settings.port, timeout=WAIT_SECONDS)
    if settings.security == STARTTLS:
        try:
            server.starttls(context=trusted)
        except BaseException:
            server.close()
            raise
    return server
