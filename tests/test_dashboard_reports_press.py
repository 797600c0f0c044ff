"""What every paper is: an archive file that can be heard, with its fonts inside, made of data and of nothing else."""

from __future__ import annotations

import io
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime

import pikepdf
import pypdfium2
import pytest
from pdfua import validate as check_ua

from dashboard.reports.codes import asset_address, base_address, only_here, qr_picture, record_address
from dashboard.reports.labels import Label, labels_paper
from dashboard.reports.press import STANDARDS, TEMPLATES, Paper, UnprintableError, print_pdf
from models.errors import InvalidValueError
from models.values.draft import Way
from tests.papers import claims_of, codes_of, fonts_of, page_sizes, pages_of, text_of
from tests.report_book import IDENTITY, LONG, LONG_TAG, NASTY, history_paper, sheet_of, story

LABELS = [
    Label("P-7", "brine pump", "Hall 2", "http://plant-server:8750/asset/P-7"),
    Label(LONG_TAG, f"{LONG} {LONG}", "Rückstandsverbrennungsanlage Süd", f"https://driftbook.plant-south.example/asset/{'x' * 120}?site=quay"),
    Label("A/B 7 #x", NASTY, "", asset_address("http://plant:8750", "A/B 7 #x")),
]  # fmt: skip


def papers() -> dict[str, Paper]:
    return {
        "asset": history_paper(story(6, nasty=True, amended=True)),
        "sheet": sheet_of(story(3, nasty=True), Way.REVERSE_INDICATOR),
        "labels": labels_paper(LABELS, IDENTITY),
    }


@pytest.fixture(scope="module")
def printed() -> dict[str, bytes]:
    return {name: print_pdf(paper) for name, paper in papers().items()}


NAMES = ("asset", "sheet", "labels")


@pytest.mark.parametrize("name", NAMES)
def test_it_says_that_it_is_pdf_a_2a_and_pdf_ua_1(printed: dict[str, bytes], name: str) -> None:
    told = claims_of(printed[name])
    assert (told["pdfaid:part"], told["pdfaid:conformance"], told["pdfuaid:part"]) == ("2", "A", "1")
    assert told["dc:title"]
    assert STANDARDS == ("a-2a", "ua-1")


@pytest.mark.parametrize("name", NAMES)
def test_what_an_archive_file_must_have_is_there_and_what_it_must_not_is_not(
    printed: dict[str, bytes], name: str
) -> None:
    """Requirements of ISO 19005-2 as they are told in public summaries (from memory): looked at with another library."""
    with pikepdf.open(io.BytesIO(printed[name])) as document:
        root = document.Root
        assert not document.is_encrypted
        intents = list(root.OutputIntents)
        assert intents[0].S == "/GTS_PDFA1"
        assert "/DestOutputProfile" in intents[0]
        assert bool(root.MarkInfo.Marked)
        assert str(root.Lang) == "en"
        assert bool(root.ViewerPreferences.DisplayDocTitle)
        assert "/StructTreeRoot" in root
        assert "/AcroForm" not in root
        for item in document.objects:
            if isinstance(item, pikepdf.Dictionary):
                assert item.get("/S") not in {"/JavaScript", "/Launch", "/Sound", "/Movie", "/ResetForm", "/ImportData"}
                assert item.get("/Type") != "/Filespec", "no file lies inside"
            if isinstance(item, pikepdf.Stream):
                assert "/LZWDecode" not in str(item.get("/Filter", ""))
                assert "/F" not in item, "no stream lies outside"


@pytest.mark.parametrize("name", NAMES)
def test_every_font_lies_inside(printed: dict[str, bytes], name: str) -> None:
    fonts = fonts_of(printed[name])
    assert fonts
    assert all(fonts.values()), fonts
    assert {font.partition("+")[2] for font in fonts} <= {"Inter-Regular", "Inter-Bold"}


@pytest.mark.parametrize("name", NAMES)
def test_a_checker_of_other_make_finds_nothing_against_pdf_ua(
    printed: dict[str, bytes], name: str, tmp_path: object
) -> None:
    """Authority: the package pdfua, which checks what a machine can of PDF/UA-1 (ISO 14289-1); it is no proof of conformance."""
    path = tmp_path / "paper.pdf"  # type: ignore[operator]
    path.write_bytes(printed[name])
    report = check_ua(str(path))
    assert not list(report.findings), report


@pytest.mark.parametrize("name", NAMES)
def test_pictures_say_what_they_show(printed: dict[str, bytes], name: str) -> None:
    with pikepdf.open(io.BytesIO(printed[name])) as document:
        figures = [
            item for item in document.objects if isinstance(item, pikepdf.Dictionary) and item.get("/S") == "/Figure"
        ]
        assert figures
        assert all(len(str(figure.get("/Alt", ""))) > 10 for figure in figures)


@pytest.mark.parametrize("name", NAMES)
def test_the_same_input_gives_the_same_bytes(printed: dict[str, bytes], name: str) -> None:
    assert print_pdf(papers()[name]) == printed[name]


@pytest.mark.parametrize("name", NAMES)
def test_text_is_text_and_markup_is_text_too(printed: dict[str, bytes], name: str) -> None:
    assert "#panic() ] *x*" in text_of(printed[name])


