"""Seals: each entry's text binds every value of its rows, and each commit keeps a signed head of the tree."""

from __future__ import annotations

import hashlib
import json
from datetime import timedelta
from pathlib import Path

import pytest
import rfc8785
import sqlalchemy as sa

from models.commands.seal_book import seal_book
from models.commands.set_key import set_key
from models.errors import KeyFileError
from models.ledger.checkpoint import read_note
from models.ledger.findings import Fault
from models.ledger.keys import signature_holds
from models.ledger.tree import Frontier
from models.settings import Settings
from models.store.proofs import key_in_force, last_head, read_heads, unsealed
from models.store.revision import downgrade, upgrade
from models.store.sealing import BOUND, key_column, read_bound, seal
from models.store.unit import writing
from models.store.verify import verify_book
from models.store.verify_signed import Unsigned
from models.tables.every import MAPPED
from models.tables.people import PersonRow, PersonVersionRow
from models.tables.proofs import StatementRow
from models.values.kinds import Kind
from models.values.story import Site
from tests.conftest import NOW, make_site
from tests.kept_book import unguarded
from tests.seeded import contents, seed, seed_every_table


def statements(engine: sa.Engine) -> list[tuple[int, str, bytes]]:
    s = StatementRow
    with engine.connect() as connection:
        rows = connection.execute(sa.select(s.entry, s.said, s.leaf).order_by(s.entry)).all()
    return [(row.entry, row.said, bytes(row.leaf)) for row in rows]


