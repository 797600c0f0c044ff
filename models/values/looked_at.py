"""Who looked at some jobs: who is named as reviewer in them, and who signed them off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class LookedAt:
    """Names by the number of a job's entry; an entry that nobody reviewed or signed is not among them."""

    reviewers: Mapping[int, str] = field(default_factory=dict)
    signers: Mapping[int, str] = field(default_factory=dict)
