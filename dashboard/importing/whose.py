"""Whose file the pages of an import speak of, and for which site."""

from __future__ import annotations

from dataclasses import replace

from flask import request

from dashboard.auth import asking
from dashboard.context import context
from dashboard.fetch import Scene, scene
from dashboard.importing.sent_files import SentFile, SentFiles
from dashboard.place import IMPORT as PATH
from dashboard.place import Place, read_file_place, read_site, shortened
from models.values.story import Site


def seen_here() -> Scene:
    """Give what the address of the request speaks of; every address that is written from it names its site.

    One that names none means the first site that may be read, and that can be another one when roles have changed.
    """
    query = request.query_string.decode("utf-8", "replace")
    seen = scene(request.path, query)
    site = read_site(read_file_place(request.path, query), seen.sites).value  # as the gate reads it, however long
    return seen if site is None else seen_at(seen, site)


def seen_at(seen: Scene, site: Site) -> Scene:
    """Give the same for a site, whichever the address names."""
    place = Place(seen.place.path, {**seen.place.choices, "site": site.code})
    if seen.required.site_id == site.site_id:
        return replace(seen, place=place)
    return scene(place.path, place.to(place.path).partition("?")[2])


def unknown_site(seen: Scene) -> str:
    """Give the site that the address names where there is none such, or not for who asks; else an empty text."""
    place = read_file_place(request.path, request.query_string.decode("utf-8", "replace"))
    return shortened(place.get("site")) if read_site(place, seen.sites).problem else ""


def sent_files() -> SentFiles:
    """Give the files that were sent."""
    here = context()
    return SentFiles(here.settings.mappings, here.clock())


def find_sent(secret: str) -> SentFile | None:
    """Give a file of who asks, by its secret, for whichever site; ``None`` where there is none, or no more."""
    return sent_files().find(secret, login=login_here())


def login_here() -> str:
    """Give the account that asks; empty where nobody signs in."""
    who = asking.signed()
    return "" if who is None else who.account.login


def author_here(seen: Scene) -> str:
    """Give the name under which it is written: the account's, else what was typed."""
    who = asking.signed()
    if who is not None:
        return who.account.person(seen.required.site_id)
    return " ".join(request.form.get("by", "")[:120].split()) if request.method == "POST" else ""


def path_to(seen: Scene, sent: SentFile, said: str = "") -> str:
    """Write the address at which a file is looked at; ``said`` is what the page says first."""
    return seen.place.to(f"{PATH}/{sent.secret}", said=said or None)
