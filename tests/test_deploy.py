"""The examples of deploy/: the units, the commands of their first lines, and what they may not carry away."""

from __future__ import annotations

import configparser
import fnmatch
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
import yaml

from dashboard.cli import _parser, main
from dashboard.console.variables import NAMES
from models.settings import Settings
from tests.conftest import make_site
from tests.test_house import ROOT, tracked

UNITS = ROOT / "deploy/systemd"
SERVICES = sorted(UNITS.glob("*.service"))
COMPOSE = ROOT / "deploy/compose.example.yml"

pytestmark = pytest.mark.skipif(os.name == "nt", reason="these examples are for systems with a POSIX shell")


def line_of(unit: str, setting: str) -> str:
    """Give what systemd would run, with its two escapes taken back (systemd.service(5): %% and $$)."""
    parser = configparser.RawConfigParser(strict=False)
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read(UNITS / unit, encoding="utf-8")
    return parser.get("Service", setting).replace("%%", "%").replace("$$", "$")


def run_unit(unit: str, setting: str, environ: dict[str, str], bin_folder: Path) -> subprocess.CompletedProcess[str]:
    line = line_of(unit, setting).replace("/opt/driftbook/bin", str(bin_folder))
    return subprocess.run(
        shlex.split(line), capture_output=True, text=True, check=False, cwd=bin_folder,
        env={"PATH": os.environ["PATH"], "PYTHONPATH": str(ROOT), **environ},
    )  # fmt: skip


@pytest.fixture
def programs(tmp_path: Path) -> Path:
    """Give a folder with the command as this checkout has it."""
    folder = tmp_path / "bin"
    folder.mkdir()
    command = folder / "driftbook"
    command.write_text(f'#!/bin/sh\nexec {sys.executable} -m dashboard.cli "$@"\n')
    command.chmod(0o755)
    return folder


def test_nobody_is_told_to_install_a_package_that_is_not_there() -> None:
    """No package of this name is published: whoever took it would own what an operator installs."""
    wrong = re.compile("install[^\n]{0,40}['\" ]" + r"driftbook(\[|['\"\s]*$)", re.MULTILINE)
    texts = {path: path.read_text(encoding="utf-8", errors="replace") for path in tracked() if path.suffix != ".png"}
    assert [str(path.relative_to(ROOT)) for path, text in texts.items() if wrong.search(text)] == []


