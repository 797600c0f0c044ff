"""Stories that the reader keeps: the same up to the same entry, and never older than the book."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa

from models.commands.sign_off import sign_off
from models.store import reader as reading
from models.store.reader import Reader
from models.values.kinds import Meaning
from models.values.story import AssetStory, Site
from tests.conftest import NOW
from tests.seeded import seed


def story(reader: Reader, site: Site, tag: str) -> AssetStory:
    found = reader.story(site.site_id, tag)
    assert found is not None
    return found


def test_a_story_is_read_once_and_anew_after_an_entry(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    reader = Reader(engine)
    first = story(reader, site, "P-1")
    assert story(reader, site, "P-1") is first
    signed = next(line.entry for line in first.jobs if line.job.ref == "J2")
    # A signature changes no column of the history, but it belongs to the story.
    sign_off(engine, site, signed, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)
    after = story(reader, site, "P-1")
    assert after is not first
    assert [one.signed_entry for one in after.signoffs] == [signed]
    assert after == story(Reader(engine), site, "P-1")
    assert first.signoffs == ()


def test_a_machine_that_is_not_there_is_asked_for_again(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    reader = Reader(engine)
    assert reader.story(site.site_id, "P-1") is None
    seed(engine, site, tmp_path)
    assert story(reader, site, "P-1").asset.tag == "P-1"
    assert reader.story(site.site_id + 1, "P-1") is None


def test_no_more_stories_are_kept_than_fit(
    engine: sa.Engine, site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "STORIES", 1)
    seed(engine, site, tmp_path)
    reader = Reader(engine)
    tags = [str(tag) for tag in reader.history(site.site_id).assets.tag][:2]
    assert len(tags) == 2
    first = story(reader, site, tags[0])
    story(reader, site, tags[1])
    again = story(reader, site, tags[0])
    assert again is not first
    assert again == first