def test_every_statement_is_canonical_and_its_leaf_is_its_hash(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    """Twin: the package rfc8785, and hashlib by the words of RFC 9162, section 2.1.1."""
    seed_every_table(engine, site, tmp_path)
    found = statements(engine)
    assert [entry for entry, _, _ in found] == list(range(1, len(found) + 1))
    for _, said, leaf in found:
        assert said.encode() == rfc8785.dumps(json.loads(said))
        assert leaf == hashlib.sha256(b"\x00" + said.encode()).digest()


def test_a_statement_holds_every_value_of_every_row(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed_every_table(engine, site, tmp_path)
    said = {entry: json.loads(text) for entry, text, _ in statements(engine)}
    with engine.connect() as connection:
        for mapped in BOUND:
            table: sa.Table = mapped.__table__
            for row in connection.execute(
                sa.select(*[sa.type_coerce(c, sa.types.NullType()).label(c.name) for c in table.c])
            ).mappings():
                expected = {
                    name: value.hex() if isinstance(value, bytes) else value
                    for name, value in row.items()
                    if value is not None
                }
                entry = 1 if table.name == "site" else row[key_column(mapped)]
                assert expected in said[entry]["rows"][table.name]


def test_rows_read_back_give_the_same_statements(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed_every_table(engine, site, tmp_path)
    found = statements(engine)
    with engine.connect() as connection:
        again = seal(*read_bound(connection, 1, len(found)))
        parts = [
            one for start in range(1, len(found) + 1, 3) for one in seal(*read_bound(connection, start, start + 2))
        ]
    assert [(entry, said, leaf) for entry, _, said, leaf in again] == found
    assert parts[: len(found)] == again


def test_each_commit_keeps_a_head_that_the_key_of_the_book_signed(
    settings: Settings, engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    leaves = [leaf for _, _, leaf in statements(engine)]
    with engine.connect() as connection:
        heads, key = read_heads(connection), key_in_force(connection)
    assert key is not None
    assert [head.size for head in heads] == [len(leaves), 3]
    for head in heads:
        tree = Frontier()
        tree.extend(leaves[: head.size])
        assert (head.root, head.frontier) == (tree.root(), tree.to_bytes())
        note = read_note(head.note)
        assert note.checkpoint.root == head.root
        assert signature_holds(key.public_key, note.signatures[0][2], note.checkpoint.body.encode())
    if settings.is_file:
        assert settings.key_path.stat().st_mode & 0o077 == 0


def test_a_lost_key_keeps_nobody_from_recording(
    settings: Settings, engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    settings.key_path.unlink()
    seed(engine, site, tmp_path)
    with engine.connect() as connection:
        head = last_head(connection)
    assert head is not None
    assert head.signature is None
    with pytest.raises(KeyFileError, match="reason"):
        set_key(settings, site.site_id, by="tester", now=NOW, why=" ")
    set_key(settings, site.site_id, by="tester", now=NOW, why="the file was lost with the old machine")
    with engine.connect() as connection:
        keys_head = last_head(connection)
    assert keys_head is not None
    assert keys_head.signature is not None


def _one_more(engine: sa.Engine, site: Site, name: str, hours: int) -> int:
    with writing(engine, site.site_id, name, NOW + timedelta(hours=hours)) as unit:
        entry = unit.append(Kind.PERSON_ADDED)
        unit.add(PersonRow, (entry, site.site_id, name))
        unit.add(PersonVersionRow, (entry, site.site_id, entry, name, "", True))
    return entry


def test_a_signature_over_entries_without_one_does_not_hide_them(
    settings: Settings, engine: sa.Engine, site: Site, caplog: pytest.LogCaptureFixture
) -> None:
    """Who holds the database can strip signatures, rewrite what lies under them, and wait for the next commit."""
    away = settings.key_path.rename(settings.key_path.with_suffix(".away"))
    first, last = _one_more(engine, site, "Ana", 1), _one_more(engine, site, "Bo", 2)
    away.rename(settings.key_path)
    caplog.clear()
    after = _one_more(engine, site, "Cy", 3)
    told = [line for line in caplog.messages if "signed again, over" in line]
    assert len(told) == 1
    assert f"over entries {first} to {last}" in told[0]
    _one_more(engine, site, "Di", 4)
    assert len([line for line in caplog.messages if "signed again, over" in line]) == 1
    with engine.connect() as connection:
        key = key_in_force(connection)
        assert key is not None
        plain = verify_book(connection)
        assert plain.without == [Unsigned(first, last, 2, first - 1, after)]
        assert plain.faults() == 0
        heads = {head.size: read_note(head.note) for head in read_heads(connection)}
        for kept, open_from in (
            ([], first),
            ([heads[first - 1]], first),
            ([heads[first]], last),
            ([heads[last]], None),
            ([heads[after]], None),
        ):
            found = verify_book(connection, public_key=key.public_key, against=kept)
            told_of = [(one.fault, one.entry, one.upto) for one in found.tally.kept if one.fault is not Fault.UNSIGNED]
            assert told_of == ([] if open_from is None else [(Fault.UNSIGNED_ENTRIES, open_from, last)])
            assert (found.faults() == 0) == (open_from is None)


def test_entries_whose_heads_were_taken_away_are_marked_before_the_next_signature(
    engine: sa.Engine, site: Site, caplog: pytest.LogCaptureFixture
) -> None:
    """Moments and authors can be written so that no commit seems to end; only the missing head tells."""
    first, last = _one_more(engine, site, "Ana", 1), _one_more(engine, site, "Ana ", 1)
    with engine.connect().execution_options(write=True) as connection, connection.begin(), unguarded(connection):
        connection.exec_driver_sql(f"DELETE FROM tree_head WHERE size >= {first}")
    after = _one_more(engine, site, "Cy", 3)
    assert any(f"over entries {first} to {last}" in line for line in caplog.messages)
    with engine.connect() as connection:
        found = verify_book(connection)
    assert found.without == [Unsigned(first, last, 1, first - 1, after)]
    assert found.faults(strict=True) >= 1


def test_a_row_without_its_entry_is_not_written(engine: sa.Engine, site: Site) -> None:
    before = contents(engine)
    with pytest.raises(LookupError, match="belongs to entry"), writing(engine, site.site_id, "t", NOW) as unit:  # noqa: PT012
        unit.append(Kind.PERSON_ADDED)
        unit.add(PersonRow, (2, site.site_id, "somebody"))
    assert contents(engine) == before


def test_a_book_of_the_first_revision_is_sealed_when_it_is_upgraded(settings: Settings, tmp_path: Path) -> None:
    from models.store.engine import make_engine

    site = make_site(settings)
    engine = make_engine(settings)
    seed(engine, site, tmp_path)
    sealed = statements(engine)
    rows = {
        name: found for name, found in contents(engine).items() if name not in {"book_key", "statement", "tree_head"}
    }
    engine.dispose()
    downgrade(settings, "0001_the_book")
    upgrade(settings)
    with engine.connect() as connection:
        assert unsealed(connection) == len(sealed)
    assert seal_book(settings, by="tester", now=NOW) == len(sealed)
    assert seal_book(settings, by="tester", now=NOW) == 0
    again = statements(engine)
    # The key went with the downgrade; all that was said otherwise is sealed as it was.
    assert [one for one, was in zip(again, sealed, strict=False) if one != was] == [again[2]]
    assert '"kind":"key set"' in again[2][1]
    with engine.connect() as connection:
        head, key = last_head(connection), key_in_force(connection)
    assert head is not None
    assert key is not None
    assert head.size == len(sealed) + 1 == key.entry
    assert {name: found for name, found in contents(engine).items() if name in rows and name != "entry"} == {
        name: found for name, found in rows.items() if name != "entry"
    }
    assert {mapped.__tablename__ for mapped in MAPPED} >= set(rows)
    engine.dispose()
