"""The steps of the compose example and of deploy/README.md, one after another on a real PostgreSQL, up to a server that serves."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
import yaml

from tests.faults.test_faults_server import asked
from tests.test_deploy import COMPOSE, ROOT

SECRET = "of owner & app: 50 %/@"  # noqa: S105 - made up
"""With signs that mean something in an address."""

pytestmark = pytest.mark.skipif(os.name == "nt", reason="the examples need a POSIX shell")


@pytest.fixture
def server(postgres_url: str) -> Iterator[sa.URL]:
    """Give the address of a server with the owner's role and an empty database of the owner's, and nothing more."""
    administrator = sa.create_engine(postgres_url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)

    def clear(connection: sa.Connection) -> None:
        connection.exec_driver_sql("DROP DATABASE IF EXISTS driftbook WITH (FORCE)")
        for role in ("driftbook_app", "driftbook_owner"):
            connection.exec_driver_sql(f"DROP ROLE IF EXISTS {role}")

    with administrator.connect() as connection:
        clear(connection)
        connection.exec_driver_sql("CREATE ROLE driftbook_owner LOGIN CREATEROLE")
        connection.exec_driver_sql("CREATE DATABASE driftbook OWNER driftbook_owner")
    yield sa.make_url(postgres_url)
    with administrator.connect() as connection:
        clear(connection)
    administrator.dispose()


class Steps:
    """Runs what an example says, with its settings, where the server of the test is."""

    def __init__(self, server: sa.URL, folder: Path) -> None:
        self.server, self.folder = server, folder
        (folder / "bin").mkdir()
        command = folder / "bin/driftbook"
        command.write_text(f'#!/bin/sh\nexec {sys.executable} -m dashboard.cli "$@"\n')
        command.chmod(0o755)
        self.base = {
            "PATH": f"{folder / 'bin'}:{os.environ['PATH']}",
            "PYTHONPATH": str(ROOT),
            "USER": "tester",
            "COLUMNS": "300",
        }

    def address(self, written: str) -> str:
        """Give an address of the example with the role it names, at the server of the test."""
        user = sa.make_url(written).username
        given = self.server.set(drivername="postgresql", username=user, password=None, database="driftbook")
        return given.render_as_string(hide_password=False)

    def run(self, argv: list[str], environ: dict[str, str]) -> subprocess.CompletedProcess[str]:
        asks = ["--password-stdin"] if "people" in argv else []
        return subprocess.run(
            [*argv, *asks], capture_output=True, text=True, check=False, cwd=self.folder, env=self.base | environ,
            input="harbour kelp 1907 bell\n",
        )  # fmt: skip

    def serves(self, argv: list[str], environ: dict[str, str]) -> None:
        process = subprocess.Popen(
            [*argv, "--port", "0"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=self.folder,
            env=self.base | environ | {"PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        with process:
            assert process.stdout is not None
            try:
                said = process.stdout.readline()
                match = re.search(r":(\d+)/", said)
                assert match is not None, said
                assert asked(f"http://127.0.0.1:{match[1]}/readyz")[0] == 200
                assert "driftbook_book_signs 1" in asked(f"http://127.0.0.1:{match[1]}/metrics")[1]
                process.send_signal(signal.SIGTERM)
                process.communicate(timeout=30)
            finally:
                process.kill()
        assert process.returncode == 0


@pytest.fixture
def steps(server: sa.URL, tmp_path: Path) -> Steps:
    return Steps(server, tmp_path)


def service_of(steps: Steps, service: dict[str, Any]) -> tuple[list[str], dict[str, str]]:
    """Give how a service of the example is entered, and its settings, with the places of this test."""
    environ = {
        name: str(value).replace("/run/secrets", str(steps.folder)) for name, value in service["environment"].items()
    }
    environ["DRIFTBOOK_BOOK"] = steps.address(environ["DRIFTBOOK_BOOK"])
    environ["DRIFTBOOK_KEY"] = environ["DRIFTBOOK_KEY"].replace("/book", str(steps.folder))
    entry = [part.replace("/compose-entry.sh", str(ROOT / "deploy/compose-entry.sh")) for part in service["entrypoint"]]
    return entry, environ


def test_the_compose_example_comes_up_by_the_steps_of_its_first_lines(steps: Steps) -> None:
    psql = shutil.which("psql")
    if psql is None:
        pytest.skip("the script that makes the role needs psql")
    text = COMPOSE.read_text(encoding="utf-8")
    services = yaml.safe_load(text)["services"]
    for name in ("owner", "app"):
        (steps.folder / name).write_text(SECRET)
    role = (ROOT / "deploy/compose-role.sh").read_text(encoding="utf-8").replace("/run/secrets", str(steps.folder))
    query = steps.server.query
    place = {"PGHOST": str(query.get("host") or steps.server.host), "PGPORT": str(steps.server.port or 5432)}
    made = steps.run(["sh", "-c", role], place | {"POSTGRES_USER": "driftbook_owner", "POSTGRES_DB": "driftbook"})
    assert made.returncode == 0, made.stderr
    serving, of_server = service_of(steps, services["driftbook"])
    serve = [*serving, *services["driftbook"]["command"]]
    first, _, newer = text.partition("# For a newer driftbook")
    ran = []
    for line in re.findall(r"compose\.example\.yml (run --rm .+|up .+|stop .+|build)$", first + newer, re.MULTILINE):
        what, *rest = shlex.split(line.replace("$(date +%Y%m%d-%H%M%S)", "20261130-181500"))
        if what == "run":
            service, typed = rest[1], [part.replace("/book/", f"{steps.folder}/") for part in rest[2:]]
            entry, environ = service_of(steps, services[service])
            if typed[0] == "people":
                refused = steps.run(serve, of_server)
                assert refused.returncode == 2, "without an account it does not serve others"
            done = steps.run([*entry, *typed], environ)
            assert done.returncode == 0, (line, done.stdout, done.stderr)
            ran.append(typed[0])
        elif what == "up":
            assert rest == ["-d", "driftbook"]
            steps.serves(serve, of_server)
            ran.append("up")
        else:
            ran.append(what)
    assert ran == ["init", "grants", "people", "up", "stop", "backup", "build", "upgrade", "grants", "up"]
    (steps.folder / "bin/driftbook").write_text('#!/bin/sh\nprintf %s "$PGPASSWORD"\n')
    assert steps.run(serve, of_server).stdout == SECRET, "the password is handed on as it is"


def test_the_commands_for_postgresql_in_the_readme_work_one_after_another(steps: Steps) -> None:
    text = (ROOT / "deploy/README.md").read_text(encoding="utf-8")
    block = text[text.index("## PostgreSQL, several processes") :]
    block = block[block.index("```sh\n") + 6 :]
    block = block[: block.index("```")]
    assert "createuser --pwprompt driftbook_app\n" in block
    engine = sa.create_engine(steps.server, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with engine.connect() as connection:
        connection.exec_driver_sql("CREATE ROLE driftbook_app LOGIN")
    engine.dispose()
    environ = {"DRIFTBOOK_KEY": str(steps.folder / "driftbook.key")}
    ran = []
    for line in re.findall(r"^driftbook .+$", block, re.MULTILINE):
        argv = [steps.address(part) if "://" in part else part for part in shlex.split(line.removesuffix("&"))]
        if argv[1] == "serve":
            steps.serves(argv, environ)
        else:
            done = steps.run(argv, environ)
            assert done.returncode == 0, (line, done.stdout, done.stderr)
        ran.append(argv[1])
    assert ran == ["init", "grants", "people", "serve", "serve"]
