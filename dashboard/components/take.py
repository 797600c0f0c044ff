"""The line under a table that gives it as a file."""

from __future__ import annotations

from importlib.util import find_spec

from dashboard.components import elements as html
from dashboard.components.aria import aria
from dashboard.components.pieces import Child
from dashboard.place import Place
from dashboard.words import say

_PARQUET = find_spec("pyarrow") is not None
"""What writes Parquet is an extra: without it nothing is offered that could not be given."""


def take(name: str, place: Place, *, said: str = "files.take", **choices: object) -> html.P:
    """Offer a table as a file, for the same choices as those of the page.

    Parameters
    ----------
    name : str
        Name of the table in ``dashboard.files.tables``. [unitless]
    place : Place
        The address of the page. [unitless]
    said : str
        Key of what stands before the links, where 'this table' is not plain. [unitless]
    **choices : object
        What the address of the table says beside the page's; ``None`` takes a choice out. [unitless]
    """
    forms = ("csv", "xlsx", "parquet") if _PARQUET else ("csv", "xlsx")
    links: list[Child] = []
    for form in forms:
        links.append(" · " if links else " ")
        links.append(
            html.A(
                say(f"files.take.{form}"),
                href=Place(f"/table/{name}.{form}", dict(place.choices)).here(**choices),
                download="",
                **aria(label=say("files.take.label", form=say(f"files.take.{form}"))),
            )
        )
    return html.P([say(said), *links], className="take")
