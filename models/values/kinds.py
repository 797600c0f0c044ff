"""The closed lists of the trade: coupling, reason, method, what was replaced.

The texts are what the database and the files hold.
"""

from __future__ import annotations

from enum import StrEnum


class Coupling(StrEnum):
    """How the two shafts are joined."""

    SHORT = "short flexible"
    SPACER = "spacer"


class Reason(StrEnum):
    """Why a job was done.  Condition and failure mean that something was noticed first."""

    INSTALLATION = "installation"
    PLANNED = "planned"
    CONDITION = "condition"
    REPAIR = "repair"
    FAILURE = "failure"
    OTHER = "other"

    @property
    def noticed(self) -> bool:
        """Tell whether the visit was called for because something was noticed."""
        return self in {Reason.CONDITION, Reason.FAILURE}


class Method(StrEnum):
    """How the misalignment was measured."""

    REVERSE_INDICATOR = "reverse indicator"
    RIM_FACE = "rim and face"
    FACE_FACE = "two faces"
    LASER = "laser"
    STRAIGHTEDGE = "straightedge"
    OTHER = "other"


class Part(StrEnum):
    """What was replaced at a break."""

    MOVABLE = "movable machine"
    STATIONARY = "stationary machine"
    BASE = "base"
    COUPLING = "coupling"


class Kind(StrEnum):
    """What an entry of the book says; subject, then what happened to it."""

    SITE_SET = "site set"
    ASSET_ADDED = "asset added"
    ASSET_CHANGED = "asset changed"
    BREAK_RECORDED = "break recorded"
    PERSON_ADDED = "person added"
    PERSON_CHANGED = "person changed"
    INSTRUMENT_ADDED = "instrument added"
    INSTRUMENT_CHANGED = "instrument changed"
    LIMITS_ADOPTED = "limits adopted"
    JOB_RECORDED = "job recorded"
    JOB_AMENDED = "job amended"
    FILE_IMPORTED = "file imported"
    SIGNED_OFF = "signed off"
    ACCOUNT_ADDED = "account added"
    ACCOUNT_CHANGED = "account changed"
    PASSWORD_SET = "password set"  # noqa: S105 - the name of a kind of entry, no password
    KEY_SET = "key set"


class Meaning(StrEnum):
    """What a signature under an entry says."""

    REVIEWED = "reviewed"
    APPROVED = "approved"
    RESPONSIBLE = "responsible"
