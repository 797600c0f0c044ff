"""The history of a machine on paper: all of it is there, with none and with sixty jobs, and nothing typed is read as markup."""

from __future__ import annotations

import re
from base64 import b64encode
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import pairwise

import numpy as np
import pytest

from dashboard.reports.asset_around import Around
from dashboard.reports.asset_pictures import panel_picture, ratio_picture
from dashboard.reports.press import pages_of as count_pages
from dashboard.reports.press import print_pdf
from dashboard.views import asset_view
from models.maths.conformance import conformance
from models.maths.judged import ratio_of
from models.units import Display
from models.values.decision import Decision, DecisionRule, Decisions, Rule, Verdict, covariance_of
from models.values.entry import Stated
from models.values.job import COMPONENTS, Misalignment
from models.values.kinds import Coupling, Meaning
from models.values.limits import LimitsGiven
from models.values.people import Instrument, Person
from models.values.story import AssetStory, JudgedAs, Signoff
from tests.papers import edges_of, page_sizes, pages_of, plain, text_of
from tests.report_book import (
    AROUND,
    EARLY,
    IDENTITY,
    LONG,
    LONG_TAG,
    MADE_AT,
    NASTY,
    PROOF,
    ROOT,
    history_paper,
    story,
)


@pytest.fixture(scope="module")
def sixty() -> list[str]:
    return pages_of(print_pdf(history_paper(story(60, long=True, nasty=True, amended=True))))


def test_every_job_is_there_once_and_in_order(sixty: list[str]) -> None:
    told = " ".join(sixty)
    assert re.findall(r"job (J\d{3}) · entry (\d+)", told) == sorted(
        re.findall(r"job (J\d{3}) · entry (\d+)", told), key=lambda pair: pair[0]
    )
    for number in range(1, 61):
        assert told.count(f"job J{number:03d} · entry {100 + number} ") == 1
    assert "job J003 · entry 900 " in told


def test_every_page_says_what_it_is_and_which_of_how_many(sixty: list[str]) -> None:
    assert 15 <= len(sixty) <= 45
    for number, page in enumerate(sixty, start=1):
        assert f"Page {number} of {len(sixty)}" in page
        assert f"Alignment history of {LONG_TAG}" in page
        assert "as of entry 4711 of the book" in page


def test_numbers_stand_as_typed_and_as_converted() -> None:
    told = text_of(print_pdf(history_paper(story(40))))
    for number in (1, 17, 40):
        here = told[told.index(f"job J{number:03d} ") :]
        row = here[here.index("Offset, vertical [mm]") :]
        wanted = f"Offset, vertical [mm] {number / 25.4:.3f} mil +{0.001 * number:.3f} 0,01 mm +0.010 – 0.000 0.120"
        assert row.startswith(wanted)
        row = here[here.index("Angularity, vertical [mm/m]") :]
        assert row.startswith(
            f"Angularity, vertical [mm/m] {-0.01 * number:.2f} mm/m −{0.01 * number:.2f} – +0.02 – 0.00 1.00"
        )
    assert "as found, dial 1, 6 o'clock, bottom: 7.5 mil" in told
    assert "Reason stated (soft foot) plates were worn" in told
    assert "Rise before the work [mm] 0.010 (0.4 mil) 0.020 0.090 0.000" in told


def test_units_of_the_paper_are_those_that_were_asked_for() -> None:
    told = text_of(print_pdf(history_paper(story(3), display=Display("mil", "°F"))))
    assert "Offset, vertical [mil] 0.118 mil +0.1 0,01 mm +0.4 – 0.0 4.7" in told


