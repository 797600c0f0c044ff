"""The report of figures on planted fleets is made, and its ranking keeps its word."""

from __future__ import annotations

import numpy as np

from tests.fleet_report import null_rows, ranking_hits, speed_rows


def test_the_ranking_is_at_least_as_good_as_the_plain_ones_and_close_to_the_oracle() -> None:
    hits = [ranking_hits(seed) for seed in range(100, 106)]
    total = {name: sum(h[name] for h in hits) for name in hits[0]}
    assert total["driftbook"] >= max(total["raw share"], total["raw count"], total["Wilson bound"])
    assert total["driftbook"] >= 0.95 * total["oracle"]


def test_the_rows_are_sentences_with_figures() -> None:
    rows = [*null_rows(2), *speed_rows(300, (2, 12))]
    assert all(len(row) == 3 and row[0] and row[2] for row in rows)
    differences = [float(row[2]) for row in rows if row[0].startswith("largest difference")]
    assert len(differences) == 2
    assert max(differences) < 1e-12
    assert np.isfinite(differences).all()
