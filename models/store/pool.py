"""Connections of one process to its book: how many are in use, and how many it may have."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa


@dataclass(frozen=True, slots=True)
class PoolUse:
    """Connections that are in use, and the most that there may be."""

    used: int
    most: int

    @property
    def full(self) -> bool:
        """Tell whether who asks now has to wait for another."""
        return self.used >= self.most


def pool_use(engine: sa.Engine) -> PoolUse | None:
    """Look at the pool of an engine; ``None`` where it has no bound.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    """
    pool = engine.pool
    if not isinstance(pool, sa.QueuePool):
        return None
    extra = pool._max_overflow  # noqa: SLF001 - it has no other name
    return None if extra < 0 else PoolUse(pool.checkedout(), pool.size() + extra)
