"""The house keeps its own rules: what a room may name, what ships, what nobody may say."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from fleet.models import Reading, Visit
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES, column_unit
from fleet.tasks import HANDLERS
from fleet.timetable import TIMETABLE

ROOT = Path(__file__).resolve().parents[2]
SOURCES = [path for room in ("fleet", "api", "reports") for path in (ROOT / room).rglob("*.py")]
PAGES = list((ROOT / "fleet" / "web" / "templates").rglob("*.html"))


def test_every_quantity_has_its_column_and_unit() -> None:
    assert {each.column for each in READING_QUANTITIES.values()} <= {each.name for each in Reading._meta.fields}
    assert {each.column for each in CONDITION_QUANTITIES.values()} <= {each.name for each in Visit._meta.fields}
    assert all(column_unit(each) for each in [*READING_QUANTITIES.values(), *CONDITION_QUANTITIES.values()])


def test_every_kind_of_the_timetable_has_its_handler() -> None:
    assert set(TIMETABLE) <= set(HANDLERS)


def test_importing_a_pure_room_starts_neither_django_nor_celery() -> None:
    code = (
        "import sys, fleet.combustion, fleet.limits, fleet.intervals, fleet.drift, fleet.evidence;"
        "print([name for name in ('django', 'celery', 'pint', 'reportlab') if name in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert ran.stdout.strip() == "[]", ran.stderr


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_no_line_of_a_template_is_longer_than_160(path: Path) -> None:
    lines = enumerate(path.read_text().splitlines(), 1)
    assert [f"{number}: {len(line)}" for number, line in lines if len(line) > 160] == []


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_no_page_has_inline_style_or_script_or_calls_anything_safe(path: Path) -> None:
    text = path.read_text()
    assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son[a-z]+=", text)
    assert not re.search(r"\b(is|are|be|declared) safe\b|\bcompliant\b", text, re.IGNORECASE)
    assert "|safe" not in text


def test_nobody_reads_the_clock_but_the_clock() -> None:
    reading = re.compile(r"timezone\.now\(|datetime\.now\(|date\.today\(|datetime\.utcnow")
    allowed = {"fleet/clock.py"}
    readers = [path.relative_to(ROOT).as_posix() for path in SOURCES if reading.search(path.read_text())]
    assert set(readers) <= allowed


def test_no_source_prints_or_leaves_work_for_later() -> None:
    left = re.compile(r"\b(TODO|FIXME|XXX)\b|^\s*print\(", re.MULTILINE)
    assert [path.name for path in SOURCES if left.search(path.read_text())] == []
