"""Snapshots: what comes back is what was kept; what does not fit the book is thrown away, and nothing breaks where none can be kept."""

from __future__ import annotations

import json
import shutil
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from models.history.engine import study_of, without_predictions
from models.store import arrays, snapshot
from models.store.reader import Reader
from models.store.snapshot import Kept, Snapshots
from models.values.entry import EntryFilter
from models.values.story import Site
from tests.fleet import Plan, make_fleet
from tests.seeded import JOBS, bring_in, seed, write


def same(one: Any, other: Any) -> bool:
    """Tell whether two values are the same to the last bit, however deep."""
    if is_dataclass(one):
        return type(one) is type(other) and all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    if isinstance(one, np.ndarray):
        floats = one.dtype.kind == "f"
        return one.dtype == other.dtype and one.shape == other.shape and np.array_equal(one, other, equal_nan=floats)
    if isinstance(one, tuple):
        return len(one) == len(other) and all(same(a, b) for a, b in zip(one, other, strict=True))
    return bool(one == other) or (one != one and other != other)  # noqa: PLR0124 - NaN


def test_a_study_comes_back_to_the_last_bit(tmp_path: Path) -> None:
    history, _ = make_fleet(3, Plan(assets=60))
    value = (history, without_predictions(study_of(history)), None, (("a", "b"), 3, 0.5, True))
    tree, length = arrays.write(tmp_path, value)
    tree = json.loads(json.dumps(tree))
    assert length == sum(path.stat().st_size for path in tmp_path.iterdir())
    back = arrays.read(tmp_path, tree)
    assert same(back, value)
    with pytest.raises(ValueError, match="read-only"):
        back[0].jobs.found[0] = 1.0


def test_only_known_values_are_written_and_built(tmp_path: Path) -> None:
    with pytest.raises(TypeError, match="cannot be kept"):
        arrays.write(tmp_path, {"a": 1})
    for tree in (
        {"class": "os:PathLike", "fields": {}},
        {"class": "models.settings:read_settings", "fields": {}},
        {"odd": 1},
    ):
        with pytest.raises(arrays.UnfitError):
            arrays.read(tmp_path, tree)
    tree, _ = arrays.write(tmp_path, (np.arange(5), np.arange(20_000.0)))
    path = tmp_path / "0001.npy"
    path.write_bytes(path.read_bytes()[:-8])
    with pytest.raises(arrays.UnfitError, match="length"):
        arrays.read(tmp_path, tree)
    path.unlink()
    with pytest.raises(arrays.UnfitError):
        arrays.read(tmp_path, tree)


@pytest.fixture
def kept(engine: sa.Engine, site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[sa.Engine, Path]:
    """Give a book of which a snapshot was kept, and its folder."""
    monkeypatch.setattr(snapshot, "FEWEST_JOBS", 1)
    seed(engine, site, tmp_path)
    folder = tmp_path / "cache"
    reader = Reader(engine, folder)
    assert reader.kept_picture(site.site_id) is None
    history = reader.history(site.site_id)
    reader.prepare(site.site_id)
    reader.keep_picture(site.site_id, history, study_of(history), {("a", "key"): history.jobs.month})
    return engine, folder


def test_a_restart_takes_the_snapshot_and_reads_only_what_is_newer(
    kept: tuple[sa.Engine, Path], site: Site, tmp_path: Path
) -> None:
    engine, folder = kept
    old = Reader(engine).history(site.site_id)
    again = Reader(engine, folder)
    found = again.kept_picture(site.site_id)
    assert found is not None
    history, study, derived = found
    assert same(history, old)
    assert study is not None
    assert same(study, without_predictions(study_of(old)))
    assert same(derived["a", "key"], old.jobs.month)
    head = JOBS.splitlines()[0]
    more = f"{head}\nJ9,P-1,2024-01-04 09:30,planned,Cleo Marsh,D-1,0.1,0.1,0,0,0,0,0,0,,,,,\n"
    assert bring_in(engine, site, *write(tmp_path, more=more)).written
    assert same(again.history(site.site_id), Reader(engine).history(site.site_id))
    by = EntryFilter(person="Cleo Marsh")
    assert again.entries(site.site_id, by) == Reader(engine).entries(site.site_id, by)
    assert again.entries(site.site_id, by).count == 2  # the person and the job
    # Nothing was lost of the old one, and it still fits: the book only grew.
    assert Reader(engine, folder).kept_picture(site.site_id) is not None


def change(path: Path, **changes: object) -> None:
    arrays.dump(path / "meta.json", arrays.load(path / "meta.json") | changes)


def turn_bit(path: Path, at: int) -> None:
    """Change one bit of a file, as a bad disk does; its length stays."""
    data = bytearray(path.read_bytes())
    data[at] ^= 1
    path.write_bytes(data)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda path: change(path, format=99),
        lambda path: change(path, code="another"),
        lambda path: change(path, bound="another"),
        lambda path: (path / "meta.json").write_text("{", encoding="utf-8"),
        lambda path: (path / "meta.json").unlink(),
        lambda path: (path / "0000.npy").unlink(),
        lambda path: (path / "0000.npy").write_bytes(b""),
        lambda path: turn_bit(path / "0000.npy", -1),
        lambda path: turn_bit(path / "0007.npy", -3),
        lambda path: turn_bit(path / "meta.json", 400),
        lambda path: path.rename(path.with_name("site-1-999999-study")),
        lambda path: path.rename(path.with_name("site-1-3-study")),
    ],
)
@pytest.mark.parametrize("settings", ["sqlite"], indirect=True)
def test_what_does_not_fit_is_thrown_away(kept: tuple[sa.Engine, Path], site: Site, spoil: Any) -> None:
    engine, folder = kept
    spoil(next(folder.iterdir()))
    reader = Reader(engine, folder)
    assert reader.kept_picture(site.site_id) is None
    assert not list(folder.iterdir())
    assert len(reader.history(site.site_id).jobs) == 3


