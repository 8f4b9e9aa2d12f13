"""A content as a form: what was typed stays so, an empty field says nothing, a fault stands where it was typed."""

from typing import Any

import pytest
from django.http import QueryDict
from hypothesis import given
from hypothesis import strategies as st

from fleet.coded import coded, wrong
from fleet.web.typed import (
    LONGEST,
    MOST_ROWS,
    Group,
    Row,
    Spec,
    Typed,
    asked_form,
    content_of,
    count_of,
    from_content,
    from_post,
    meant,
    shown,
)

PLAIN = (
    Spec("name", "Name"),
    Spec("rated_kw", "Rated input", "figure"),
    Spec("sealed", "Sealed", "yes no"),
    Spec("rates", "Rates", "list"),
    Spec("sources", "Sources", "lines"),
)
TARGETS = Group("targets", "Targets", "", "target", (Spec("rate", "Rate", "choice"), Spec("value", "Value", "figure")))
FIXED = Group("steps", "Steps", "", "step", (Spec("what", "What"),), blanks=0)
GROUPS = (TARGETS, FIXED)

WORDS = st.text(alphabet="abcXYZ 09-.", min_size=1, max_size=8).map(str.strip).filter(bool)
ROWS = st.lists(st.fixed_dictionaries({"rate": WORDS, "value": st.sampled_from(["9.4", "0.30", "-5"])}), max_size=3)
CONTENTS = st.fixed_dictionaries(
    {},
    optional={
        "name": WORDS,
        "rated_kw": st.sampled_from(["60", "0.5"]),
        "sealed": st.booleans(),
        "rates": st.lists(WORDS, min_size=1, max_size=3),
        "sources": st.lists(WORDS, min_size=1, max_size=3),
        "targets": ROWS.filter(bool),
        "steps": st.lists(st.fixed_dictionaries({"what": WORDS}), min_size=1, max_size=2),
    },
)


def posted(**fields: str) -> QueryDict:
    query = QueryDict(mutable=True)
    query.update({name.replace("__", "-"): value for name, value in fields.items()})
    return query


def as_sent(content: dict[str, Any]) -> QueryDict:
    """What a browser sends of the page that shows this content, blank rows and all."""
    asked = asked_form(from_content(content, PLAIN, GROUPS), PLAIN, GROUPS)
    query = QueryDict(mutable=True)
    for each in [*asked.plain, *(each for group in asked.groups for row in group.rows for each in row.fields)]:
        query[each.id] = each.value
    for group in asked.groups:
        query[f"{group.group.name}-rows"] = str(len(group.rows))
    return query


@given(CONTENTS)
def test_what_stands_in_the_form_untouched_comes_back_as_it_was(content: dict[str, Any]) -> None:
    assert content_of(from_content(content, PLAIN, GROUPS), PLAIN, GROUPS) == content
    assert content_of(from_post(as_sent(content), PLAIN, GROUPS), PLAIN, GROUPS) == content


def test_an_empty_field_says_nothing_and_an_empty_row_is_none() -> None:
    post = posted(name=" ", targets__rows="3", targets__1__rate="high", targets__1__value="")
    typed = from_post(post, PLAIN, GROUPS)
    assert [row.values for row in typed.rows["targets"]] == [{"rate": "high", "value": ""}]
    assert content_of(typed, PLAIN, GROUPS) == {"targets": [{"rate": "high"}]}


def test_a_row_that_is_left_out_is_kept_on_the_page_and_not_in_the_content() -> None:
    post = posted(
        targets__rows="2", targets__0__rate="high", targets__0__value="9.4", targets__0__leave="on",
        targets__1__rate="low", targets__1__value="9.1",
    )  # fmt: skip
    typed = from_post(post, PLAIN, GROUPS)
    assert [row.left_out for row in typed.rows["targets"]] == [True, False]
    assert content_of(typed, PLAIN, GROUPS) == {"targets": [{"rate": "low", "value": "9.1"}]}
    rows = asked_form(typed, PLAIN, GROUPS).groups[0].rows
    assert [(row.left_out, row.is_new) for row in rows] == [(True, False), (False, False), (False, True), (False, True)]


@pytest.mark.parametrize(
    ("sent", "count"),
    [("0", 0), ("3", 3), ("100", MOST_ROWS), ("101", MOST_ROWS), ("99999999", MOST_ROWS), ("999999999", 0), ("-1", 0),
     ("three", 0), ("", 0), ("3.0", 0), ("٣", 0), ("²", 0)],
)  # fmt: skip
def test_how_many_rows_were_sent_is_believed_up_to_a_hundred(sent: str, count: int) -> None:
    assert count_of(posted(targets__rows=sent), "targets") == count
    assert count_of(posted(), "targets") == 0


def test_what_is_too_long_to_be_meant_is_cut_before_it_is_read() -> None:
    typed = from_post(posted(name="x" * (LONGEST + 5)), PLAIN, GROUPS)
    assert len(typed.plain["name"]) == LONGEST


