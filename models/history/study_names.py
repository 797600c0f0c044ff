"""Tables of a study about people and instruments: what they read, and how what people left held."""

from __future__ import annotations

from models.history.columns import History, IntArray
from models.history.effects import FEWEST_JOBS, effects_of
from models.history.engine import Study
from models.history.holding import holding_by_others
from models.history.study_table import COMPONENTS, StudyTable, Value, number


def effects_table(history: History, study: Study, what: str) -> StudyTable:
    """Give how the readings of each instrument or person differ from those of all.

    Parameters
    ----------
    history : History
        The columns that were studied. [unitless]
    study : Study
        What was found. [unitless]
    what : str
        ``'instrument'`` or ``'person'``. [unitless]
    """
    jobs, runs, material = history.jobs, study.runs, study.material
    names = history.instruments if what == "instrument" else history.people
    column: IntArray = jobs.instrument if what == "instrument" else jobs.person
    found = effects_of(runs, material, study.grouping, column, len(names))
    parts = (found.raw, found.low, found.high, found.drawn, found.drawn_low, found.drawn_high, found.q)
    rows: list[tuple[Value, ...]] = []
    for i in sorted(range(len(names)), key=lambda n: names[n]):
        none = "cannot be told from movement" if found.apart[i] else f"fewer than {FEWEST_JOBS} runs"
        for c, component in enumerate(COMPONENTS):
            cells = [number(x[i, c]) for x in parts]
            few = "" if cells[0] is not None else none
            rows.append((names[i], component, int(found.jobs[i]), *cells, few))
    columns = (
        what,
        "component",
        "runs that tell",
        "raw",
        "low",
        "high",
        "drawn",
        "drawn low",
        "drawn high",
        "q",
        "note",
    )
    meaning = (
        "How readings differ from the median of all that can be compared, with 90 % intervals; drawn: towards that median, as far as the runs and "
        "what is not known of the spread between names ask for; in the order of the names, not a ranking."
    )
    return StudyTable(f"{what}s", meaning, columns, tuple(rows))


def holding_table(history: History, study: Study) -> StudyTable:
    """Give how often what each person left came back, beside what was to be expected.

    Parameters
    ----------
    history : History
        The columns that were studied. [unitless]
    study : Study
        What was found. [unitless]
    """
    found, out = holding_by_others(
        history.jobs, history.breaks, study.runs, study.return_rates, history.assets.speed_class, len(history.people),
        smallest=study.choices.smallest, rate=study.choices.false_rate,
    )  # fmt: skip
    parts = (found.ratio, found.low, found.high, found.drawn, found.drawn_low, found.drawn_high)
    rows: list[tuple[Value, ...]] = []
    for i in sorted(range(len(history.people)), key=lambda n: history.people[n]):
        cells = [number(x[i], 3) for x in parts]
        few = "" if cells[0] is not None else f"fewer than {FEWEST_JOBS} runs"
        few = "stands out; no measure for the others" if out[i] else few
        counts = (int(found.jobs[i]), int(found.observed[i]), number(found.expected[i], 2))
        rows.append((history.people[i], *counts, *cells, number(found.q[i], 4), few))
    columns = (
        "person", "runs begun", "came back", "expected", "observed ÷ expected", "low", "high", "drawn", "drawn low", "drawn high",
        "q", "note",
    )  # fmt: skip
    common = "" if number(found.common) is None else f" of {found.common:.3f}"
    meaning = (
        "How what each left held, allowing for machines and their times in service, with exact 90 % intervals of the count. What "
        "is expected rests on the rates of the machines, in which each person's own returns are counted too: ratios and intervals "
        "are drawn to 1, most where one person has a machine to themselves, so a ratio near 1 is no proof. Who stands out with "
        "more returns is left out of the rates, and of the common ratio, by which the others are measured. Counted are runs on "
        "machines of which others began a quarter of the runs or more: work on a machine of one's own cannot be told from the machine; "
        f"drawn: towards the ratio{common} of all who are compared; in the order of the names, not a ranking."
    )
    return StudyTable("holding", meaning, columns, tuple(rows))
