"""The subcommand serve: show a book in the browser."""

from __future__ import annotations

import argparse
import logging
import os
import re
import socket
from contextlib import ExitStack, closing
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dashboard.console.common import opened, out, settings_of
from dashboard.console.endings import DONE, NOT_DONE
from dashboard.front import read_proxy
from models.errors import DriftbookError
from models.settings import Settings

if TYPE_CHECKING:
    from models.store.pool import PoolUse

LOG = logging.getLogger("driftbook.server")

_NAME = re.compile(r"[\w*][\w.*-]*|\[?[0-9A-Fa-f:.]+\]?")
"""A name or an address, as browsers send it; a port is compared by nobody."""

LOOPBACK = ("127.0.0.1", "localhost", "::1")


@dataclass(frozen=True, slots=True)
class Door:
    """How people come in: without being asked, under which names of the server, through which server in front."""

    open: bool = False
    names: tuple[str, ...] = ()
    proxy: str | None = None


def run_serve(given: argparse.Namespace) -> int:
    """Serve a book until it is stopped; with a log of JSON, why it does not start is a line of that log."""
    begin_log(given.log)
    try:
        _serve(given)
    except Exception as fault:
        if given.log != "json" or os.environ.get("DRIFTBOOK_DEBUG"):
            raise
        known = isinstance(fault, DriftbookError)
        LOG.log(logging.ERROR, "It does not start, or cannot go on: %s", " ".join(str(fault).split()), exc_info=None if known else fault)  # fmt: skip
        return NOT_DONE
    return DONE


def begin_log(log: str) -> None:
    """Begin the log of a server.

    Parameters
    ----------
    log : str
        "quiet" for what needs somebody's eye only, or everything as "text" or "json". [unitless]
    """
    from dashboard.logs import ACCESS, write_json
    from dashboard.security import install_log

    install_log()
    for logger in (logging.getLogger(ACCESS), LOG):
        logger.setLevel(logging.WARNING if log == "quiet" else logging.NOTSET)
    if log == "json":
        write_json()


def _serve(given: argparse.Namespace) -> None:
    from dashboard.cli import DEFAULT_PORT

    settings = settings_of(given, lambda line: LOG.warning("%s", line))
    if given.proxy is not None and not given.name:
        raise DriftbookError(
            "Behind another server the name has to be known under which browsers reach it.",
            remedy="Give it: --name HOST.",
        )
    for name in given.name:
        if not _NAME.fullmatch(name):
            raise DriftbookError(
                f"'{name}' is no name of a server.",
                remedy="Give it without http:// and without a path: --name book.example.net",
            )
    proxy = read_proxy(given.proxy, given.host) if given.proxy is not None else None
    port = given.port if given.port is not None else free_port(given.host, DEFAULT_PORT)
    if not 1 <= given.threads <= 200:
        raise DriftbookError(
            f"{given.threads} threads are not taken.", remedy="Give a number from 1 to 200; 8 is the rule."
        )
    door = Door(given.open, tuple(given.name), proxy)
    serve_book(settings, given.host, port, door=door, threads=given.threads)


def free_port(host: str, wanted: int) -> int:
    """Give the wanted port, or the next free one of twenty."""
    for port in range(wanted, wanted + 20):
        with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError:
                continue
            return port
    return 0