def test_limits_people_instruments_and_what_they_rest_on_are_named(sixty: list[str]) -> None:
    told = " ".join(sixty)
    assert "Limits that the set gave for this machine on that day: offset 0.120 mm, angularity 1.00 mm/m" in told
    assert "Judged under ours, version 1, adopted by the tests with effect from 1 Jan 2020" in told
    assert "Source: made up for the tests." in told
    assert "D-1: its calibration held on the day" in told
    assert "D-1: the book knows no calibration for that day" in told
    assert re.search(r"D-1: its calibration had run out \d+ days before", told)
    assert "D-1 dial set 1 Jan 2019 1 Jan 2021 entry 6 desk, 2 Jan 2020, 00:00 61" in told
    assert "D-1 dial set 1 Jan 2024 1 Jan 2027 entry 7 desk, 2 Jan 2020, 00:00 A calibration holds" in told
    assert "after the job was recorded" not in told
    assert "Ana Wick millwright entry 4 desk, 2 Jan 2020, 00:00 61 – – –" in told
    assert "Kaya Quay – – – – – 1" in told
    assert "4 May 2016: coupling replaced. hub cracked" in told
    assert "Limit ratio = the largest |measured − target| ÷ limit" in told
    assert "isolate it, lock out and tag" in told


def test_an_amendment_stands_in_full_old_beside_new(sixty: list[str]) -> None:
    told = " ".join(sixty)
    assert "Amendments: 1" in told
    assert (
        "Entry 900, by Bo Tarn on 5 Jan 2026, 08:00, took the place of entry 103, by desk. Reason: typed with the wrong sign"
        in told
    )
    assert "as-found, vertical offset +0.003 mm −0.500 mm" in told
    assert "as-found, vertical angularity −0.03 mm/m 0.25 mm/m" in told
    assert "replaced by entry 900" in told
    assert "amends entry 103: typed with the wrong sign" in told


def test_sign_offs_are_listed_and_have_a_place_where_there_are_none(sixty: list[str]) -> None:
    told = " ".join(sixty)
    assert "900 Kaya Quay approved 25 Nov 2026, 12:00 for the job as it stands as discussed 901" in told
    assert "signed off as they stand: 1 of 60; sign-offs in all: 1" in told
    assert told.count("Nobody has signed this version off.") == 60
    assert told.count("Signed off by Kaya Quay, approved, 25 Nov 2026, 12:00 (entry 901).") == 1
    assert "The book holds no sign-off for this machine. By hand" in text_of(print_pdf(history_paper(story(2))))


def test_a_signature_under_a_version_that_does_not_stand_is_told_as_such() -> None:
    told = story(4, amended=True)
    replaced, void = told.jobs[2], replace(told.jobs[0], superseded_by=950)
    jobs = (void, *told.jobs[1:], replace(void, entry=950, supersedes=101, superseded_by=None, void=True))
    signed = tuple(
        Signoff(entry, of, "Kaya Quay", MADE_AT, Meaning.REVIEWED)
        for entry, of in ((960, 101), (961, 102), (962, replaced.entry))
    )
    said = text_of(print_pdf(history_paper(replace(told, jobs=jobs, signoffs=signed))))
    assert (
        "3 jobs that stand, 6 versions in all, 2 of them amendments; signed off as they stand: 1 of 3; sign-offs in all: 3"
        in said
    )
    assert "101 Kaya Quay reviewed 25 Nov 2026, 12:00 no more: entry 950 made the job void – 960" in said
    assert "102 Kaya Quay reviewed 25 Nov 2026, 12:00 for the job as it stands – 961" in said
    assert "103 Kaya Quay reviewed 25 Nov 2026, 12:00 no more: entry 900 replaced what was signed – 962" in said
    assert "(entry 962); that holds no more: entry 900 replaced what was signed." in said
    assert "what was signed is the version that it replaced, or one before (entry 103)." in said


