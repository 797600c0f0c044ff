"""Names beside points: none lies on another, on a point or outside, and who comes first has the first choice."""

import numpy as np
import pytest

from dashboard.figures.names import LETTER, LINE, PLACES, name_places

BOX = (0.0, 0.0, 315.0, 265.0)


def _box(at: tuple[float, float], radius: float, name: str, place: str) -> tuple[float, float, float, float]:
    """Work out again where Plotly puts a name: beside its marker, a line above, at or below its middle."""
    width = LETTER * len(name)
    left = at[0] + radius + 1.0 if "right" in place else at[0] - radius - 1.0 - width
    middle = at[1] + {"top": 1, "middle": 0, "bottom": -1}[place.split(maxsplit=1)[0]] * (LINE / 2.0 + radius)
    return left, middle - LINE / 2.0, left + width, middle + LINE / 2.0


@pytest.mark.parametrize("seed", range(20))
def test_no_two_names_meet_and_none_covers_a_point(seed: int) -> None:
    rng = np.random.default_rng(seed)
    at, radii = rng.uniform([5, 5], [310, 260], (30, 2)), rng.choice([4.0, 8.0, 15.0], 30)
    names = [f"XX-P-{n:03d}A" for n in range(12)]
    places = name_places(at, radii, names, BOX)
    assert len(places) == len(names)
    assert "" in places or seed != 0
    boxes = [
        _box(tuple(at[n]), radii[n], name, place)
        for n, (name, place) in enumerate(zip(names, places, strict=True))
        if place
    ]
    assert boxes
    for n, one in enumerate(boxes):
        assert min(one[:2]) >= 0
        assert one[2] <= BOX[2]
        assert one[3] <= BOX[3]
        for other in boxes[n + 1 :]:
            assert one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        for (x, y), r in zip(at, radii, strict=True):
            own = np.isclose([one[0], one[2]], [x + r + 1, x - r - 1]).any()
            apart = one[2] <= x - r or one[0] >= x + r or one[3] <= y - r or one[1] >= y + r
            assert apart or own


def test_first_come_first_placed() -> None:
    at = np.array([[100.0, 100.0], [100.0, 100.0]])
    assert name_places(at[:1], np.array([4.0]), ["A"], BOX) == [next(iter(PLACES))]
    crowded = np.array([[100.0 + dx, 100.0 + dy] for dx in (0, -12, 12) for dy in (0, -12, 12)])
    assert name_places(crowded, np.full(9, 6.0), ["A-1"], BOX) == [""]
