"""The subcommands init, upgrade, template and site."""

from __future__ import annotations

import argparse
from datetime import date
from importlib.resources import as_file, files
from pathlib import Path
from zoneinfo import ZoneInfo

from dashboard.console.common import now, one_of, opened, out, settings_of, who
from dashboard.console.key_file import tell_grants
from dashboard.console.limits import day_of
from dashboard.console.whole import check_new, put_new
from dashboard.words import say
from dashboard.writing import counted, rule_text
from models.commands.init_book import init_book
from models.commands.seal_book import seal_book
from models.commands.set_site import set_site
from models.commands.upgrade_book import upgrade_book
from models.commands.zones import check_zone
from models.errors import DriftbookError, InvalidValueError
from models.intake.limit_file import read_limit_set
from models.intake.template import csv_files, workbook
from models.settings import Settings
from models.store.copy_aside import for_everybody
from models.store.known import site_of
from models.store.revision import needed_revision
from models.store.state import any_account
from models.units import Display
from models.values.decision import DEFAULT_CONFIDENCE, DecisionRule, Rule, guarded_at
from models.values.limits import LimitSet
from models.values.story import Site
from models.whole_files import not_written

_CSV_ELSEWHERE = "--csv FOLDER"


def starter_limits(by: str, zone: str = "UTC", since: date | None = None) -> LimitSet:
    """Read the starter limit set that ships with the tool, adopted from a day on; today, on the day of a zone, without one."""
    with as_file(files("seed_data") / "starter_limits.toml") as path:
        return read_limit_set(path, adopted_by=by, adopted_on=since or _today(zone))


def _today(zone: str) -> date:
    """Give the site's day: west of Greenwich that of UTC is tomorrow in the evening, and no other set could begin today."""
    check_zone(zone)
    return now().astimezone(ZoneInfo(zone)).date()


def run_init(given: argparse.Namespace) -> int:
    """Make a book or add a site."""
    settings, by = settings_of(given), who(given)
    since = day_of(given.since) if given.since else _today(given.zone)
    limit_set = (
        read_limit_set(Path(given.limits), adopted_by=by, adopted_on=since)
        if given.limits
        else starter_limits(by, given.zone, since)
    )
    display = Display(given.units, f"°{given.temperature}")
    site = init_book(
        settings,
        name=given.site,
        zone=given.zone,
        display=display,
        limit_set=limit_set,
        by=by,
        now=now(),
        interval_months=given.interval,
    )
    out.print(
        f"The book {settings.shown} holds the site '{site.name}' ({site.code}), {site.zone}, in {display.length} and {display.temperature}."
    )
    if limit_set.starter:
        out.print(
            "Its limits are the starter set: a starting point, to be replaced by the limits of the coupling's or the machine's maker"
        )
        out.print("or by the site's own standard.")
    if site.site_id == 1:
        tell_grants(settings)
    with opened(settings) as engine, engine.connect() as connection:
        asks_who = any_account(connection)
    if asks_who:
        # Whoever administers the other sites has no role here, and sees nothing of it: it is given by its code.
        out.print(
            "People sign in to this book, and no account has a role at this site yet. Give one, for each who needs it:"
        )
        out.print(f"driftbook people change LOGIN --site {site.code} --role administrator", soft_wrap=True)
    out.print("Next: driftbook template, or driftbook import FILE")
    return 0


def run_upgrade(given: argparse.Namespace) -> int:
    """Bring a book to the revision of this version."""
    settings = settings_of(given)
    done = upgrade_book(settings, has_backup=given.i_have_a_backup)
    needed = needed_revision()
    if done.before == needed:
        out.print(f"The book {settings.shown} is at revision {needed} already.", soft_wrap=True)
    else:
        out.print(f"The book {settings.shown} went from revision {done.before} to {needed}.", soft_wrap=True)
    if done.copy:
        out.print(f"A copy of it as it was is {done.copy}.", soft_wrap=True)
    # Of a book that is at its revision as well: what an older version left unsealed, and a key where there is none.
    sealed = done.sealed + seal_book(settings, by=who(given), now=now())
    if sealed:
        out.print(
            f"Sealed {sealed:,} entries that had no statement: from now on a change behind the tool's back is noticed.",
            soft_wrap=True,
        )
    elif done.before == needed:
        out.print("Nothing to do.")
    if settings.is_file and for_everybody(settings.path):
        out.print(say("upgrade.for_everybody", path=settings.path), markup=False, soft_wrap=True)
    return 0


