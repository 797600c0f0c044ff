"""What the history suggests: only what the engine suggests, and for most machines nothing."""

import numpy as np

from dashboard.views.suggests_view import CAUSES, suggestions
from models.history.engine import study_of
from models.history.patterns import CAUSE_WORDS
from tests.fleet import Plan, make_fleet


def test_each_cause_of_the_engine_has_a_name_and_what_would_settle_it() -> None:
    assert set(CAUSES) == set(range(len(CAUSE_WORDS)))


def test_a_machine_has_the_suggestions_of_the_engine_and_no_more() -> None:
    history, truth = make_fleet(21, Plan(assets=150, causes_each=5, break_share=0.0))
    study = study_of(history)
    for asset in range(len(history.assets)):
        given = suggestions(study, asset)
        assert len(given) == np.count_nonzero(study.patterns.suggested[asset])
        assert all(one.cause and one.settles for one in given)
    quiet = [asset for asset in np.flatnonzero(truth.cause < 0).tolist() if not suggestions(study, asset)]
    assert len(quiet) > 0.9 * np.count_nonzero(truth.cause < 0)
