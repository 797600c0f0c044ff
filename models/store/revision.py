"""Which revision a book is at, which the tool needs, and how to get from one to the other.

Alembic is loaded only where a book is changed: to compare two names, every command would
otherwise wait a tenth of a second for it.
"""

from __future__ import annotations

import re
import shutil
import sqlite3
from contextlib import closing
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from models.errors import BookMissingError, WrongRevisionError
from models.settings import Settings
from models.store.engine import make_engine

if TYPE_CHECKING:
    from alembic.config import Config

_NAMES = re.compile(r'^(revision|down_revision) = "(.*)"$', re.MULTILINE)


def _scripts() -> Path:
    """Give the folder of the package ``migrations``, wherever it is installed."""
    spec = find_spec("migrations")
    if spec is None or not spec.submodule_search_locations:
        raise RuntimeError("the package 'migrations' is missing from this installation")
    return Path(spec.submodule_search_locations[0])


def alembic_config() -> Config:
    """Give the settings of Alembic."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_scripts()))
    config.set_main_option("path_separator", "os")
    return config


def needed_revision() -> str:
    """Give the revision that this version of the tool works with."""
    read = (path.read_text(encoding="utf-8") for path in (_scripts() / "versions").glob("[0-9]*.py"))
    named: list[tuple[str, str]] = [name for text in read for name in _NAMES.findall(text)]
    heads = {name for key, name in named if key == "revision"} - {name for key, name in named if key != "revision"}
    if len(heads) != 1:
        raise RuntimeError(f"the migrations do not end in one revision: {', '.join(sorted(heads)) or 'none is there'}")
    return heads.pop()


def revision_of(engine: sa.Engine) -> str | None:
    """Give the revision of a book; ``None`` if there is no book in the database."""
    with engine.connect() as connection:
        if not sa.inspect(connection).has_table("alembic_version"):
            return None
        found = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
        return None if found is None else str(found)


def check_revision(settings: Settings, engine: sa.Engine) -> None:
    """Refuse a book that is missing or of another revision, and say what to type.

    Raises
    ------
    BookMissingError
        If there is no book.
    WrongRevisionError
        If it was written by an older or a newer version.
    """
    if settings.is_file and not settings.path.exists():
        raise missing(settings)
    found, needed = revision_of(engine), needed_revision()
    if found is None:
        raise missing(settings)
    if found != needed:
        from alembic.script import ScriptDirectory

        known = {script.revision for script in ScriptDirectory.from_config(alembic_config()).walk_revisions()}
        if found in known:
            raise WrongRevisionError(
                f"The book {settings.shown} is at revision {found}; this version needs {needed}.",
                remedy=f"Type: driftbook upgrade --book {settings.shown}",
            )
        raise WrongRevisionError(
            f"The book {settings.shown} is at revision {found}, which this version does not know: a newer one wrote it.",
            remedy="Install the version of driftbook that wrote it; nothing was changed.",
        )


def missing(settings: Settings) -> BookMissingError:
    """Say that there is no book, and how to make one."""
    return BookMissingError(
        f"There is no book at {settings.shown}.",
        remedy=f'Type: driftbook init --book {settings.shown} --site "Name of the site"  (or: driftbook demo)',
    )


def upgrade(settings: Settings, to: str = "head") -> Path | None:
    """Bring a book to a revision; a SQLite book is copied aside first.

    Returns
    -------
    pathlib.Path or None
        Where the copy lies; ``None`` if there was nothing to copy.
    """
    from alembic import command

    copy = _copy_aside(settings)
    _run(settings, lambda config: command.upgrade(config, to))
    return copy


def downgrade(settings: Settings, to: str) -> None:
    """Bring a book back to an older revision; used by tests and in an emergency."""
    from alembic import command

    _run(settings, lambda config: command.downgrade(config, to))


def _run(settings: Settings, what: object) -> None:
    config = alembic_config()
    engine = make_engine(settings, foreign_keys=False)
    try:
        with engine.connect().execution_options(write=True) as connection:
            config.attributes["connection"] = connection
            assert callable(what)  # noqa: S101 - narrows the type
            what(config)
    finally:
        engine.dispose()


def _copy_aside(settings: Settings) -> Path | None:
    if not settings.is_file or not settings.path.exists():
        return None
    stamp = datetime.now().astimezone().strftime("%Y%m%d-%H%M%S")
    copy = settings.path.with_name(f"{settings.path.name}.before-{stamp}")
    with closing(sqlite3.connect(settings.path)) as source, closing(sqlite3.connect(copy)) as sink:
        source.backup(sink)  # a plain copy of the file would miss what still lies in the write-ahead log
    shutil.copymode(settings.path, copy)
    return copy
