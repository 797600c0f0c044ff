"""Ids of what stands on every page."""

from __future__ import annotations


class Shell:
    """Ids of the frame around the pages."""

    PROVIDER = "shell-provider"
    URL = "shell-url"
    SCHEME = "shell-scheme"
    TOGGLE = "shell-toggle"
    NAV = "shell-nav"
    SITES = "shell-sites"
    FINDER = "shell-finder"
    NOTICE = "shell-notice"
    CONTENT = "shell-content"
    HEAD = "shell-head"