@pytest.mark.parametrize("path", SERVICES, ids=lambda path: path.stem)
def test_every_unit_reads_the_same_settings_of_the_same_book(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert "\nEnvironmentFile=/etc/driftbook.env\n" in text
    assert "\nWorkingDirectory=/var/lib/driftbook\n" in text
    assert "\nUser=driftbook\n" in text
    assert "DRIFTBOOK_BOOK=" not in text
    assert "\nAfter=network-online.target postgresql.service\n" in text, "a timer makes up for what was missed at once"
    assert "\nWants=network-online.target\n" in text


def test_every_setting_of_the_examples_is_one_that_is_read() -> None:
    text = (ROOT / "deploy/driftbook.env").read_text(encoding="utf-8")
    code = "".join(
        path.read_text(encoding="utf-8")
        for name in ("models", "dashboard")
        for path in (ROOT / name).rglob("*.py")
        if path.name != "variables.py"
    )
    code = code.replace(
        'f"DRIFTBOOK_POOL_{name.upper()}"',
        "".join(f"DRIFTBOOK_POOL_{n} " for n in ("SIZE", "EXTRA", "WAIT_S", "RENEW_S")),
    )
    units = "".join(path.read_text(encoding="utf-8") for path in SERVICES)
    named = set(re.findall(r"^#?(DRIFTBOOK_\w+)=", text, re.MULTILINE))
    assert {
        "DRIFTBOOK_BOOK",
        "DRIFTBOOK_KEY",
        "DRIFTBOOK_CACHE",
        "DRIFTBOOK_MAPPINGS",
        "DRIFTBOOK_BACKUPS",
        "DRIFTBOOK_HEADS",
    } <= named
    read = set(re.findall(r"DRIFTBOOK_[A-Z_]*[A-Z]", code + units))
    assert sorted(named - read) == []
    assert sorted(NAMES - read) == []
    elsewhere = {"DRIFTBOOK_SMTP_PASSWORD", "DRIFTBOOK_SMTP_PASSWORD_FILE", "DRIFTBOOK_DEBUG"}
    assert named | elsewhere == NAMES, "one file holds all that is read"
    assert set(re.findall(r"DRIFTBOOK_[A-Z_]+", units)) <= NAMES
    inside = {"DRIFTBOOK_WATCH", "DRIFTBOOK_OUTSIDE", "DRIFTBOOK_INTERFACE"}  # names within the application
    assert set(re.findall(r"\"(DRIFTBOOK_[A-Z_]*[A-Z])\"", code)) - inside <= NAMES
    book = re.search(r"^DRIFTBOOK_BOOK=(.+)$", text, re.MULTILINE)
    key = re.search(r"^DRIFTBOOK_KEY=(.+)$", text, re.MULTILINE)
    assert book is not None
    assert key is not None
    assert key[1] == str(Settings(book=book[1]).key_path), (
        "the key of a book that was made without these settings is found"
    )


def test_a_setting_that_nothing_reads_is_told_without_its_value(
    sqlite_book: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    make_site(sqlite_book)
    monkeypatch.setenv("DRIFTBOOK_POOLSIZE", "4")
    monkeypatch.setenv("DRIFTBOOK_TOKENS", "a secret")
    assert main(["limits", "--book", sqlite_book.book]) == 0
    told = capsys.readouterr()
    assert told.err.splitlines() == [
        "driftbook: DRIFTBOOK_POOLSIZE is set in the environment, and nothing reads it: DRIFTBOOK_POOL_SIZE is meant?",
        "driftbook: DRIFTBOOK_TOKENS is set in the environment, and nothing reads it.",
    ]
    assert "DRIFTBOOK" not in told.out


def test_the_nightly_backup_takes_old_ones_away_only_when_a_new_one_is_there(
    sqlite_book: Settings, tmp_path: Path, programs: Path
) -> None:
    make_site(sqlite_book)
    folder = tmp_path / "backups"
    environ = {"DRIFTBOOK_BOOK": sqlite_book.book, "DRIFTBOOK_BACKUPS": str(folder)}
    done = run_unit("driftbook-backup.service", "ExecStart", environ, programs)
    assert done.returncode == 0, done.stderr
    (made,) = folder.iterdir()
    assert re.fullmatch(r"book-\d{8}-\d{6}\.db", made.name)
    old, other = folder / "book-20200101-023000.db", folder / "notes.txt"
    for path in (old, other):
        path.write_text("x")
        os.utime(path, (time.time() - 61 * 86_400,) * 2)
    after = "ExecStartPost"  # systemd runs it where the backup was made, and not where that failed
    assert run_unit("driftbook-backup.service", after, environ, programs).returncode == 0
    assert old.exists(), "without a number all stay"
    assert (
        run_unit("driftbook-backup.service", after, environ | {"DRIFTBOOK_BACKUP_DAYS": "60"}, programs).returncode == 0
    )
    assert {path.name for path in folder.iterdir()} == {made.name, "notes.txt"}
    refused = run_unit(
        "driftbook-backup.service", "ExecStart", environ | {"DRIFTBOOK_BOOK": str(tmp_path / "no.db")}, programs
    )
    assert refused.returncode == 2
    assert {path.name for path in folder.iterdir()} == {made.name, "notes.txt"}


def test_the_daily_head_goes_into_the_file_that_is_named_or_says_that_none_is(
    sqlite_book: Settings, tmp_path: Path, programs: Path
) -> None:
    make_site(sqlite_book)
    environ = {"DRIFTBOOK_BOOK": sqlite_book.book}
    refused = run_unit("driftbook-head.service", "ExecStart", environ, programs)
    assert refused.returncode != 0
    assert "DRIFTBOOK_HEADS: has to name a file elsewhere, in /etc/driftbook.env" in refused.stderr
    heads = tmp_path / "heads.txt"
    done = run_unit("driftbook-head.service", "ExecStart", environ | {"DRIFTBOOK_HEADS": str(heads)}, programs)
    assert done.returncode == 0, done.stderr
    assert main(["verify", "--book", sqlite_book.book, "--against", str(heads)]) == 0


def test_a_command_by_hand_works_on_the_book_of_the_service(tmp_path: Path, programs: Path) -> None:
    """The change of the user is left out: it would need one of that name here."""
    home = tmp_path / "home"
    home.mkdir()
    (programs / "runuser").write_text('#!/bin/sh\n[ "$1 $2 $3" = "-u driftbook --" ] || exit 9\nshift 3\nexec "$@"\n')
    (programs / "runuser").chmod(0o755)
    settings = (ROOT / "deploy/driftbook.env").read_text(encoding="utf-8").replace("/var/lib/driftbook", str(home))
    # As it stands behind a server in front: what holds blanks has to go through the shell, too.
    settings = settings.replace("\n#DRIFTBOOK_SERVE=", "\nDRIFTBOOK_SERVE=")
    (tmp_path / "driftbook.env").write_text(settings)
    script = (UNITS / "by-hand.sh").read_text(encoding="utf-8")
    for there, here in (
        ("/etc/driftbook.env", tmp_path / "driftbook.env"),
        ("/var/lib/driftbook", home),
        ("/opt/driftbook/bin", programs),
    ):
        assert there in script
        script = script.replace(there, str(here))
    header = (UNITS / "driftbook.service").read_text(encoding="utf-8")
    lines = re.findall(r"^#   driftbook (.+?)(?: {3,}\(.*)?$", header, re.MULTILINE)
    assert [line.split()[0] for line in lines] == ["init", "people", "backup", "upgrade"]
    order = [
        header.index(step)
        for step in ("systemctl stop", "   driftbook backup", "(the version before", "driftbook upgrade")
    ]
    assert order == sorted(order), "a newer version makes no backup of what an older one wrote"
    (tmp_path / "by-hand").write_text(script)
    for line in (*lines, lines[2], "verify"):  # a step for a newer version is typed for each of them
        typed = line.replace("/var/lib/driftbook", str(home)) + " --password-stdin" * line.startswith("people")
        done = subprocess.run(
            ["sh", "-c", f"sh {shlex.quote(str(tmp_path / 'by-hand'))} {typed}"], capture_output=True, text=True, check=False, cwd="/",
            input="harbour kelp 1907 bell\n", env={"PATH": f"{programs}:{os.environ['PATH']}", "PYTHONPATH": str(ROOT), "USER": "tester"},
        )  # fmt: skip
        assert done.returncode == 0, (line, done.stdout, done.stderr)
    for name in ("driftbook.db", "driftbook.db.key"):
        assert (home / name).stat().st_mode & 0o077 == 0, name


def test_a_new_version_leaves_the_one_before_it_beside_itself(tmp_path: Path) -> None:
    """Else nothing could make the backup of a book on a server: the newer version refuses."""
    steps = tmp_path / "steps.sh"
    steps.write_text((ROOT / "deploy/steps.sh").read_text(encoding="utf-8").replace("/opt/", f"{tmp_path}/"))

    def keep() -> str:
        return subprocess.run(["sh", str(steps), "keep"], capture_output=True, text=True, check=True).stdout

    assert keep() == "", "on a machine without one"
    folder = tmp_path / "driftbook/bin"
    folder.mkdir(parents=True)
    (folder / "python").symlink_to(sys.executable)
    command = folder / "driftbook"
    command.write_text(
        f"#!{folder}/python\nimport sys\nprint('driftbook 0.1, books of revision 0003_last' if len(sys.argv) > 1 else sys.executable)\n"
    )
    command.chmod(0o755)
    kept = tmp_path / "driftbook-0003_last/bin/driftbook"
    for _ in range(2):
        assert keep() == f"The version that was there is kept: {kept}\n"
    ran = subprocess.run([kept], capture_output=True, text=True, check=True).stdout
    assert ran == f"{kept.parent}/python\n", "it runs with its own libraries, not with the new ones"


def let_in(path: str) -> bool:
    """Tell whether a file goes to the builder: the last line that speaks of it, or of a folder above it, decides."""
    found = True
    for line in (ROOT / ".containerignore").read_text(encoding="utf-8").splitlines():
        if not line or line.startswith("#"):
            continue
        pattern = line.removeprefix("!").removeprefix("**/")
        parts = path.split("/")
        above = ["/".join(parts[:n]) for n in range(1, len(parts) + 1)]
        tried = parts if "**/" in line else above
        if any(fnmatch.fnmatchcase(one, pattern) for one in tried):
            found = line.startswith("!")
    return found


def test_the_builder_of_the_image_gets_what_it_copies_and_no_secret() -> None:
    copied = re.findall(
        r"^COPY (?!--from)(.+) \S+$", (ROOT / "Containerfile").read_text(encoding="utf-8"), re.MULTILINE
    )
    for name in " ".join(copied).split():
        files = [path for path in tracked() if (ROOT / name) in {path, *path.parents}]
        assert files, name
        for path in files:
            assert let_in(path.relative_to(ROOT).as_posix()), path
    for name in (
        "secrets/owner",
        ".git/config",
        "driftbook.db",
        "driftbook.db.key",
        "deploy/driftbook.env",
        "models/__pycache__/a.pyc",
    ):
        assert not let_in(name), name


def test_the_steps_of_the_image_make_the_account_without_which_it_does_not_serve() -> None:
    text = (ROOT / "Containerfile").read_text(encoding="utf-8")
    assert re.search(r"^#   podman run --stop-timeout 30 -p ", text, re.MULTILINE), (
        "the engine's rule is half of GRACE_S"
    )
    lines = re.findall(r"^#   podman run .*-v book:/book driftbook ?(.*)$", text, re.MULTILINE)
    assert [_parser().parse_args(shlex.split(line)).verb for line in lines] == ["init", "people", None]
    served = re.search(r"^CMD (\[.+\])$", text, re.MULTILINE)
    assert served is not None
    assert _parser().parse_args(json.loads(served[1])).host == "0.0.0.0"  # noqa: S104 - why an account is needed


@pytest.mark.skipif(shutil.which("git") is None or not (ROOT / ".git").exists(), reason="asks git what it passes over")
@pytest.mark.parametrize(
    "name",
    [
        "secrets/owner",
        "driftbook.db",
        "plant.db-wal",
        "driftbook.db.key",
        "driftbook-fault.log",
        "b.db.before-20261129-080000",
    ],
)
def test_what_the_steps_leave_in_a_checkout_is_never_taken_into_it(name: str) -> None:
    assert subprocess.run(["git", "check-ignore", "-q", name], cwd=ROOT, check=False).returncode == 0


def test_the_lines_to_change_are_counted_rightly() -> None:
    text = (ROOT / "deploy/windows/monthly-report.cmd").read_bytes().decode()
    said = {"three": 3, "four": 4, "five": 5, "six": 6}
    match = re.search(r"Change the (\w+) lines that begin with \"set DRIFTBOOK\"", text)
    assert match is not None
    assert said[match[1]] == len(re.findall(r"^set DRIFTBOOK", text, re.MULTILINE))
    assert text.count("\r\n") == text.count("\n"), "the command interpreter of Windows wants its own ends of lines"


def test_the_compose_example_waits_for_the_real_server_and_hangs_together() -> None:
    held = yaml.safe_load(COMPOSE.read_text(encoding="utf-8"))
    services = held["services"]
    assert "-h 127.0.0.1" in services["database"]["healthcheck"]["test"][1]
    for name in ("owner", "driftbook"):
        service = services[name]
        assert service["depends_on"] == {"database": {"condition": "service_healthy"}}
        assert service["environment"]["PASSWORD_FILE"] == f"/run/secrets/{service['secrets'][0]}"
        assert set(service["secrets"]) <= set(held["secrets"])
        for mount in service["volumes"]:
            place = mount.split(":")[0]
            assert (COMPOSE.parent / place).is_file() if place.startswith(".") else place in held["volumes"]
    assert services["owner"]["profiles"], "it is started by hand only"
    assert services["owner"]["environment"]["DRIFTBOOK_KEY"] == services["driftbook"]["environment"]["DRIFTBOOK_KEY"]
