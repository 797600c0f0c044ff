"""A field of one line: what forms type into."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc


def one_line(own: str, name: str, value: str, *, most: int, keys: str = "text", choose: str = "") -> dmc.TextInput:
    """Put a field of one line that takes what is typed at any speed.

    The plain input of Dash (4.4) puts the cursor back to where it was a moment
    ago after every key: somebody who types fast, or a scanner that reads a
    tag, gets letters in another order.  This one leaves the cursor alone.

    Parameters
    ----------
    own : str
        Its id. [unitless]
    name : str
        Its name in the form. [unitless]
    value : str
        What stands in it at first. [as typed]
    most : int
        Longest text. [character]
    keys : str
        Which keys a phone shows: 'text', or 'decimal' where neither sign nor unit is needed. [unitless]
    choose : str
        Id of a list of proposals. [unitless]
    """
    more: dict[str, Any] = {"list": choose} if choose else {}
    return dmc.TextInput(
        id=own,
        name=name,
        value=value,
        debounce=True,
        autoComplete="off",
        spellCheck=False,
        unstyled=True,
        className="box",
        inputProps={"inputMode": keys, "maxLength": most, **more},
    )
