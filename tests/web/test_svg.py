from xml.etree import ElementTree

import pytest
from django.utils.safestring import mark_safe
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.web.svg import element, number, points


@given(st.text(max_size=40), st.text(max_size=40))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_any_text_and_any_attribute_make_a_well_formed_element(text: str, value: str) -> None:
    parsed = ElementTree.fromstring(element("text", text, class_=value))
    assert [child.tag for child in parsed] == []
    assert set(parsed.attrib) == {"class"}


def test_text_is_escaped_and_elements_are_kept() -> None:
    assert element("g", element("title", "<b>&")) == "<g><title>&lt;b&gt;&amp;</title></g>"


def test_what_is_safe_as_content_is_still_escaped_in_an_attribute() -> None:
    assert element("g", class_=mark_safe('x" onload="y')) == '<g class="x&quot; onload=&quot;y"></g>'


def test_attribute_names_are_written_as_svg_writes_them() -> None:
    assert element("line", stroke_width=1.5, x1=2.0, role=None) == '<line stroke-width="1.5" x1="2"></line>'


@pytest.mark.parametrize("name", ["script", "style", "STYLE", "onload", "a b", ""])
def test_scripts_styles_and_handlers_are_refused(name: str) -> None:
    with pytest.raises(ValueError, match="isn't written"):
        element(name)
    with pytest.raises(ValueError, match="isn't written"):
        element("g", **{name: "x"})


@pytest.mark.parametrize(
    ("value", "shown"), [(1.0, "1"), (0.126, "0.13"), (-0.001, "0"), (100.0, "100"), (-2.5, "-2.5"), (0.0, "0")]
)
def test_coordinates_have_two_decimals_at_most(value: float, shown: str) -> None:
    assert number(value) == shown


def test_points_are_pairs() -> None:
    assert points([(0.0, 1.5), (2.0, 3.0)]) == "0,1.5 2,3"
