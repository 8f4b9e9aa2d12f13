"""A shape as a form: what was typed stays so, an empty field says nothing, a fault stands where it was typed."""

from typing import Annotated, Any

import pytest
from django.http import QueryDict
from hypothesis import given
from hypothesis import strategies as st

from fleet.coded import Coded, coded, wrong
from fleet.intake.fields import LEFT_OUT, DecimalText, Kind, Many, Shape, Text, Word, YesNo
from fleet.web.shape_forms import LONGEST, MOST_ROWS, KindField, Parts, ShapeForm, form_of


class TargetIn(Shape):
    rate: Annotated[str, Text(20, label="Rate")]
    value: Annotated[str, DecimalText(0, 21, "% dry", label="Value")] = LEFT_OUT
    unseen: Annotated[str, Text()] = LEFT_OUT


class StepIn(Shape):
    what: Annotated[str, Text(label="What")]


class ThingIn(Shape):
    name: Annotated[str, Text(label="Name")]
    rated_kw: Annotated[str, DecimalText(label="Rated input")]
    sealed: Annotated[bool, YesNo(label="Sealed")]
    burns: Annotated[str, Word(["natural_gas", "lpg"], label="Burns")]
    rates: Annotated[list[Annotated[str, Text()]], Many(label="Rates")]
    targets: Annotated[list[TargetIn], Many(label="Targets", one="Target")]
    steps: Annotated[list[StepIn], Many(label="Steps", one="Step", blanks=0)]


class CasedIn(Shape):
    casing: Annotated[str, Word({"any": "either", "open": "open"}, label="Casing")]


ThingForm = form_of(ThingIn)

WORDS = st.text(alphabet="abcXYZ 09-.", min_size=1, max_size=8).map(str.strip).filter(bool)
ROWS = st.lists(st.fixed_dictionaries({"rate": WORDS, "value": st.sampled_from(["9.4", "0.30", "-5"])}), max_size=3)
CONTENTS = st.fixed_dictionaries(
    {},
    optional={
        "name": WORDS,
        "rated_kw": st.sampled_from(["60", "0.5"]),
        "sealed": st.booleans(),
        "burns": st.sampled_from(["natural_gas", "lpg"]),
        "rates": st.lists(WORDS, min_size=1, max_size=3),
        "targets": ROWS.filter(bool),
        "steps": st.lists(st.fixed_dictionaries({"what": WORDS}), min_size=1, max_size=2),
    },
)


def posted(**fields: str) -> QueryDict:
    query = QueryDict(mutable=True)
    query.update({name.replace("__", "-"): value for name, value in fields.items()})
    return query


def targets(count: int | str, **fields: str) -> QueryDict:
    """So many rows of targets as the page says, with what is typed in some."""
    return posted(targets__TOTAL_FORMS=str(count), **{f"targets__{name}": value for name, value in fields.items()})


def as_sent(form: ShapeForm) -> QueryDict:
    """What a browser sends of the page that shows this form, blank rows and all."""
    query = posted(**{each.html_name: str(each.value() or "") for each in form})
    for name, part in form.parts.items():
        query[f"{name}-TOTAL_FORMS"] = str(len(part.forms))
        query.update(
            {each.html_name: each.value() or "" for row in part.forms for each in row if each.name != "DELETE"}
        )
    return query


def test_so_many_empty_rows_are_added_as_are_asked_for_and_what_was_typed_stays() -> None:
    sent = targets(2, **{"0-rate": "high"})
    sent["more"] = "targets"
    for asked, rows in (("10", 11), ("5", 6), ("99", 3), ("x", 3), ("", 3)):
        sent["targets-rows"] = asked
        assert len(ThingForm(sent).parts["targets"].forms) == rows
    sent["more"], sent["targets-rows"] = "steps", "10"
    assert len(ThingForm(sent).parts["targets"].forms) == 3
    assert ThingForm(sent).content()["targets"] == [{"rate": "high"}]


def said(path: str, code: Coded, **sent: str) -> list[tuple[str, str, str]]:
    """Where, of what and what is said of a refusal, once this was sent, in two rows where nothing else is said."""
    form = ThingForm(targets(2, **({"0__rate": "high", "1__rate": "low"} | sent)))
    form.content()
    form.refuse({path: code})
    return [(each.id, each.label, each.said.removesuffix(".")) for each in form.faults]


@given(CONTENTS)
def test_what_stands_in_the_form_untouched_comes_back_as_it_was(content: dict[str, Any]) -> None:
    assert ThingForm(as_sent(ThingForm(initial=content)), initial=content).content() == content


def test_an_empty_field_says_nothing_and_an_empty_row_is_none() -> None:
    form = ThingForm(targets(3, **{"1__rate": "high", "1__value": " ", "2__rate": "\t"}))
    assert form.content() == {"targets": [{"rate": "high"}]}


