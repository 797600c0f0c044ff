"""Every class of a table in one place, so that the metadata is whole when it is asked for."""

from __future__ import annotations

from models.tables.accounts import AccountRow, AccountVersionRow
from models.tables.base import Base
from models.tables.book import EntryRow, ImportedFileRow, SiteRow, SiteVersionRow
from models.tables.decisions import DecisionRow, DecisionRuleRow
from models.tables.jobs import JobRow
from models.tables.limits import LimitRowRow, LimitSetRow, LimitVersionRow
from models.tables.machines import AssetRow, AssetVersionRow, BreakRow
from models.tables.people import InstrumentRow, InstrumentVersionRow, PersonRow, PersonVersionRow
from models.tables.proofs import BookKeyRow, SignoffRow, StatementRow, TreeHeadRow
from models.tables.state import (
    AnsweredRequestRow,
    ApiTokenRow,
    CalendarAddressRow,
    CredentialRow,
    LoginSessionRow,
    SignInRow,
)

metadata = Base.metadata

MAPPED = (
    SiteRow, EntryRow, SiteVersionRow, ImportedFileRow, AssetRow, AssetVersionRow, BreakRow, PersonRow, PersonVersionRow,
    InstrumentRow, InstrumentVersionRow, LimitSetRow, LimitVersionRow, LimitRowRow, JobRow,
    AccountRow, AccountVersionRow, SignoffRow, BookKeyRow, DecisionRuleRow, DecisionRow,
    StatementRow, TreeHeadRow,
)  # fmt: skip
"""All classes of the history, in an order in which each comes after what it points to."""

STATE = (SignInRow, CredentialRow, LoginSessionRow, ApiTokenRow, CalendarAddressRow, AnsweredRequestRow)
"""Classes of what is no history: secrets, sessions, tokens; never exported."""

HISTORY = tuple(row.__tablename__ for row in MAPPED)
"""Tables that refuse UPDATE and DELETE: all of them, for every one is history."""
