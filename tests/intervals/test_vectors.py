"""Every interval of the golden vectors; each carries its own source."""

import json
from pathlib import Path

import pytest

from fleet.intervals import next_due
from fleet.presentation.due_dates import doubt_words

FIXTURES = Path(__file__).parents[2] / "fixtures"
VECTORS = [
    vector
    for vector in json.loads((FIXTURES / "golden" / "interval_vectors.json").read_text())
    if vector["kind"] == "interval"
]


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["name"])
def test_the_due_date_is_the_published_one(vector):
    due = next_due(vector["rule"], vector["history"], start=vector["start"], facts=vector.get("facts", {}))
    for name, expected in vector["expect"].items():
        value = getattr(due, name)
        value = doubt_words(value) if name == "cannot_tell" else value
        assert (value.isoformat() if hasattr(value, "isoformat") else value) == expected, name


def test_the_file_holds_the_vectors_we_think_it_holds():
    assert len(VECTORS) == 78
