"""One row describes a field: reader, form, comparison, schema and words follow from it."""

from typing import Annotated, Any

import pytest

from fleet.intake.fields import LEFT_OUT, DecimalText, Word, columns_of, file_schema
from fleet.intake.sheets import SheetFileIn, SheetIn
from fleet.presentation import contents
from fleet.presentation.codes import field_words
from fleet.web.shape_forms import form_of
from tests.cast import SHEET
from tests.intake.refused import read_by, refusals


class LongerIn(SheetIn):
    nozzle_mm: Annotated[str, DecimalText(0.1, 50, "mm", label="Nozzle")] = LEFT_OUT
    ignition: Annotated[str, Word({"spark": "spark", "pilot": "standing pilot"}, label="Ignition")] = LEFT_OUT


class LongerFileIn(SheetFileIn):
    content: LongerIn


def test_it_is_read_and_refused() -> None:
    assert read_by(LongerIn, SHEET | {"nozzle_mm": "2.10"}).said()["nozzle_mm"] == "2.10"
    assert refusals(LongerIn, SHEET | {"nozzle_mm": "51", "ignition": "flint"}) == {
        "nozzle_mm": "is 51; it must be from 0.1 to 50",
        "ignition": "is 'flint'; it must be one of: spark, pilot",
    }


def test_a_form_asks_for_it() -> None:
    form = form_of(LongerIn)(initial={"nozzle_mm": "2.10"})
    nozzle, ignition = list(form)[-2:]
    assert (nozzle.label, nozzle.help_text, nozzle.value()) == ("Nozzle", "mm", "2.10")
    assert [(code, str(words)) for code, words in ignition.field.widget.choices] == [
        ("", "not stated"), ("spark", "spark"), ("pilot", "standing pilot"),
    ]  # fmt: skip


def test_its_schema_is_published() -> None:
    said: dict[str, Any] = file_schema(LongerFileIn)["$defs"]["LongerIn"]["properties"]
    assert (said["nozzle_mm"]["title"], said["nozzle_mm"]["x-unit"]) == ("Nozzle", "mm")
    assert said["ignition"]["enum"] == ["spark", "pilot"]


def test_a_comparison_and_a_refusal_call_it_by_its_label(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(contents, "SheetIn", LongerIn)
    (said,) = contents.sheet_differences(SHEET | {"nozzle_mm": "2.1"}, SHEET | {"nozzle_mm": "2.2"})
    assert (said.path, said.before, said.after) == ("nozzle, mm", "2.1", "2.2")
    assert field_words("content.nozzle_mm", LongerFileIn) == "Content, nozzle"


def test_the_sheets_page_shows_it() -> None:
    said = contents.rows_said(LongerIn, SHEET | {"nozzle_mm": "2.10", "ignition": "pilot"})
    assert said[-2:] == [("Nozzle", "2.10 mm"), ("Ignition", "standing pilot")]


def test_a_table_has_its_column_from_which_it_is_read_back() -> None:
    columns = columns_of(LongerIn)
    content = SHEET | {"nozzle_mm": "2.10", "ignition": "pilot"}
    cells = {head: kind.written(content.get(name)) for head, (name, kind) in columns.items()}
    assert (cells["Nozzle, mm"], cells["Rates"], cells["Condensing"]) == ("2.10", "high, low", "yes")
    meant = {columns[head][0]: columns[head][1].meant(cell) for head, cell in cells.items() if cell}
    assert meant == {name: content[name] for name, _kind in columns.values() if name in content}
    assert columns["Nozzle, mm"][1].meant("2,10") == "2.10"