def test_a_calibration_or_qualification_that_was_entered_afterwards_shows_that_it_was() -> None:
    late = datetime(2026, 11, 30, 9, tzinfo=UTC)
    around = Around(
        (*AROUND.people, Stated(990, late, "office", Person("Ana Wick", "certified inspector"))),
        (
            *AROUND.instruments,
            Stated(991, late, "lab", Instrument("D-1", "dial set", date(2021, 1, 2), date(2023, 12, 31))),
        ),
        AROUND.limit_sets,
    )
    told = story(60)
    line = next(line for line in told.jobs if line.job.performed_at.year == 2021 and line.job.performed_at.month > 1)
    said = text_of(print_pdf(history_paper(replace(told, jobs=(line,)), around=around)))
    days = (line.job.performed_at.date() - date(2021, 1, 1)).days
    assert (
        "D-1: its calibration held on the day, as entry 991 says, written 30 Nov 2026, 09:00, after the job was recorded. "
        f"Until then the book said: run out {days} days before" in said
    )
    assert "entry 991 lab, 30 Nov 2026, 09:00 it changed what the book said of 1 job recorded before it" in said
    assert "Ana Wick millwright entry 4 desk, 2 Jan 2020, 00:00 1 – – –" in said
    assert "Ana Wick certified inspector entry 990 office, 30 Nov 2026, 09:00" in said


def test_a_guarded_decision_can_be_made_again_from_the_paper() -> None:
    rule = DecisionRule(Rule.GUARDED, 0.95)
    told = story(1)
    line = replace(told.jobs[0], limits=LimitsGiven(0.12, 1.0, None, 0.05))
    sd = (0.0123, 0.05, 0.0123, 0.05)
    covariance = np.diag(np.square(sd))
    covariance[0, 1] = covariance[1, 0] = 0.3 * sd[0] * sd[1]
    job = replace(line.job, found=Misalignment(0.11, 0.3, 0.0237, 0.1))
    chance = conformance(job.found or Misalignment(), covariance, line.limits).probability
    assert chance is not None
    decided = Decisions(found=Decision(rule, Verdict.UNDECIDED, covariance_of(covariance.tolist()), chance))
    around = replace(AROUND, rules=(Stated(8, EARLY, "head", rule, "the customer asks for it"),))
    said = text_of(
        print_pdf(history_paper(replace(told, jobs=(replace(line, job=job, decisions=decided),)), around=around))
    )
    given = re.search(r"found, measured − target ([−.\d ]+?) found, standard uncertainty ([−.\d ]+?) As found: correlations: offset V with angle V ([.\d]+), probability of being within limit ([.\d]+)\. Limits in full: offset ([.\d]+) mm, angularity ([.\d]+) mm/m", said)  # fmt: skip
    assert given is not None, said
    off, sds = ([float(text.replace("−", "-")) for text in given[place].split()] for place in (1, 2))
    again = np.diag(np.square(sds))
    again[0, 1] = again[1, 0] = float(given[3]) * sds[0] * sds[1]
    made = conformance(Misalignment(*off), again, LimitsGiven(float(given[5]), float(given[6]))).probability
    assert made == pytest.approx(chance, abs=1e-5) == float(given[4])
    assert "guarded, 95 % entry 8 head, 2 Jan 2020, 00:00 the customer asks for it" in said
    assert "over where it is at most 1 minus that and the limit ratio is above 1" in said
    without = text_of(print_pdf(history_paper(told)))
    assert "decision" not in without.casefold()


def test_what_was_typed_is_printed_and_never_read(sixty: list[str]) -> None:
    told = " ".join(sixty)
    assert plain(NASTY) in told
    assert told.count('#read("main.typ")') == 61
    assert LONG in told


def test_a_machine_without_a_job_has_a_paper_too() -> None:
    pdf = print_pdf(history_paper(story(0), size="letter"))
    told = pages_of(pdf)
    assert page_sizes(pdf) == {(612, 792)}
    assert len(told) <= 2
    assert "No job is in the book yet." in told[0]
    assert "brine pump" in told[0]
    assert "No job of this machine was amended." in " ".join(told)


def test_a_job_is_not_cut_by_the_end_of_a_page(sixty: list[str]) -> None:
    for first, second in pairwise(sixty):
        last = first.rfind("At the coupling centre")
        if last >= 0 and "· job J" in first:
            assert "source: jobs.csv, row 7." in first[last:], second[:80]


def test_one_job_has_all_four_components_of_each_stage() -> None:
    told = text_of(print_pdf(history_paper(story(1))))
    assert len(COMPONENTS) == 4
    for name in ("Offset, vertical", "Angularity, vertical", "Offset, horizontal", "Angularity, horizontal"):
        assert told.count(f"{name} [") == 2, "once above its picture, once in the table of the job"


