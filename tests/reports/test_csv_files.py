"""The register as a table: a row an appliance, read back as it was entered, of one's own clients alone."""

import csv
from io import StringIO

import pytest
from django.test import Client as Browser

from fleet.intake.fields import columns_of, read_as
from fleet.intake.register import PlateIn
from fleet.models import Appliance, User
from reports.csv_files import register_csv

pytestmark = pytest.mark.django_db


def rows_of(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(data.decode("utf-8"), newline="")))


def test_each_appliance_is_a_row_that_reads_back_as_it_stands(boiler: Appliance) -> None:
    boiler.serial = "AB_12"
    (row,) = rows_of(register_csv([boiler]))
    assert row["Client"] == boiler.building.client.name
    assert (row["Building: Name"], row["Building: Altitude, m"]) == (boiler.building.name, "0")
    columns = columns_of(PlateIn)
    cells = {name: kind.meant(row[head]) for head, (name, kind) in columns.items() if row[head]}
    assert read_as(PlateIn, cells, "no", "no") == cells
    assert cells["serial"] == "AB_12"


def test_what_a_spreadsheet_would_run_is_text_and_how_to_get_in_stays_in_the_house(boiler: Appliance) -> None:
    boiler.name = '=HYPERLINK("x")'
    boiler.building.access_notes = "key behind the meter"
    boiler.building.longitude = -6.5
    said = register_csv([boiler])
    (row,) = rows_of(said)
    assert row["Name"] == '\'=HYPERLINK("x")'
    assert row["Building: Longitude, °"] == "-6.5"
    assert b"behind the meter" not in said


def test_the_list_is_taken_out_as_it_is_shown(boiler: Appliance, auditor: User, client: Browser) -> None:
    client.force_login(auditor)
    answer = client.get("/buildings/register.csv")
    assert answer["Content-Type"].startswith("text/csv")
    assert [row["Serial number"] for row in rows_of(answer.content)] == [boiler.serial]
    assert rows_of(client.get("/buildings/register.csv?name=nowhere").content) == []
