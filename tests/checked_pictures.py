"""Pictures handed to Plotly: it looks at every attribute, which the pages do without."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import plotly.graph_objects as go


def checked(draw: Callable[..., dict[str, Any]]) -> Callable[..., go.Figure]:
    """Give what draws a picture, with the picture checked and opened by Plotly; numbers are arrays again, nothing is NaN."""

    def look(*given: Any) -> go.Figure:
        picture = draw(*given)
        return go.Figure({**picture, "data": [_arrays(trace) for trace in picture["data"]]})

    return look


def _arrays(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _arrays(one) for name, one in value.items()}
    if isinstance(value, list) and any(one is not None for one in value) and all(map(_is_number, value)):
        return np.array([np.nan if one is None else one for one in value], dtype=np.float64)
    return value


def _is_number(one: object) -> bool:
    """Whether a list's member may stand in an array of numbers (None is a gap)."""
    return one is None or (isinstance(one, int | float) and not isinstance(one, bool))