def test_a_row_that_is_left_out_is_kept_on_the_page_and_not_in_the_content() -> None:
    sent = {"0__rate": "high", "0__value": "9.4", "0__DELETE": "on", "1__rate": "low", "1__value": "9.1"}
    form = ThingForm(targets(2, **sent))
    assert form.content() == {"targets": [{"rate": "low", "value": "9.1"}]}
    rows = form.parts["targets"].forms
    assert [(row["DELETE"].value(), row["rate"].value(), row.is_empty) for row in rows] == [
        (True, "high", False), (False, "low", False), (None, "", True), (None, "", True),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("sent", "count"),
    [("0", 0), ("3", 3), ("100", MOST_ROWS), ("101", MOST_ROWS), ("99999999", MOST_ROWS), ("9" * 5000, 0), ("-1", 0),
     ("three", 0), ("", 0), ("3.5", 0), ("²", 0)],
)  # fmt: skip
def test_how_many_rows_were_sent_is_believed_up_to_a_hundred(sent: str, count: int) -> None:
    typed = {f"{index}__rate": str(index) for index in range(MOST_ROWS + 5)}
    form = ThingForm(targets(sent, **typed))
    assert [row["rate"] for row in form.content().get("targets", ())] == [str(index) for index in range(count)]
    assert len(form.parts["targets"].forms) == min(count + 2, MOST_ROWS)
    without = targets(sent, **typed)
    del without["targets-TOTAL_FORMS"]
    assert ThingForm(without).content() == {}


def test_where_no_row_can_be_added_as_many_are_read_as_stand_there_whatever_was_sent() -> None:
    standing: dict[str, Any] = {"steps": [{"what": "a"}, {"what": "b"}]}
    for count in ("0", "9", "x"):
        sent = posted(steps__TOTAL_FORMS=count, steps__0__what="", steps__1__what="c", steps__2__what="d")
        assert ThingForm(sent, initial=standing).content() == {"steps": [{}, {"what": "c"}]}


def test_more_rows_than_a_page_takes_are_all_shown_with_none_to_add() -> None:
    many = {"targets": [{"rate": str(index)} for index in range(MOST_ROWS + 3)]}
    rows = ThingForm(initial=many).parts["targets"].forms
    assert (len(rows), rows[-1].is_empty) == (MOST_ROWS + 3, False)


def test_blank_rows_stand_ready_after_the_last_typed_one_and_never_pile_up() -> None:
    sent = targets(6, **{"0__rate": "high", "2__rate": "low"})
    form = ThingForm(sent)
    assert [row.title for row in form.parts["targets"].forms] == [f"Target {number}" for number in range(1, 6)]
    assert [row.is_empty for row in form.parts["targets"].forms] == [False, True, False, True, True]
    assert [len(ThingForm(targets(count)).parts["targets"].forms) for count in (0, 2, 50)] == [2, 2, 2]
    assert ThingForm().parts["steps"].forms == []


def test_what_is_too_long_to_be_meant_is_cut_before_it_is_read() -> None:
    assert ThingForm(posted(name="x" * (LONGEST + 5))).content() == {"name": "x" * LONGEST}


def test_control_and_reordering_characters_are_not_kept() -> None:
    form = ThingForm(posted(name="a\u202eb\x00c"))
    assert (form.content(), form["name"].value()) == ({"name": "abc"}, "abc")


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        (DecimalText(), "9,4", "9.4"),
        (DecimalText(), "-0,30", "-0.30"),
        (DecimalText(), "9.4", "9.4"),
        (DecimalText(), "9,x", "9,x"),
        (DecimalText(), "1,234.5", "1,234.5"),
        (DecimalText(), "1,234,5", "1,234,5"),
        (YesNo(), "yes", True),
        (YesNo(), "no", False),
        (YesNo(), "maybe", "maybe"),
        (Many(), "high, low ,", ["high", "low"]),
        (Many(), " , ", []),
        (Text(), "9,4", "9,4"),
        (Word(["a"]), "b", "b"),
    ],
)
def test_what_a_text_stands_for(kind: Kind, text: str, value: Any) -> None:
    assert KindField(kind).clean(text) == value


def test_a_figure_is_shown_again_as_it_was_typed() -> None:
    form = ThingForm(posted(rated_kw="9,40"))
    assert form.content() == {"rated_kw": "9.40"}
    assert 'value="9,40"' in str(form["rated_kw"])


@pytest.mark.parametrize(
    ("kind", "value", "text"),
    [(Text(), None, ""), (YesNo(), False, "no"), (Many(), ["a", "b"], "a, b"), (Text(), 0, "0"), (Text(), "a", "a")],
)
def test_how_a_value_would_have_been_typed(kind: Kind, value: Any, text: Any) -> None:
    assert KindField(kind).prepare_value(value) == text


