"""What a body, a header and a query may say, by themselves: strict JSON, facts by their names, versions, pages."""

import json
import math
import uuid
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db.models import Q
from django.http import QueryDict
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from rest_framework.exceptions import ParseError
from rest_framework.request import Request
from rest_framework.test import APIRequestFactory

from api.doors import etag, version_named
from api.errors import BadQuery, VersionMissing
from api.fields import Facts, Rule
from api.filters import Filter, by_day, by_text, by_word, check_known, narrowed, page_of, yes_no
from api.parsers import DEPTH, LARGEST, read_leniently, read_strictly
from fleet.intake.fields import DayOf, MomentOf, Number, Refused, Whole, read_id
from fleet.models import Client, User
from fleet.presentation.codes import wrong_text
from tests.intake.refused import read_by, refusals, said_of

_KEYS = st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), max_size=6)
_PLAIN = st.text(alphabet=st.characters(min_codepoint=1, exclude_categories=["Cs"]), max_size=8)
_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-LARGEST, LARGEST) | _PLAIN,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner, max_size=3),
    max_leaves=10,
)


def asked(query: str = "", **headers: str) -> Request:
    return Request(APIRequestFactory().get(f"/api/v1/clients?{query}", headers=headers))


# ---- strict JSON ----


@given(_VALUES)
@settings(max_examples=80)
def test_what_every_reader_takes_alike_is_read_as_it_is(value: Any) -> None:
    """By the standard library's own reader, either way of writing what isn't ASCII."""
    for ascii_only in (True, False):
        text = json.dumps(value, ensure_ascii=ascii_only)
        assert read_strictly(text.encode()) == json.loads(text) == value


@given(st.binary(max_size=40))
@example(b"1e999999999999999999")
@example(b"[" * 5000)
@example(b'"\\ud800"')
def test_no_bytes_break_the_reader(body: bytes) -> None:
    try:
        read_strictly(body)
    except ParseError as refused:
        assert str(refused.detail)
    read_leniently(body)


@pytest.mark.parametrize("depth", [1, DEPTH - 1, DEPTH, DEPTH + 1, 500])
@pytest.mark.parametrize("around", [("[", "]"), ('{"a":', "}")])
def test_so_many_levels_and_no_more(depth: int, around: tuple[str, str]) -> None:
    body = (around[0] * depth + "0" + around[1] * depth).encode()
    if depth <= DEPTH:
        assert read_strictly(body) == json.loads(body)
    else:
        with pytest.raises(ParseError, match=f"deeper than {DEPTH}"):
            read_strictly(body)


@pytest.mark.parametrize(
    "text", ['"[[[[' + "[" * 40 + '"', '"\\"' + "{" * 40 + '"', '"\\\\"', '["\\\\", "[' + "[" * 40 + '"]']
)
def test_brackets_within_a_string_are_no_levels(text: str) -> None:
    assert read_strictly(text.encode()) == json.loads(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("9.20", Decimal("9.20")),
        ("-0.0", Decimal("-0.0")),
        ("1e30", Decimal("1e30")),
        ("1e-400", Decimal("1e-400")),
        (str(LARGEST), LARGEST),
        (str(-LARGEST), -LARGEST),
    ],
)
def test_numbers_keep_their_digits(text: str, value: Any) -> None:
    read = read_strictly(text.encode())
    assert (read, str(read)) == (value, str(value))


@pytest.mark.parametrize("text", ["1e31", "-1e31", str(LARGEST + 1), str(-LARGEST - 1), "1" * 400, "Infinity", "-NaN"])
def test_numbers_that_readers_hold_differently_are_refused(text: str) -> None:
    with pytest.raises(ParseError):
        read_strictly(text.encode())


def test_a_refused_character_is_told_by_its_place() -> None:
    for text, path in (('{"a": [{"b": "x\\u0000"}]}', "body.a.0.b"), ('["\\udfff"]', "body.0")):
        with pytest.raises(ParseError, match=f"The field {path} holds"):
            read_strictly(text.encode())