def test_the_same_book_gives_the_same_bytes() -> None:
    assert print_pdf(history_paper(story(3))) == print_pdf(history_paper(story(3)))


def test_the_number_of_pages_is_known_before_printing() -> None:
    paper = history_paper(story(12))
    assert count_pages(paper) == len(pages_of(print_pdf(paper)))


def test_the_cover_names_the_head_of_the_book() -> None:
    told = pages_of(print_pdf(history_paper(story(1))))[0]
    assert "Last entry of the book 4711" in told
    assert f"Root of the tree of entries {b64encode(ROOT).decode()}" in told.replace("- ", "-")
    assert "That root is over 4700 entries, as of 25 Nov 2026, 12:00" in told
    assert "Signed no" in told
    without = pages_of(print_pdf(history_paper(story(1), identity=replace(IDENTITY, proof=None))))[0]
    assert "no head was made yet" in without
    keyed = replace(IDENTITY, proof=replace(PROOF, key_entry=3))
    assert "which entry 3 names" in pages_of(print_pdf(history_paper(story(1), identity=keyed)))[0]


def test_a_note_longer_than_a_page_and_a_word_wider_than_a_line_are_printed_whole() -> None:
    told = story(2)
    words = " ".join(f"word{number}" for number in range(1500))
    key = "K" + "x9" * 90 + "E"
    lines = [replace(told.jobs[0], job=replace(told.jobs[0].job, notes=f"{words}\n{key} end of note")), told.jobs[1]]
    pdf = print_pdf(history_paper(replace(told, jobs=tuple(lines))))
    text = text_of(pdf)
    assert "word0 word1 " in text
    assert "word1499" in text
    assert key in text.replace(" ", "")
    right = max(place for page in edges_of(pdf) for place in page)
    assert right <= 595 - 40, "nothing runs over the margin"


def steps_of(svg: str) -> set[float]:
    """Give the steps between the labels of the grid lines, which stand right-aligned before them."""
    labels = re.findall(r'text-anchor="end"[^>]*>([^<]*)<', svg)
    assert len(labels) > 2
    values = [float(label.replace("−", "-")) for label in labels]
    return {round(high - low, 9) for low, high in pairwise(values)}


@pytest.mark.parametrize("top", [0.8, 1.2, 1.27, 1.4, 1.5, 1.9, 2.4, 3.7, 4.2, 9.0, 13.0, 14.5, 130.0])
def test_the_values_at_the_grid_lines_are_as_far_apart_as_the_lines(top: float) -> None:
    told = story(2)
    lines = tuple(replace(line, found_ratio=top) for line in told.jobs)
    view = asset_view.build(replace(told, jobs=lines), Display())
    assert view.ratio is not None
    assert len(steps_of(ratio_picture(view.ratio, view.marks, view.amended))) == 1


@pytest.mark.parametrize("length", ["mm", "mil"])
@pytest.mark.parametrize("size", [0.002, 0.011, 0.025, 0.05, 0.13, 0.26, 0.9, 3.0])
def test_those_of_a_component_too_whatever_the_unit(length: str, size: float) -> None:
    told = story(2)
    jobs = [replace(line.job, found=Misalignment(size, size, -size, size), left=None) for line in told.jobs]
    lines = tuple(
        replace(line, job=job, limits=LimitsGiven(size, size)) for line, job in zip(told.jobs, jobs, strict=True)
    )
    view = asset_view.build(replace(told, jobs=lines), Display(length))
    for panel in view.components:
        assert len(steps_of(panel_picture(panel, view.marks))) == 1, panel.title


def test_the_paper_says_in_which_unit_its_own_numbers_are() -> None:
    assert "written here in mil, beside what was typed" in text_of(
        print_pdf(history_paper(story(1), display=Display("mil")))
    )
    assert "written here in mm, beside what was typed" in text_of(print_pdf(history_paper(story(1))))