def test_several_at_once_give_the_same_as_one_after_the_other(printed: dict[str, bytes]) -> None:
    asked = [name for _ in range(3) for name in NAMES]
    made = papers()
    with ThreadPoolExecutor(6) as threads:
        assert list(threads.map(lambda name: print_pdf(made[name]), asked)) == [printed[name] for name in asked]


def test_no_template_takes_a_text_as_markup_or_reaches_out() -> None:
    """A template evaluates nothing, reads its own data only and takes no package from anywhere."""
    for path in sorted(TEMPLATES.glob("*.typ")):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\beval\(|@preview|\bread\(|\bplugin\(|sys\.inputs|\bhtml\.", text), path.name
        assert set(re.findall(r'json\("([^"]+)"\)', text)) <= {"data.json"}, path.name
        assert set(re.findall(r'#import "([^"]+)"', text)) <= {"common.typ"}, path.name


def test_templates_hold_no_word_of_their_own() -> None:
    """Every text comes as data, so that another language needs no other template: no letters between markup and code."""
    for path in sorted(TEMPLATES.glob("*.typ")):
        for line in path.read_text(encoding="utf-8").splitlines():
            code = re.sub(r"//.*", "", line)
            strings = re.findall(r'"([^"]*)"', code)
            for text in strings:
                assert not re.search(r"[A-Za-z]{3,} [A-Za-z]{2,}", text), f"{path.name}: {text}"


def test_a_text_that_cannot_be_set_is_told_with_a_remedy() -> None:
    broken = replace(papers()["labels"], data={})
    with pytest.raises(UnprintableError) as told:
        print_pdf(broken)
    assert "cannot be printed" in told.value.message
    assert told.value.remedy


def test_labels_are_read_back_by_another_decoder(printed: dict[str, bytes]) -> None:
    assert sorted(codes_of(printed["labels"])) == sorted(label.address for label in LABELS)


def test_labels_fit_their_paper_and_keep_the_whole_tag() -> None:
    many = [Label(f"P-{number}", "pump", "Hall", f"http://x.example/asset/P-{number}") for number in range(40)]
    for size, wanted in (("a4", (595, 842)), ("letter", (612, 792))):
        pdf = print_pdf(labels_paper([*many, LABELS[1]], IDENTITY, size=size))
        assert page_sizes(pdf) == {wanted}
        told = " ".join(pages_of(pdf))
        assert len(codes_of(pdf)) == 41
        assert all(f"P-{number} " in told for number in range(40))
        assert LONG_TAG.replace("-", "") in re.sub(r"[-\s]", "", told)


def test_a_code_is_read_although_a_part_of_it_is_dirty() -> None:
    pdf = print_pdf(labels_paper(LABELS[:1], IDENTITY))
    document = pypdfium2.PdfDocument(pdf)
    picture = document[0].render(scale=3.0).to_pil()
    document.close()
    # A smear over the middle of the code: 4 mm square of 25 mm.
    scale = 3.0 * 72 / 25.4
    corner = (int((12 + 15) * scale), int((18 + 15) * scale))
    picture.paste((0, 0, 0), (*corner, corner[0] + int(4 * scale), corner[1] + int(4 * scale)))
    import zxingcpp

    assert [code.text for code in zxingcpp.read_barcodes(picture)] == [LABELS[0].address]


def test_addresses_name_the_machine_and_the_site_where_there_are_several() -> None:
    assert asset_address("http://x", "A/B 7", "") == "http://x/asset/A%2FB%207"
    assert record_address("http://x", "A/B 7", "quay") == "http://x/record?asset=A%2FB+7&site=quay"


@pytest.mark.parametrize(
    "wrong",
    [
        "ftp://x",
        "plant-server",
        "javascript:alert(1)",
        "http://",
        "http://x/?a=1",
        "http://x#y",
        "https://x.example/drift",
        "http://x/asset/",
    ],
)
def test_an_address_that_no_phone_opens_is_refused(wrong: str) -> None:
    with pytest.raises(InvalidValueError) as told:
        base_address(wrong, {})
    assert "8750" in told.value.remedy


def test_what_was_typed_goes_before_the_environment() -> None:
    there = {"DRIFTBOOK_ADDRESS": "http://from-environment:1/"}
    assert base_address("http://typed:2/", there) == "http://typed:2"
    assert base_address(None, there) == "http://from-environment:1"
    assert base_address(None, {}, "http://asked:3/") == "http://asked:3"
    assert base_address(None, {}) == ""
    assert only_here("http://127.0.0.1:8750")
    assert only_here("http://localhost")
    assert not only_here("http://plant-server:8750")


def test_a_code_is_drawn_with_its_quiet_zone() -> None:
    told = qr_picture("http://plant-server:8750/asset/P-7")
    size = int(re.search(r'width="(\d+)"', told)[1])  # type: ignore[index]
    assert (size - 17 - 8) % 4 == 0, "17 + 4 × version modules (ISO/IEC 18004) and four on each side"
    assert "<script" not in told


def test_the_time_that_a_paper_carries_is_the_time_it_was_made() -> None:
    pdf = print_pdf(papers()["labels"])
    with pikepdf.open(io.BytesIO(pdf)) as document, document.open_metadata() as told:
        assert datetime.fromisoformat(told["xmp:CreateDate"]) == datetime(2026, 11, 25, 12, tzinfo=UTC)
