"""The printed record looks as it must at both sizes: nothing cut, nothing on top of another, no
glyph missing, fonts inside, tags and outline there. Hostile texts change none of it."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pypdf
import pytest
from PIL import Image, ImageChops

from assistant.records.report import Photo, commissioning_record, customer_page
from assistant.records.report.page import BOTTOM, MARGIN, Text, broken, clean, width_of
from assistant.records.store import Store
from tests.records import report_hostile
from tests.records.report_jobs import (
    POINTS_PER_MM,
    case,
    glyphs,
    overlaps,
    pictures,
    play,
    script,
    whole,
)

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 [mm]
NAMES = ("d1", "timed", "forces", "hostile")
Make = Callable[[str, str, bool], bytes]


@pytest.fixture(scope="module")
def pdf(tmp_path_factory: pytest.TempPathFactory) -> Make:
    """A job's record, or the customer's page, on a paper."""

    @cache
    def job(name: str) -> tuple[Store, str, object]:
        folder: Path = tmp_path_factory.mktemp(name)
        if name == "hostile":
            store = Store.memory()
            report_hostile.fill(store)
            return store, report_hostile.JOB, None
        found = {
            "d1": lambda: play(folder, "pinewharf-d1", script("pinewharf-d1")),
            "timed": lambda: play(
                folder, "pinewharf-d2", case("travel-guard", "d2-full"), "travel-guard"
            ),
            "forces": lambda: play(
                folder, "pinewharf-d3", case("force-tests", "d3-full"), "force-tests"
            ),
        }[name]()
        return found.store, found.job, found.plan

    @cache
    def make(name: str, paper: str, customer: bool = False) -> bytes:
        store, job_id, plan = job(name)
        if customer:
            return customer_page(store, job_id, plan, paper=paper)  # type: ignore[arg-type]
        shown = [
            Photo("guides", "2026-03-02T08:00:00+00:00", report_hostile.photo(1), text)
            for text in (report_hostile.LONG, "the left guide", report_hostile.RIGHT_TO_LEFT)
        ]
        shown.append(Photo("", "never", b"no picture", report_hostile.UNBROKEN))
        return commissioning_record(
            store, job_id, plan, paper=paper, pictures=shown,  # type: ignore[arg-type]
            names={"lead": report_hostile.LONG if name == "hostile" else "Toni Example"},
        )  # fmt: skip

    return make


every = pytest.mark.parametrize("name", NAMES)
both = pytest.mark.parametrize("paper", PAPERS)
kinds = pytest.mark.parametrize("customer", [False, True], ids=["record", "customer"])


@every
@both
@kinds
def test_the_pages_have_the_size_of_the_paper(pdf: Make, name: str, paper: str, customer: bool):
    wanted = tuple(side * POINTS_PER_MM for side in PAPERS[paper])
    for page in pypdf.PdfReader(io.BytesIO(pdf(name, paper, customer))).pages:
        assert (page.mediabox.width, page.mediabox.height) == pytest.approx(wanted, abs=0.05)


@every
@both
@kinds
def test_no_ink_lies_in_the_margins(pdf: Make, name: str, paper: str, customer: bool):
    """Pixels, so that lines, shading and photos count as well."""
    scale = 1.0
    for number, picture in enumerate(pictures(pdf(name, paper, customer), scale), 1):
        side = int((MARGIN - 0.6) * POINTS_PER_MM * scale)
        ends = int(7 * POINTS_PER_MM * scale)
        inner = (side, ends, picture.width - side, picture.height - ends)
        outside = Image.new("L", picture.size, 255)
        outside.paste(picture)
        outside.paste(255, inner)
        white = Image.new("L", picture.size, 255)
        assert ImageChops.difference(outside, white).getbbox() is None, f"page {number}"


@every
@both
@kinds
def test_no_glyph_lies_on_another_or_below_the_text_area(
    pdf: Make, name: str, paper: str, customer: bool
):
    for number, (size, boxes) in enumerate(glyphs(pdf(name, paper, customer)), 1):
        assert boxes, f"page {number} is empty"
        on_top = [(a.char, b.char, round(b.left), round(b.top)) for a, b in overlaps(boxes)]
        assert not on_top, f"page {number}"
        area, foot = size[1] - BOTTOM * POINTS_PER_MM, size[1] - 14.4 * POINTS_PER_MM
        low = [box for box in boxes if area + 1.5 < box.bottom < foot]
        assert not low, f"page {number}: {low[:3]}"


@every
@both
@kinds
def test_every_glyph_is_there_and_every_font_is_inside(
    pdf: Make, name: str, paper: str, customer: bool
):
    made = pdf(name, paper, customer)
    text = whole(made)
    assert not {"\ufffd", "\x00", "\ufffe", "\uffff"} & set(text)
    for page in pypdf.PdfReader(io.BytesIO(made)).pages:
        for font in page["/Resources"]["/Font"].values():
            (inner,) = font.get_object()["/DescendantFonts"]
            descriptor = inner.get_object()["/FontDescriptor"]
            assert "/FontFile2" in descriptor
            assert "/ToUnicode" in font.get_object()


def test_the_signs_of_the_trade_are_in_the_text_font():
    signs = "Ω²°–≤≥×µ†·−’“”…√±"
    assert clean(signs) == signs
    assert width_of(signs, 10) > 10


@pytest.mark.parametrize(
    ("hostile", "printed"),
    [
        ("bell\a", "bell[U+0007]"),
        ("null\0", "null[U+0000]"),
        ("\x1b[31m", "[U+001B][31m"),
        ("turn\u202eround", "turn[U+202E]round"),
        ("漢", "[U+6F22]"),
        ("door 🚪", "door [U+1F6AA]"),
        ("a\tb\r\nc", "a b \nc"),
        ("half\ud83d", "half[U+D83D]"),
    ],
)
def test_what_steers_or_has_no_glyph_is_printed_as_its_code_point(hostile: str, printed: str):
    assert clean(hostile) == printed


@pytest.mark.parametrize("words", report_hostile.NAMES)
@pytest.mark.parametrize("width", [3.0, 11.0, 40.0, 174.0])
def test_broken_lines_fit_and_lose_nothing_but_spaces(words: str, width: float):
    lines = broken(Text(words, 8.8), width)
    assert all(width_of(line.words, line.size) <= width + 1e-6 for line in lines)
    assert "".join("".join(line.words for line in lines).split()) == "".join(clean(words).split())


def test_a_long_remark_is_printed_to_its_last_word(pdf: Make):
    page = whole(pdf("hostile", "A4", False))
    assert page.count("".join(report_hostile.LONG.split())) >= 3 or (
        page.count("somebodyhastolookatitagain") > 400
    )
    assert "Limit-switch-" + "x" * 287 in page
    assert "[U+202E]" in page
    assert "Howthejobwasheard" in page  # its entries came by voice


def test_the_head_of_a_table_is_there_on_each_of_its_pages(pdf: Make):
    reader = pypdf.PdfReader(io.BytesIO(pdf("d1", "A4", False)))
    tables = [page.extract_text() for page in reader.pages]
    on = [n for n, text in enumerate(tables) if "Source of the limit" in text]
    assert len(on) >= 2
    assert on == list(range(on[0], on[-1] + 1))


# --- for machines that read aloud ---------------------------------------------------------------


@pytest.mark.parametrize("name", ["d1", "forces"])
@kinds
def test_language_title_outline_and_tags_are_there(pdf: Make, name: str, customer: bool):
    reader = pypdf.PdfReader(io.BytesIO(pdf(name, "A4", customer)))
    root = reader.root_object
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata and "Pinewharf Cold Store" in (reader.metadata.title or "")
    assert reader.outline
    tree = root["/StructTreeRoot"]["/K"][0].get_object()["/K"]
    kinds_ = [each.get_object()["/S"] for each in tree]
    assert kinds_[0] == "/H1"
    assert {"/H1", "/H2", "/P"} <= set(kinds_)
    if not customer:
        figures = [each.get_object() for each in tree if each.get_object()["/S"] == "/Figure"]
        assert figures
        assert all(each["/Alt"] for each in figures)


def test_the_outline_names_each_section_and_leads_to_its_page(pdf: Make):
    reader = pypdf.PdfReader(io.BytesIO(pdf("d1", "A4", False)))
    sections = [each for each in reader.outline if not isinstance(each, list)]
    titles = [each.title for each in sections]
    wanted = ["Cover", "Summary", "Readings", "Plots", "Calculated values", "Lockout history"]
    wanted += ["As wired", "Settings left in the panel", "Deviations", "Photos", "Training given"]
    assert titles == [*wanted, "Instruments", "What this record rests on", "Sign-off"]
    for each in sections[1:]:
        page = reader.pages[reader.get_destination_page_number(each)]
        assert each.title in page.extract_text()