@pytest.mark.parametrize("settings", ["sqlite"], indirect=True)
def test_another_book_with_as_many_entries_does_not_take_it(kept: tuple[sa.Engine, Path], site: Site) -> None:
    engine, folder = kept
    with engine.connect() as connection:
        head = Reader(engine).head()
        ours = snapshot.bound(connection, site.site_id, head)
        assert ours != snapshot.bound(connection, site.site_id, head - 1)
        assert ours != snapshot.bound(connection, site.site_id + 1, head)
    assert Snapshots(folder)._all(site.site_id)[0][0] == head


@pytest.mark.parametrize("settings", ["sqlite"], indirect=True)
def test_it_is_written_again_only_when_it_lacks_much(
    kept: tuple[sa.Engine, Path], site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    engine, folder = kept
    reader = Reader(engine, folder)
    history = reader.history(site.site_id)
    held = reader._held[site.site_id]
    study = study_of(history)
    snapshots = Snapshots(folder)
    assert not snapshots.wanted(site.site_id, Kept(held, study))
    later = replace(held, history=replace(history, head=history.head * 2))
    assert snapshots.wanted(site.site_id, Kept(later, study))
    (next(folder.iterdir()) / "study").unlink()
    assert snapshots.wanted(site.site_id, Kept(held, study))
    assert not snapshots.wanted(site.site_id, Kept(held, None))
    monkeypatch.setattr(snapshot, "FEWEST_JOBS", 1_000)
    assert not snapshots.wanted(site.site_id, Kept(later, study))


@pytest.mark.parametrize("settings", ["sqlite"], indirect=True)
def test_no_folder_a_folder_that_cannot_be_written_and_one_too_long_are_no_error(
    kept: tuple[sa.Engine, Path], site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    engine, folder = kept
    shutil.rmtree(folder)
    file = tmp_path / "file"
    file.write_text("in the way", encoding="utf-8")
    for place in (None, file, file / "below"):
        reader = Reader(engine, place)
        assert reader.kept_picture(site.site_id) is None
        history = reader.history(site.site_id)
        reader.keep_picture(site.site_id, history, study_of(history))
        assert Reader(engine, place).kept_picture(site.site_id) is None
    monkeypatch.setattr(snapshot, "MOST_BYTES", 10)
    reader = Reader(engine, folder)
    history = reader.history(site.site_id)
    reader.keep_picture(site.site_id, history, study_of(history))
    assert not [path for path in folder.iterdir() if path.name.startswith(("site-", "passing-"))]


@pytest.mark.parametrize("settings", ["sqlite"], indirect=True)
def test_an_older_history_is_not_kept_in_the_place_of_the_latest(
    kept: tuple[sa.Engine, Path], site: Site, tmp_path: Path
) -> None:
    engine, folder = kept
    shutil.rmtree(folder)
    reader = Reader(engine, folder)
    old = reader.history(site.site_id)
    assert bring_in(engine, site, *write(tmp_path, more="name,qualification\nNew One,\n")).written
    reader.history(site.site_id)
    reader.keep_picture(site.site_id, old, study_of(old))
    assert not folder.exists()


@pytest.mark.parametrize("settings", ["sqlite"], indirect=True)
def test_a_history_that_was_asked_for_to_be_kept_is_kept_whatever_is_written_meanwhile(
    kept: tuple[sa.Engine, Path], site: Site, tmp_path: Path
) -> None:
    engine, folder = kept
    shutil.rmtree(folder)
    reader = Reader(engine, folder)
    old = reader.history_to_keep(site.site_id)
    assert bring_in(engine, site, *write(tmp_path, more="name,qualification\nNew One,\n")).written
    assert reader.history(site.site_id).head > old.head
    reader.keep_picture(site.site_id, old, study_of(old))
    again = Reader(engine, folder)
    found = again.kept_picture(site.site_id)
    assert found is not None
    assert same(found[0], old)
    assert same(again.history(site.site_id), Reader(engine).history(site.site_id))
    assert not reader._to_keep, "it is held no longer than it has to be"


@pytest.mark.parametrize("settings", ["sqlite"], indirect=True)
def test_what_is_forgotten_is_read_again(kept: tuple[sa.Engine, Path], site: Site) -> None:
    engine, _ = kept
    reader = Reader(engine)
    old = reader.history_to_keep(site.site_id)
    reader.prepare(site.site_id)
    reader.forget(site.site_id)
    assert [reader._held, reader._to_keep, reader._entries] == [{}, {}, {}]
    again = reader.history(site.site_id)
    assert again is not old
    assert same(again, old)
    reader.forget(site.site_id + 1)
    assert reader.history(site.site_id) is again