def test_a_kind_says_how_it_is_asked_for() -> None:
    form = ThingForm(initial={"burns": "lpg"})
    assert [each.name for each in form] == ["name", "rated_kw", "sealed", "burns", "rates"]
    assert '<option value="lpg" selected>' in str(form["burns"]) and ">choose<" in str(form["burns"])
    assert 'inputmode="decimal"' in str(form["rated_kw"]) and 'maxlength="200"' in str(form["name"])
    assert "<textarea" in str(KindField(Text(2000)).widget.render("note", ""))
    assert [each.name for each in form.parts["targets"].forms[0]] == ["rate", "value", "DELETE"]


# ---- faults, where they were typed ----

DECIMAL = 'it must be a decimal number such as "9.20"'


def test_a_fault_of_a_row_stands_in_the_row_as_the_page_counts_it() -> None:
    """The reader saw neither the row that was left out nor the empty one: its row 1 is the page's fourth."""
    sent = {"1__rate": "", "2__rate": "out", "2__DELETE": "on", "3__rate": "low"}
    form = ThingForm(targets(4, **{"0__rate": "high", **sent}))
    assert form.content() == {"targets": [{"rate": "high"}, {"rate": "low"}]}
    form.refuse({"targets.1.value": wrong("decimal", None)})
    assert [(each.id, each.label) for each in form.faults] == [("targets-3-value", "Target 4, Value")]
    wrong_rows = [row.errors.get("value") for row in form.parts["targets"].forms]
    assert [each and each[0].removesuffix(".") for each in wrong_rows] == [None, None, None, DECIMAL, None, None]
    assert 'aria-invalid="true"' in str(form.parts["targets"].forms[3]["value"])
    assert 'aria-describedby="targets-3-value_helptext targets-3-value_error"' in str(form.parts["targets"].forms[3])


def test_faults_of_several_rows_stay_with_their_rows_though_the_first_loses_all_that_it_says() -> None:
    form = ThingForm(targets(3, **{"0__rate": "?", "1__rate": "low", "2__rate": "?"}))
    form.content()
    form.refuse({f"targets.{index}.rate": wrong("pattern", "?") for index in (0, 2)})
    assert [each.id for each in form.faults] == ["targets-0-rate", "targets-2-rate"]
    assert [row["rate"].value() for row in form.parts["targets"].forms[:3]] == ["?", "low", "?"]
    assert not form.parts["targets"].forms[0].is_empty


def test_a_fault_of_a_whole_row_leads_to_the_row_and_one_of_the_list_to_the_list() -> None:
    assert said("targets.1", coded("stands_for_good")) == said("targets.1.unseen", coded("stands_for_good"))
    assert [each[:2] for each in said("targets.1", coded("stands_for_good"))] == [("targets-1", "Target 2")]
    for path in ("targets", "targets.7.value", "targets.one.value"):
        assert said(path, coded("blank")) == [("targets", "Targets", "is empty; it must be given")]


@pytest.mark.parametrize(("path", "label"), [("elsewhere", "Elsewhere"), ("elsewhere.0.x", "Elsewhere 1, x")])
def test_a_fault_of_nothing_on_the_page_is_still_said(path: str, label: str) -> None:
    assert said(path, coded("blank")) == [("", label, "is empty; it must be given")]


def test_faults_of_plain_fields_are_named_by_their_labels() -> None:
    assert said("rated_kw", wrong("decimal", None)) == [("rated_kw", "Rated input", DECIMAL)]
    too_long = "is too long; it may have at most 9 characters"
    assert said("name", coded("too_long", most=9)) == [("name", "Name", too_long)]


def test_codes_that_are_allowed_are_told_in_the_words_of_their_choices() -> None:
    ((_id, _label, words),) = said("name", wrong("one_of", "x", allowed=["as_found", "natural_gas"]))
    assert words == "is 'x'; it must be one of: as found, natural gas"
    form = form_of(CasedIn)(posted())
    form.refuse({"casing": wrong("one_of", None, allowed=["any", "open"])})
    assert form.faults[0].said == "it must be one of: either, open."


def test_faults_stand_in_the_order_of_the_page() -> None:
    form = ThingForm(targets(1, **{"0__rate": "high"}))
    form.content()
    form.refuse({"targets.0.rate": coded("blank"), "targets": coded("blank"), "name": coded("blank")})
    assert [each.id for each in form.faults] == ["name", "targets", "targets-0-rate"]


def test_the_rows_of_a_list_are_a_formset() -> None:
    part = ThingForm().parts["targets"]
    assert isinstance(part, Parts) and (part.extra, part.can_delete, part.max_num) == (2, True, MOST_ROWS)
