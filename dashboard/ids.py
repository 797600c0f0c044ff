"""Ids of what stands on every page, and of pages whose parts stand in several files."""

from __future__ import annotations


class Shell:
    """Ids of the frame around the pages."""

    PROVIDER = "shell-provider"
    URL = "shell-url"
    PAGE = "shell-page"
    SCHEME = "shell-scheme"
    TOGGLE = "shell-toggle"
    NAV = "shell-nav"
    SITES = "shell-sites"
    FINDER = "shell-finder"
    NOTICE = "shell-notice"
    CONTENT = "shell-content"
    HEAD = "shell-head"


class MonthIds:
    """Ids of the Month page."""

    BODY = "month-body"
    PICK = "month-pick"
    BEHIND = "month-behind"
    LEFT_OVER = "month-left-over"
    RETURNED = "month-returned"
    DUE = "month-due"


class RecordIds:
    """Ids of the Record page."""

    BODY = "record-body"
    CHOOSE = "record-choose"
    KEY = "record-key"
    DRAFT = "record-draft"
    FORM = "record-form"
    SECTIONS = "record-sections"
    TYPED = "record-typed"
    KEPT = "record-kept"
    SHAPE = "record-shape"
    SAID = "record-said"
    MEASURE_FOUND = "record-measure-found"
    MEASURE_LEFT = "record-measure-left"
    RESULT_FOUND = "record-result-found"
    RESULT_LEFT = "record-result-left"
    CHANCE_FOUND = "record-chance-found"
    CHANCE_LEFT = "record-chance-left"
    SOFT_BEFORE = "record-soft-before"
    SOFT_AFTER = "record-soft-after"
    STATUS = "record-status"
    OPEN = "record-open"
    ASKS = "record-asks"
    REASONS = "record-reasons"
    CHANGED = "record-changed"
    SAVE = "record-save"
    SEND = "record-send"
    ANSWER = "record-answer"
    DONE = "record-done"
    GONE = "record-gone"
    CONFIRMED = "record-confirmed"
    HANDED = "record-handed"
