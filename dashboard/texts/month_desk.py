"""Texts of the desk of the month: the control chart, the jobs behind a number, what came back and what is due."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    "month.key.unreviewed": "{n} with no reviewer.",
    "month.key.due_both": "{n} more due within {days} days; by risk {risk}: {risky} now",
    "month.problem.jobs": "‘{asked}’ is no number of this page; no jobs are opened.",
    "month.behind.title": "The jobs behind it: {what}",
    "month.behind.all": "jobs done",
    "month.behind.found": "as-found readings that were judged",
    "month.behind.left": "as-left readings that were judged",
    "month.behind.before": "twelve months before {month}",
    "month.behind.of": "{over} over limit of {n}, the largest limit ratio first.",
    "month.behind.more": "{n} more are not listed.",
    "month.behind.close": "Close this list",
    "month.column.reason": "Reason",
    "month.column.entry": "Entry",
    "month.column.control": "Control limits",
    "month.column.reviewer": "Reviewed by",
    "month.column.suggests": "What its history suggests",
    "month.chart.too_few": "Months with readings: {n}. That is too few for control limits, which need twelve.",
    "month.chart.centre": "Over these {n} months {centre} of the as-found readings were over limit.",
    "month.chart.above": "Above the upper control limit: {months}.",
    "month.chart.below": "Below the lower control limit: {months}.",
    "month.chart.inside": "No month lies beyond its control limits: nothing that stands out from how months differ.",
    "month.chart.run_above": "{n} months or more in a row lay above the mean, up to {month}: a lasting rise.",
    "month.chart.run_below": "{n} months or more in a row lay below the mean, up to {month}: a lasting fall.",
    "month.chart.here": "{month}: {share}, control limits {limits}.",
    "month.chart.provisional": "The limits are provisional: {n} months have readings, twenty are wanted.",
    "month.chart.limits": "control limits",
    "month.chart.mean": "mean",
    "month.chart.upper": "upper<br>{share}",
    "month.chart.mean_of": "mean<br>{share}",
    "month.chart.lower": "lower<br>{share}",
    "month.chart.within": "inside the control limits",
    "month.chart.beyond": "beyond the control limits",
    "month.chart.hover_limits": "limits {low} to {high} %",
    "month.chart.note": "Full steps: control limits, which depend on how many readings a month has. Dashed: the mean. A month beyond the limits is a diamond; "
    "the month shown is the large circle. Below: over limit, of so many readings.",
    "month.chart.about": "Share of a month = over limit ÷ as-found readings judged. Control limits are the mean share p of these 24 months ± 3 σ √(p (1 − p) ÷ readings), "
    "where σ (here {factor}) says how much months differ against chance alone (Laney's p′ chart, 2002). A month beyond them, or eight in a row on one side "
    "of the mean, is worth a question; all others are not. Months are those of the site's own calendar. The 95\u202f% interval in the table is Wilson's.",
    "month.left_over.nobody": "nobody yet",
    "month.suggests": "suggests {cause}",
    "month.settles": "To settle it: {what}.",
    "month.suggests.nothing": "nothing stands out",
    "month.about.returned": "A return: the visit before left the machine within limit, nothing was replaced in between, and this visit found it over. "
    "The largest limit ratio comes first. What the history suggests rests on all runs up to today: a cause is named only where its signature is there, and one in ten "
    "of the names may be chance. It is a suggestion and not a diagnosis; the machine's own page shows what speaks for and against it.",
    "month.due.rule": "By rule: {months} months",
    "month.due.risk": "By risk",
    "month.due.risk_text": "For {now} of {n} in service the day has come on which the risk of being over limit reaches {risk}; for {soon} more it comes within {days} days.",
    "month.due.risk_caption": "The {n} likeliest to be over limit today",
    "month.due.all_rule": "All dates by the rule",
    "month.due.all_risk": "All dates by risk, with the reason of each",
    "month.about.risk": "By risk: a forecast from the last as-left, the machine's own rate drawn towards its class, scatter and reading error. How often such forecasts held stands on the page Due.",
}
