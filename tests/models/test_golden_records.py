"""Records of every schema stay readable for ever, whatever our words for their fields become."""

import json
from pathlib import Path
from typing import Any

import pytest

from fleet.assess.entries import ENTRIES
from fleet.assess.projections import ROWS
from fleet.evidence import canonical_bytes, sha256_hex
from fleet.models import Analyser, Person, records
from fleet.models.records import SCHEMAS, UPCASTERS, content_of
from fleet.presentation.sentences import sentences
from tests.models.golden_records import FOLDER, frozen, rows_of

GOLDEN = sorted(FOLDER.glob("*.json"))


@pytest.mark.parametrize("path", GOLDEN, ids=lambda path: path.stem)
def test_a_frozen_record_projects_to_the_rows_of_its_day(path: Path, db: None) -> None:
    record, rows = frozen(path)
    _on_the_register(json.loads(bytes(record.content)))
    made = rows_of(record)
    assert [(each["table"], each["id"]) for each in made] == [(each["table"], each["id"]) for each in rows]
    for now, then in zip(made, rows, strict=True):
        # A column that came later has nothing to hold of it.
        later = {name: value for name, value in now["values"].items() if name not in then["values"]}
        assert now["values"] == then["values"] | later
        assert not any(later.values())


def _on_the_register(content: dict[str, Any]) -> None:
    """The people and analysers that a visit names: rows name only those that the register has."""
    for reading in content.get("readings", []):
        Person.objects.get_or_create(id=reading["person"], defaults={"name": "A"})
        Analyser.objects.get_or_create(id=reading["analyser"], defaults={"name": "B"})


@pytest.mark.parametrize("path", GOLDEN, ids=lambda path: path.stem)
def test_a_frozen_record_has_the_bytes_that_its_hash_says(path: Path) -> None:
    record, _rows = frozen(path)
    content = bytes(record.content)
    assert sha256_hex(content) == record.sha256
    assert canonical_bytes(json.loads(content)) == content


def test_every_schema_that_was_ever_written_has_its_frozen_record() -> None:
    named = {json.loads(json.loads(path.read_text())["content"])["schema"] for path in GOLDEN}
    assert named == {*SCHEMAS.values(), *UPCASTERS}
    assert SCHEMAS.keys() == ROWS.keys()
    assert sentences("deeds").keys() >= SCHEMAS.keys(), "what somebody did last says each kind of record"
    assert sentences("entries").keys() == ENTRIES.keys()


def test_an_older_schema_is_read_step_by_step_in_the_words_of_today(monkeypatch: pytest.MonkeyPatch) -> None:
    def step(number: int, old: str, new: str) -> Any:
        return lambda content: {
            "schema": f"note/{number}", **{new if name == old else name: value for name, value in content.items()
                                           if name != "schema"}
        }  # fmt: skip

    monkeypatch.setattr(
        records, "UPCASTERS", {"note/1": step(2, "maker", "made_by"), "note/2": step(3, "made_by", "by")}
    )
    record = records.Record(kind="note", content=b'{"maker":"A","schema":"note/1"}')
    assert content_of(record) == {"schema": "note/3", "by": "A"}
    assert bytes(record.content) == b'{"maker":"A","schema":"note/1"}'