def test_what_was_typed_besides_has_a_name_of_its_own() -> None:
    told = story(1)
    typed = {
        "found method": "rim and face", "found seen_from": "movable machine", "found dial.2.side": "front of the hub",
        "left method": "reverse indicator", "left dial.1.left": "2 mil", "moves": "both machines", "feet.movable.1.left": "1 mm",
    }  # fmt: skip
    line = replace(told.jobs[0], job=replace(told.jobs[0].job, typed=typed))
    said = text_of(print_pdf(history_paper(replace(told, jobs=(line,)))))
    assert (
        "Typed besides: as found, how it was measured: rim and face; "
        "as found, 3 o'clock is the right hand of somebody at the: movable machine; "
        "as found, dial 2, side of the hub on which it runs: front of the hub; "
        "as left, how it was measured: reverse indicator; as left, dial 1, 9 o'clock: 2 mil; "
        "which machine is moved: both machines; feet, movable machine 1, room to the left: 1 mm"
    ) in said


def spacer_story(span_mm: float = 1800.0) -> AssetStory:
    """Give a machine with a spacer and one job, judged by the angle at its flex planes; its span has changed since."""
    told = story(1, spacer=True)
    line, limits = told.jobs[0], LimitsGiven(flex_mm_m=0.5, soft_foot_mm=0.05)
    found, target = Misalignment(0.63, 0.86, -0.9, -1.76), Misalignment(0.09, 0.0, 0.0, 0.0)
    off = (0.63 - 0.09, 0.86, -0.9, -1.76)
    job = replace(line.job, found=found, left=None, target=target)
    was = JudgedAs(Coupling.SPACER, told.asset.limit_speed_rpm, span_mm)
    judged = replace(
        line, job=job, limits=limits, found_ratio=ratio_of(off, limits, span_mm), left_ratio=None, judged_as=was
    )
    then = replace(told.versions[0], asset=replace(told.asset, span_mm=span_mm))
    later = replace(told.versions[0], entry=8, asset=replace(told.asset, span_mm=900.0))
    return replace(told, asset=later.asset, versions=(then, later), jobs=(judged,))


def test_a_spacer_shows_the_angles_that_were_judged_with_their_limit() -> None:
    told = spacer_story()
    said = text_of(print_pdf(history_paper(told)))
    # 0.86 ÷ 2 ± (0.63 − 0.09) ÷ 1.8 and −1.76 ÷ 2 ± (−0.9) ÷ 1.8, by hand
    assert "Flex-plane angle, measured − target [mm/m]" in said
    assert "Stationary end +0.73 −1.38 – – 0.50" in said
    assert "Movable end +0.13 −0.38 – – 0.50" in said
    block = said[said.index("At the coupling centre") : said.index("Flex-plane angle")]
    assert "Limit" not in block, "no column of limits where nothing is judged by them"


def test_angles_that_do_not_give_the_stored_ratio_are_not_shown_as_those_judged() -> None:
    told = spacer_story()
    line = replace(told.jobs[0], found_ratio=7.7)
    assert "Flex-plane angle" not in text_of(print_pdf(history_paper(replace(told, jobs=(line,)))))
    assert "Flex-plane angle" not in text_of(print_pdf(history_paper(story(2))))


def test_hours_are_printed_with_the_fraction_that_was_typed() -> None:
    told = story(2)
    lines = [replace(told.jobs[0], job=replace(told.jobs[0].job, hours_run=12.5)), told.jobs[1]]
    said = text_of(print_pdf(history_paper(replace(told, jobs=tuple(lines)))))
    assert "Hours run 12.5 h" in said
    assert "Hours run 200 h" in said


def test_jobs_from_before_the_first_adoption_are_told_only_where_there_are_some() -> None:
    told = story(2)
    assert "Jobs done before 1 Jan 2020: no limit set of the book was in force on their day" in text_of(
        print_pdf(history_paper(told))
    )
    job = replace(told.jobs[0].job, performed_at=datetime(2020, 1, 1, 9, tzinfo=UTC))
    since = replace(told, jobs=(replace(told.jobs[0], job=job),))
    assert "was in force on their day" not in text_of(print_pdf(history_paper(since)))