def test_what_was_refused_is_still_looked_at_for_what_it_calls_unsafe() -> None:
    assert read_leniently(b'{"a": NaN, "a": 1}') == {"a": 1}
    assert read_leniently(b'{"a": "\xff"}') == {"a": "\ufffd"}
    assert read_leniently(b"[" * 100_000) is None
    assert read_leniently(b"{") is None


# ---- fields ----


FACTS = [
    ({"output_kw": Decimal("24.5")}, {"output_kw": 24.5}),
    ({"output_kw": 24}, {"output_kw": 24}),
    ({"condensing": True, "vent": "natural_draft"}, {"condensing": True, "vent": "natural_draft"}),
    ({"installation_on": "2015-01-01"}, {"installation_on": "2015-01-01"}),
    ({"inspections_on": "2015-01-01, 2016-02-29"}, {"inspections_on": "2015-01-01, 2016-02-29"}),
    ({}, {}),
]


@pytest.mark.parametrize(("given_facts", "kept"), FACTS)
def test_facts_are_words_numbers_and_yes_or_no(given_facts: dict[str, Any], kept: dict[str, Any]) -> None:
    read = read_by(Facts(), given_facts)
    assert read == kept
    assert {name: type(each) for name, each in read.items()} == {name: type(each) for name, each in kept.items()}


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"output_kw": "24"}, "by its name it is a number"),
        ({"age_of_flue_years": "ten"}, "by its name it is a number"),
        ({"installation_on": "2015"}, "by its name it is a day"),
        ({"installation_on": "2015-02-30"}, "by its name it is a day"),
        ({"INSTALLATION_ON": 2015}, "by its name it is a day"),
        ({"inspections_on": "2015-01-01,"}, "by its name it is a day"),
        ({"installation_on": "0001-01-01"}, "by its name it is a day"),
        ({"vent": None}, "a fact is a string, a number, true or false"),
        ({"vent": ["a"]}, "a fact is a string, a number, true or false"),
        ({"vent": "x" * 201}, "a fact is a string, a number, true or false"),
        ({"height": Decimal("1e400")}, "a number that can be held"),
    ],
)
def test_a_fact_that_contradicts_its_name_is_refused_by_it(facts: dict[str, Any], said: str) -> None:
    (name,) = facts
    assert said in refusals(Facts(), facts)[name]


@pytest.mark.parametrize("facts", [[], "x", {f"f{n}": n for n in range(51)}])
def test_facts_are_an_object_of_at_most_fifty(facts: Any) -> None:
    assert "at most 50 facts" in " ".join(refusals(Facts(), facts).values())
    assert len(read_by(Facts(), {f"f{n}": n for n in range(50)})) == 50


@given(st.decimals(-1000, 1000, places=4))
def test_a_number_is_the_float_of_its_digits(number: Decimal) -> None:
    for sent in (number, format(number, "f")):
        assert read_by(Number(), sent) == float(number)


@pytest.mark.parametrize("sent", [True, "", " 1", "1e3", "0x10", "١", "1_000", "nan", "--1", "1.", ".5", [1]])
def test_what_only_some_readers_take_for_a_number_is_refused(sent: Any) -> None:
    assert "it must be a decimal number" in " ".join(refusals(Number(), sent).values())


@pytest.mark.parametrize(("sent", "taken"), [("-90", True), ("90.0", True), ("-90.01", False), ("91", False)])
def test_both_ends_of_a_range_belong_to_it(sent: str, taken: bool) -> None:
    field = Number(-90, 90)
    if taken:
        assert read_by(field, sent) == float(sent)
    else:
        assert f"is {sent}; it must be from -90 to 90" in " ".join(refusals(field, sent).values())


@pytest.mark.parametrize("sent", [True, False, "3", 3.0, Decimal(3), 0, 8])
def test_a_whole_number_is_a_number_within_its_range(sent: Any) -> None:
    assert [read_by(Whole(1, 7), each) for each in (1, 7)] == [1, 7]
    assert "it must be a whole number from 1 to 7" in " ".join(refusals(Whole(1, 7), sent).values())


