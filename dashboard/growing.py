"""How a picture grows: the machines that a new entry touches are worked out again, everything else is carried over."""

from __future__ import annotations

from dataclasses import replace

from dashboard.carrying import carry_over
from dashboard.kept import holds, keep, known, same
from dashboard.picture import Picture
from models.history.columns import History
from models.history.engine import Study, study_of
from models.history.follow import change_of, follow
from models.history.late import settle, twin


def later(shown: Picture, source: History, *, again: bool = False) -> Picture | None:
    """Give a picture of the same site a few entries later; ``None`` where it cannot be followed.

    Parameters
    ----------
    shown : Picture
        The picture before. [unitless]
    source : History
        The history as the book gives it now. [unitless]
    again : bool
        Whether it needs a history of its own, since the shelf of this one is in use. [unitless]
    """
    if same(shown.source, source):
        return replace(shown, history=replace(shown.history, head=source.head), source=source)
    history = replace(source, jobs=twin(source.jobs)) if again else source
    study = study_held(shown)
    # Where a new day alone brings descriptions, no entry tells that the averages are behind: nothing is carried over then.
    new_day = source.head == shown.source.head and shown.history.assets.unlike(history.assets, service=False).any()
    change = None if study is None or new_day else change_of(shown.history, history)
    if study is None or change is None:
        # A large book keeps what it shows until the next picture is whole; a small one is studied when a page asks.
        return None if shown.large else Picture(history, None, source)
    made = follow(study, change, history.head)
    carry_over(shown.history, study, history, made)
    return Picture(history, made.study, source)


def study_held(picture: Picture) -> Study | None:
    """Give the study of a picture; of a small book also one that a page asked for.

    Parameters
    ----------
    picture : Picture
        A picture. [unitless]
    """
    history = picture.history
    if picture.study is not None or not holds(history, "study"):
        return picture.study
    return keep(history, "study", lambda: study_of(history))  # it is held: nothing is computed here


def put_together(picture: Picture) -> None:
    """Put together whatever is late in a picture, so that what it was made from can be let go.

    Parameters
    ----------
    picture : Picture
        A picture. [unitless]
    """
    settle(picture.history)
    settle(picture.study)
    for give in known(picture.history).values():
        settle(give())
