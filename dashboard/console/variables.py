"""The variables of the environment that this program and its units read, and a word about those that nothing reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

NAMES: Final = frozenset({
    "DRIFTBOOK_ADDRESS", "DRIFTBOOK_BACKUPS", "DRIFTBOOK_BACKUP_DAYS", "DRIFTBOOK_BOOK", "DRIFTBOOK_CACHE", "DRIFTBOOK_DEBUG",
    "DRIFTBOOK_HEADS", "DRIFTBOOK_KEY", "DRIFTBOOK_MAIL_TO", "DRIFTBOOK_MAPPINGS", "DRIFTBOOK_METRICS_TOKEN",
    "DRIFTBOOK_OIDC_ADDRESS", "DRIFTBOOK_OIDC_CLIENT", "DRIFTBOOK_OIDC_ISSUER", "DRIFTBOOK_OIDC_NAME", "DRIFTBOOK_OIDC_SECRET",
    "DRIFTBOOK_POOL_EXTRA", "DRIFTBOOK_POOL_RENEW_S", "DRIFTBOOK_POOL_SIZE", "DRIFTBOOK_POOL_WAIT_S", "DRIFTBOOK_READ_FROM",
    "DRIFTBOOK_SERVE", "DRIFTBOOK_SMTP_CA", "DRIFTBOOK_SMTP_FROM", "DRIFTBOOK_SMTP_HOST", "DRIFTBOOK_SMTP_PASSWORD",
    "DRIFTBOOK_SMTP_PASSWORD_FILE", "DRIFTBOOK_SMTP_PORT", "DRIFTBOOK_SMTP_SECURITY", "DRIFTBOOK_SMTP_USER",
})  # fmt: skip
"""A test holds them against what is read, and against ``deploy/driftbook.env``."""

_OURS: Final = "DRIFTBOOK_"
_OF_TESTS: Final = ("DRIFTBOOK_TEST_", "DRIFTBOOK_BENCH_", "DRIFTBOOK_BROWSER")


def unread(environ: Mapping[str, str]) -> Iterator[str]:
    """Give a sentence for each variable that bears our name and that nothing reads; its value may be a secret and is not told.

    Parameters
    ----------
    environ : mapping of str to str
        The environment. [unitless]
    """
    for name in sorted(environ):
        if not name.startswith(_OURS) or name in NAMES or name.startswith(_OF_TESTS):
            continue
        from difflib import get_close_matches  # only where something is wrong: it is not for free

        near = get_close_matches(name, NAMES, n=1, cutoff=0.85)
        yield f"{name} is set in the environment, and nothing reads it" + (f": {near[0]} is meant?" if near else ".")