def test_days_and_moments_become_what_columns_keep() -> None:
    assert read_by(DayOf(), "2024-02-29") == date(2024, 2, 29)
    moment = read_by(MomentOf(), "2026-03-29T02:30:00+02:00")
    assert moment.utcoffset() == timedelta(hours=2)
    for wrong in ("2026-03-29T02:30:00", "2026-03-29", "yesterday", 7, "2026-02-30T00:00:00Z"):
        assert "it must be a time with offset" in " ".join(refusals(MomentOf(), wrong).values())
    for wrong in ("2023-02-29", "29.02.2024", 20240229, ""):
        assert "it must be a day such as" in " ".join(refusals(DayOf(), wrong).values())


@given(st.uuids())
def test_an_id_may_be_written_in_any_of_the_usual_ways(wanted: uuid.UUID) -> None:
    """RFC 9562: read in either case."""
    assert read_id(str(wanted)) == read_id(str(wanted).upper()) == wanted


@pytest.mark.parametrize("sent", ["", "7", 7, None, True, "0198c2a4-7c00-7d3e-8f10-2b5a6c7d8e9", ["x"]])
def test_what_is_no_id_is_refused_with_what_one_looks_like(sent: Any) -> None:
    with pytest.raises(Refused) as refused:
        read_id(sent)
    assert "it must be a UUID such as" in wrong_text(refused.value.errors[""])


def test_a_rule_keeps_numbers_as_decimal_strings() -> None:
    assert read_by(Rule(), {"type": "x", "months": 12, "share": [Decimal("0.50")]}) == {
        "type": "x", "months": 12, "share": ["0.50"]
    }  # fmt: skip
    assert "an object with a type" in " ".join(refusals(Rule(), "yearly").values())


# ---- versions ----


@given(st.integers(0, 999_999_999))
def test_a_version_comes_back_from_its_etag(version: int) -> None:
    for given_header in (etag(version), str(version), f" {etag(version)} "):
        assert version_named(asked(**{"If-Match": given_header})) == version


@pytest.mark.parametrize(
    "given_header", ['W/"3"', "*", '"3", "4"', "three", '"3', "-3", "3.0", "", '"1234567890"', "٣"]
)
def test_another_condition_than_one_version_is_refused_by_its_header(given_header: str) -> None:
    request = asked()
    request.META["HTTP_IF_MATCH"] = given_header
    with pytest.raises(BadQuery) as refused:
        version_named(request)
    assert list(said_of(refused.value)) == ["If-Match"]


def test_no_condition_at_all_is_asked_for() -> None:
    with pytest.raises(VersionMissing) as missing:
        version_named(asked())
    assert missing.value.status == 428


# ---- what a list can be narrowed by ----


def test_every_parameter_that_is_not_known_or_given_twice_is_named_at_once() -> None:
    with pytest.raises(BadQuery) as refused:
        check_known(asked("clent=1&page=2&after=3&after=4&size=5"), ("after", "size"))
    errors: Any = said_of(refused.value)
    assert set(errors) == {"clent", "page", "after"}
    assert errors["after"] == "is given 2 times; give it once"
    assert errors["page"] == "is not known here; known are after, size"
    check_known(asked("after=3&size=5"), ("after", "size"))
    with pytest.raises(BadQuery) as refused:
        check_known(asked("after=3"), ())
    assert said_of(refused.value) == {"after": "is not known here; known are none"}


NAMED = by_text("name", "name")
KINDS = by_word("contact", "contact", ("porter", "owner"))
TOLD = yes_no("has_address", ~Q(address=""), "With an address.")


@pytest.fixture
def clients(db: None) -> dict[str, Client]:
    made = {}
    for name, contact, address in (("A", "porter", "1 Lane"), ("B", "owner", ""), ("C", "porter", ""), ("A", "x", "")):
        made[f"{name}{contact}"] = Client.objects.create(name=name, contact=contact, address=address)
    return made