def test_control_and_reordering_characters_are_not_kept() -> None:
    assert from_post(posted(name="a\u202eb\x00c"), PLAIN, GROUPS).plain["name"] == "abc"


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("figure", "9,4", "9.4"),
        ("figure", "9.4", "9.4"),
        ("figure", "1,234.5", "1,234.5"),
        ("figure", "1,234,5", "1,234,5"),
        ("yes no", "yes", True),
        ("yes no", "no", False),
        ("yes no", "maybe", "maybe"),
        ("list", "high, low ,", ["high", "low"]),
        ("lines", "one, two\n\n three ", ["one, two", "three"]),
        ("lines", " \n ", []),
        ("text", "9,4", "9,4"),
    ],
)
def test_what_a_text_stands_for(kind: str, text: str, value: Any) -> None:
    assert meant(Spec("x", "X", kind), text) == value


@pytest.mark.parametrize(
    ("kind", "value", "text"),
    [("text", None, ""), ("yes no", False, "no"), ("list", ["a", "b"], "a, b"), ("lines", ["a", "b"], "a\nb"),
     ("figure", 9.4, "9.4"), ("text", 0, "0")],
)  # fmt: skip
def test_how_a_value_would_have_been_typed(kind: str, value: Any, text: str) -> None:
    assert shown(Spec("x", "X", kind), value) == text


# ---- faults, where they were typed ----


def plain(said: str) -> str:
    """Without its full stop, which is the sentence's own business."""
    return said.removesuffix(".")


def typed_rows(*left_out: bool) -> Typed:
    rows = [Row(TARGETS.specs, {"rate": f"r{n}", "value": str(n)}, left_out=out) for n, out in enumerate(left_out)]
    return Typed({each.name: "" for each in PLAIN}, {"targets": rows, "steps": []})


def test_a_fault_of_a_row_stands_in_the_row_as_the_page_counts_it() -> None:
    """The reader never saw the row that was left out: its row 1 is the page's third."""
    form = asked_form(typed_rows(False, True, False), PLAIN, GROUPS, {"targets.1.value": wrong("decimal", None)})
    assert [(each.id, each.label, plain(each.said)) for each in form.faults] == [
        ("targets-2-value", "target 3, Value", 'it must be a decimal number such as "9.20"')
    ]
    third = form.groups[0].rows[2]
    assert [plain(each.error) for each in third.fields] == ["", 'it must be a decimal number such as "9.20"']
    assert [each.error for row in form.groups[0].rows[:2] for each in row.fields] == ["", "", "", ""]


def test_a_fault_of_a_whole_row_leads_to_the_row() -> None:
    form = asked_form(typed_rows(False, False), PLAIN, GROUPS, {"targets.1": coded("stands_for_good")})
    assert [(each.id, each.label) for each in form.faults] == [("targets-1", "target 2")]


@pytest.mark.parametrize("path", ["targets", "targets.7.value", "targets.one.value", "elsewhere", "elsewhere.0.x"])
def test_a_fault_of_nothing_on_the_page_is_still_said(path: str) -> None:
    (fault,) = asked_form(typed_rows(False), PLAIN, GROUPS, {path: coded("blank")}).faults
    assert (fault.id, fault.label, plain(fault.said)) == ("", path.split(".")[0], "is empty; it must be given")


def test_faults_of_plain_fields_are_named_by_their_labels() -> None:
    errors = {"rated_kw": wrong("decimal", None), "name": coded("too_long", most=9)}
    form = asked_form(typed_rows(), PLAIN, GROUPS, errors)
    assert {each.label: plain(each.said) for each in form.faults} == {
        "Rated input": 'it must be a decimal number such as "9.20"',
        "Name": "is too long; it may have at most 9 characters",
    }
    assert {each.id: plain(each.error) for each in form.plain if each.error} == {
        "rated_kw": 'it must be a decimal number such as "9.20"',
        "name": "is too long; it may have at most 9 characters",
    }  # fmt: skip


def test_codes_that_are_allowed_are_told_in_the_words_of_their_choices() -> None:
    errors = {"name": wrong("one_of", "x", allowed=["as_found", "natural_gas"])}
    (fault,) = asked_form(typed_rows(), PLAIN, GROUPS, errors).faults
    assert plain(fault.said) == "is 'x'; it must be one of: as found, natural gas"


def test_blank_rows_stand_ready_only_where_rows_can_be_added() -> None:
    form = asked_form(typed_rows(False), PLAIN, GROUPS)
    assert [[row.title for row in group.rows] for group in form.groups] == [["target 1", "target 2", "target 3"], []]
    assert [row.is_new for row in form.groups[0].rows] == [False, True, True]
    titled = Typed(typed_rows().plain, {"targets": [], "steps": [Row(FIXED.specs, {"what": "a"}, title="First")]})
    assert [row.title for row in asked_form(titled, PLAIN, GROUPS).groups[1].rows] == ["First"]