def serve_book(
    settings: Settings,
    host: str,
    port: int,
    *,
    greeting: str = "",
    door: Door | None = None,
    threads: int = 8,
) -> None:
    """Open a book, warm the pages up and serve them; without a door nobody is asked who they are.

    Parameters
    ----------
    settings : Settings
        Where the book is. [unitless]
    host : str
        Address to listen on. [unitless]
    port : int
        Port to listen on, 0 for any free one. [unitless]
    greeting : str
        What is said first. [unitless]
    door : Door, optional
        How people come in. [unitless]
    threads : int
        Requests that are answered at a time. [unitless]

    Raises
    ------
    DriftbookError
        If others could reach a book without accounts, or the port cannot be opened.
    """
    from dashboard.app import create_app
    from dashboard.auth.access import Access
    from dashboard.auth.outside import read_outside
    from dashboard.context import system_clock
    from dashboard.desk import BookDesk
    from dashboard.server import serve
    from dashboard.version import program_version
    from models.store.pool import pool_use
    from models.store.reader import Reader
    from models.store.readiness import readiness
    from models.store.replica import Replica
    from models.store.revision import needed_revision
    from models.store.roles import within_rights
    from models.store.signing import signs
    from models.store.silence import Attention

    with ExitStack() as stack:
        engine = stack.enter_context(opened(settings))
        if not settings.is_file:
            Attention(engine)
        access = None if door is None else Access(engine, system_clock)
        asked = access is not None and access.needed()
        others = host not in LOOPBACK or (door is not None and door.proxy is not None)
        if door is not None and others and not asked and not door.open:
            raise DriftbookError(
                "Others could reach this server, and the book has no account: anybody could write under any name.",
                remedy='Make the first one: driftbook people add LOGIN --name "…" --role administrator. Or add --open: then nobody is asked '
                "who they are, and whoever reaches the server may read and write everything.",
            )
        reader = Reader(engine, settings.cache_folder)
        replica = None if settings.replica is None else stack.enter_context(closing(Replica(reader, settings.replica)))
        app = create_app(
            settings, reader, desk=BookDesk(engine), access=access,
            outside=read_outside(os.environ) if access is not None else None, hosts=_hosts(host, door),
            probe=lambda: within_rights(engine, readiness(engine, settings)), replica=replica, signs=lambda: signs(engine),
        )  # fmt: skip
        _warn_of_threads(threads, pool_use(engine), is_file=settings.is_file)
        signs(engine)  # a key that is lost is told at the start, before anything is recorded

        def ready(address: str) -> None:
            if greeting:
                out.print(greeting)
            out.print(f"driftbook shows {settings.shown} at [bold]{address}[/bold]   (stop with Ctrl+C)")
            if replica is not None:
                used = (
                    "What only shows is read from" if replica.look() is not None else "Not used for now is the replica"
                )
                out.print(f"{used} {replica.shown}.", soft_wrap=True)
            LOG.info(
                "Started: driftbook %s for books of revision %s shows %s at %s, with %d threads, as process %d.",
                program_version(), needed_revision(), settings.shown, address, threads, os.getpid(),
            )  # fmt: skip
            out.print("Everybody has to sign in." if asked else "Nobody is asked who they are.")
            if others and not asked:
                out.print("It listens beyond this machine: keep it inside a network that you trust.")

        try:
            serve(app, host, port, ready, proxy=None if door is None else door.proxy, threads=threads)
        except OSError as fault:
            raise DriftbookError(
                f"Cannot listen on {host}:{port}: {fault.strerror}.",
                remedy="Choose another: --port 0 takes any free one.",
            ) from fault


def _warn_of_threads(threads: int, use: PoolUse | None, *, is_file: bool) -> None:
    """Say in the log where more requests are answered at a time than there may be connections to the book."""
    if use is not None and threads > use.most:
        LOG.warning(
            "--threads %d answers more requests at a time than this process may have connections to the book, %d: some will wait for one, "
            "and be told to come again. Give fewer threads%s.",
            threads, use.most, "" if is_file else ", or more connections (DRIFTBOOK_POOL_SIZE, DRIFTBOOK_POOL_EXTRA)",
        )  # fmt: skip


def _hosts(host: str, door: Door | None) -> tuple[str, ...] | None:
    """Give the names under which browsers may ask: on loopback only those of loopback, unless others are given."""
    given = () if door is None else door.names
    if host in LOOPBACK:
        return (*LOOPBACK, *given)
    return (*LOOPBACK, *given) if given else None
