"""What is kept goes with the very history that it was made from."""

import gc
import weakref

import pytest

from dashboard import kept
from dashboard.kept import HISTORIES, MOST, _latest, holds, keep, let_go, shelf_of
from dashboard.picture import Picture
from tests.history_maker import columns_of


def test_a_result_is_made_once_for_a_history_and_a_key() -> None:
    history, made = columns_of([]), []

    def make() -> int:
        made.append(1)
        return len(made)

    assert keep(history, "a", make) == keep(history, "a", make) == 1
    assert keep(history, "b", make) == 2
    assert keep(columns_of([]), "a", make) == 3


def test_what_was_not_asked_for_longest_is_forgotten() -> None:
    history = columns_of([])
    for number in range(MOST + 1):
        keep(history, number, lambda n=number: n)  # type: ignore[misc]
    assert keep(history, 0, lambda: "made anew") == "made anew"


def test_old_histories_are_let_go() -> None:
    histories = [columns_of([]) for _ in range(HISTORIES + 2)]
    for history in histories:
        keep(history, "a", lambda: 1)
    held = [shelf.history for shelf in _latest.values()]
    assert len(held) == HISTORIES
    assert all(any(one is kept for kept in held) for one in histories[-HISTORIES:])


def test_a_shelf_stays_as_long_as_a_picture_of_its_history_and_no_longer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept, "MOST_JOBS", -1)  # as with long histories: only two are kept that nobody holds
    pictures = [Picture(history, None, history) for history in (columns_of([]) for _ in range(5))]
    for picture in pictures:
        keep(picture.history, "a", lambda: 1)
    assert all(holds(picture.history, "a") for picture in pictures)
    seen = [weakref.ref(picture.shelf) for picture in pictures]
    del picture, pictures
    for _ in range(4):
        shelf_of(columns_of([]))
    let_go()
    gc.collect()
    assert [one() for one in seen] == [None] * 5
