"""Settings from the environment: the connections to a database server, and what is refused."""

from __future__ import annotations

import pytest

from models.errors import InvalidValueError
from models.settings import Pool, read_settings
from models.store.engine import make_engine


def test_the_pool_is_as_the_environment_says() -> None:
    env = {
        "DRIFTBOOK_POOL_SIZE": "3",
        "DRIFTBOOK_POOL_EXTRA": "0",
        "DRIFTBOOK_POOL_WAIT_S": " 7 ",
        "DRIFTBOOK_POOL_RENEW_S": "",
    }
    settings = read_settings(book="postgresql://somebody@db.example/plant", environ=env)
    assert settings.pool == Pool(size=3, extra=0, wait_s=7)
    engine = make_engine(settings)  # connects to nobody yet
    assert engine.pool.size() == 3  # type: ignore[attr-defined]
    assert engine.pool._max_overflow == 0  # type: ignore[attr-defined]
    assert engine.pool._timeout == 7  # type: ignore[attr-defined]
    assert engine.pool._recycle == Pool().renew_s


@pytest.mark.parametrize("text", ["0", "-1", "many", "1.5", "٣", "99999999"])
def test_what_is_no_number_of_connections_is_refused_in_words(text: str) -> None:
    with pytest.raises(InvalidValueError, match="DRIFTBOOK_POOL_SIZE") as told:
        read_settings(environ={"DRIFTBOOK_POOL_SIZE": text})
    assert "leave it out" in told.value.remedy