def names(query: str) -> list[str]:
    rows = narrowed(Client.objects.all(), (NAMED, KINDS, TOLD), asked(query), User())
    return sorted(f"{each.name}{each.contact}" for each in rows)


def test_filters_keep_what_each_of_them_keeps(clients: dict[str, Client]) -> None:
    assert names("") == sorted(clients)
    assert names("contact=porter") == ["Aporter", "Cporter"]
    assert names("contact=porter&name=A") == names("name=A&contact=porter") == ["Aporter"]
    assert names("name=") == []
    assert sorted(names("has_address=true") + names("has_address=false")) == sorted(clients)
    assert names("has_address=true") == ["Aporter"]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("contact=Porter", "is 'Porter'; it must be one of: porter, owner"),
        ("contact=", "is ''; it must be one of: porter, owner"),
        ("has_address=1", "is '1'; it must be true or false"),
        ("has_address=True", "is 'True'; it must be true or false"),
        ("name=%00", "holds a NUL character; it must be plain text"),
    ],
)
def test_a_value_that_is_not_allowed_is_told_with_what_is(clients: dict[str, Client], query: str, said: str) -> None:
    with pytest.raises(BadQuery) as refused:
        names(query)
    assert said_of(refused.value) == {query.split("=")[0]: said}


def test_a_day_is_a_day_of_the_calendar() -> None:
    since = by_day("since", "since__gte", "From then on.")
    assert since.narrow(User(), "2024-02-29") == Q(since__gte=date(2024, 2, 29))
    for wrong in ("2023-02-29", "2024-2-29", "20240229", "2024-W09-4", "today", ""):
        with pytest.raises(Refused) as refused:
            since.narrow(User(), wrong)
        assert "it must be a day such as" in wrong_text(refused.value.errors[""])


def test_a_filter_tells_its_allowed_values_in_its_schema() -> None:
    assert KINDS.schema == {"type": "string", "enum": ["porter", "owner"]}
    assert Filter("x", "words", lambda _viewer, _text: Q()).schema == {"type": "string"}


# ---- pages ----


@pytest.fixture
def rows(db: None) -> list[Client]:
    return [Client.objects.create(name=f"Trust {n}") for n in range(7)]


@given(size=st.integers(1, 9))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=9)
def test_pages_of_any_size_hold_every_row_once_in_order(size: int, rows: list[Client]) -> None:
    query, seen, pages = f"page_size={size}", [], 0
    while query:
        page, following = page_of(Client.objects.order_by("-name"), asked(query))
        assert 1 <= len(page) <= size
        seen += page
        pages += 1
        query = following.partition("?")[2] if following else ""
        assert not following or QueryDict(query)["page_size"] == str(size)
    assert seen == sorted(rows, key=lambda each: each.id)
    assert pages == math.ceil(7 / size)


def test_the_next_page_keeps_what_the_list_was_narrowed_by(rows: list[Client]) -> None:
    _page, following = page_of(Client.objects.all(), asked(f"contact=a%26b&page_size=2&after={rows[0].id}"))
    assert following is not None
    query = QueryDict(following.partition("?")[2])
    assert query.dict() == {"contact": "a&b", "page_size": "2", "after": str(rows[2].id)}


def test_after_the_last_row_is_an_empty_last_page(rows: list[Client]) -> None:
    assert page_of(Client.objects.all(), asked(f"after={rows[-1].id}")) == ([], None)
    # And an id that was nobody's still has a place among them.
    assert page_of(Client.objects.all(), asked(f"after={uuid.UUID(int=0)}"))[0] == rows


@pytest.mark.parametrize("size", ["0", "201", "-1", "1.5", "", "٣", "0050", "ten"])
def test_a_page_has_from_1_to_200_rows(db: None, size: str) -> None:
    with pytest.raises(BadQuery) as refused:
        page_of(Client.objects.all(), asked(f"page_size={size}"))
    assert "from 1 to 200" in str(said_of(refused.value))