def run_template(given: argparse.Namespace) -> int:
    """Write the template."""
    display = Display(given.units)
    if given.csv and (given.file or given.output):
        raise DriftbookError(
            f"FILE and --csv say two things: '{given.file or given.output}' is a workbook, '{given.csv}' a folder of CSV files.",
            remedy="Give one of them; for both, call it twice.",
        )
    if given.csv:
        made = {Path(given.csv) / name: data for name, data in csv_files(display).items()}
        for path in made:  # one that was filled must not be empty again
            check_new(path, _CSV_ELSEWHERE)
        try:
            Path(given.csv).mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise not_written(given.csv, fault, _CSV_ELSEWHERE) from fault
        for path, data in made.items():
            put_new(path, data, _CSV_ELSEWHERE)
        out.print("Wrote " + ", ".join(map(str, made)))
        return 0
    path = Path(one_of(given.file, given.output, "FILE", "--output") or "driftbook-template.xlsx")
    if path.suffix.lower() != ".xlsx":
        raise DriftbookError(
            f"The template is a workbook, not '{path.suffix or path.name}'.",
            remedy="Give a name that ends in .xlsx, or --csv FOLDER.",
        )
    put_new(path, workbook(display), "driftbook template NAME.xlsx")
    out.print(f"Wrote {path}. Fill it, then: driftbook import {path}")
    return 0


def run_site(given: argparse.Namespace) -> int:
    """Show or change how a site is set."""
    settings = settings_of(given)
    with opened(settings) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        rule = _rule(given, site)
        asked = (given.rename, given.units, given.temperature, given.zone, given.interval, rule)
        before = site
        if any(value is not None for value in asked):
            display = None  # what is not typed stays, also where somebody else is just changing it
            if given.units or given.temperature:
                display = Display(
                    given.units or site.display.length,
                    f"°{given.temperature}" if given.temperature else site.display.temperature,
                )
            site = set_site(
                engine,
                site,
                by=who(given),
                now=now(),
                name=given.rename,
                display=display,
                zone=given.zone,
                interval_months=given.interval,
                rule=rule,
                why=given.why,
            )
            if site == before:
                out.print("Nothing was changed: it is set so already.")
        elif given.why:
            raise InvalidValueError(
                "A reason alone changes nothing.",
                remedy="Say what is to change: --rename, --units, --temperature, --zone, --interval or --rule.",
            )
    if site.rule != before.rule:
        out.print("Jobs that are recorded from now on are decided so; what was decided before stays as it was stored.")
    if site.name != before.name:
        out.print(
            f"'{before.name}' is called '{site.name}' from now on. Entries that were made before keep what they said."
            f" Addresses, roles, tokens and names of files go by '{site.code}' as before, and '{before.name}' still finds it.",
            markup=False,
        )
    _show(settings, site)
    return 0


def _rule(given: argparse.Namespace, site: Site) -> DecisionRule | None:
    """Read the decision rule that is asked for; ``None`` where none is."""
    if given.rule is None and given.confidence is None:
        return None
    if given.rule == "simple" or (given.rule is None and site.guarded is None):
        if given.confidence is not None:
            raise InvalidValueError(
                "Simple acceptance asks for no confidence.",
                remedy="Choose the guarded rule: --rule guarded --confidence 95",
            )
        return DecisionRule()
    if given.confidence is not None:
        return guarded_at(given.confidence)
    return DecisionRule(Rule.GUARDED, DEFAULT_CONFIDENCE if site.guarded is None else site.guarded.confidence)


def _show(settings: Settings, site: Site) -> None:
    out.print(
        f"{site.name} ({site.code}) in {settings.shown}: {site.zone}; lengths in {site.display.length}, "
        f"temperatures in {site.display.temperature}; next check {counted(site.interval_months, 'month')} after the last; decision rule: {rule_text(site.rule or DecisionRule())}.",
        markup=False,
    )
