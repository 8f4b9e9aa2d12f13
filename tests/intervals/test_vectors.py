"""Every interval of the golden vectors; each carries its own source."""

import json
from pathlib import Path

import pytest

from fleet.intervals import next_due, what_if
from fleet.intervals.kinds import KINDS
from fleet.presentation.due_dates import doubt_words

FIXTURES = Path(__file__).parents[2] / "fixtures"
VECTORS = [
    vector
    for vector in json.loads((FIXTURES / "golden" / "interval_vectors.json").read_text())
    if vector["kind"] == "interval"
]


def in_time(vector):
    *before, last = vector["history"]
    return what_if(vector["rule"], before, last, facts=vector["facts"]).in_time


# What is told of the last check of a history by what stood before it.
OF_THE_LAST = {
    "in_time": in_time,
    "latest_allowed": lambda vector: next_due(vector["rule"], vector["history"][:-1]).extension_until,
}


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["name"])
def test_the_due_date_is_the_published_one(vector):
    due = next_due(vector["rule"], vector["history"], start=vector["start"], facts=vector.get("facts", {}))
    for name, expected in vector["expect"].items():
        value = OF_THE_LAST[name](vector) if name in OF_THE_LAST else getattr(due, name)
        value = doubt_words(value) if name == "cannot_tell" else value
        assert (value.isoformat() if hasattr(value, "isoformat") else value) == expected, name


def test_each_kind_that_asks_for_something_has_its_vectors():
    assert {vector["rule"]["type"] for vector in VECTORS} == KINDS.keys() - {"none"}


def test_the_file_holds_the_vectors_we_think_it_holds():
    assert len(VECTORS) == 78
