"""What is said on top of the pages of a machine that is out of service, and the way to the one into which it was merged."""

from __future__ import annotations

from datetime import date

from dashboard.components import elements as html
from dashboard.components.pieces import Child
from dashboard.words import say
from dashboard.writing import day
from models.values.story import AssetStory


def retired_part(story: AssetStory, today: date, link: str, href: str) -> Child:
    """Say that a machine is out of service, and where its history is if its record was given up; nothing while it is in service.

    Parameters
    ----------
    story : AssetStory
        The machine. [unitless]
    today : date
        Day on the site's calendar. [unitless]
    link : str
        Key of the text of the link to the machine that was kept. [unitless]
    href : str
        Address of the page of the machine that was kept. [unitless]
    """
    gone = story.asset.retired
    if gone is None or gone > today:
        return None
    if not story.merged_into:
        return html.P(say("asset.retired", tag=story.asset.tag, on=day(gone)), className="note strong")
    text = say("asset.merged", tag=story.asset.tag, kept=story.merged_into, on=day(gone))
    onward = html.Link(say(link, kept=story.merged_into), href=href)
    return html.P([text, " ", onward], className="note strong")
