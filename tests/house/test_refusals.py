"""Refusals are in our own words: no sentence of a framework reaches whoever uses the API or a page."""

import json
import re
from typing import Any

import pytest
from django import forms
from rest_framework.test import APIClient

from api import urls
from api.schema import document
from fleet.errors import FleetError
from fleet.intake.fields import Shape, fields_of
from fleet.models import User
from fleet.models.register import new_id
from fleet.web.forms import taken
from tests.intake.refused import refusals

# How the frameworks' own sentences begin or read.
FRAMEWORK = re.compile(
    r"[Tt]his (field|value|list|selection|dictionary)\b|valid (choice|string|integer|number|UUID|boolean|URL|email)"
    r"|Ensure (this|that)|Enter a |Expected a |Not a valid|Invalid (data|pk|value)|has wrong format"
    r"|No file was submitted"
)
BODIES: tuple[Any, ...] = ({}, [], "x", None)
# Values of other kinds in every field that the description names.
ODD_VALUES: tuple[Any, ...] = (None, "", "x" * 1000, -1, [], {}, True)


def posts() -> list[str]:
    described = document()["paths"]
    return sorted(path for path, item in described.items() if "post" in item)


def described_fields(path: str) -> list[str]:
    shapes = document()["components"]["schemas"]
    body = document()["paths"][path]["post"].get("requestBody", {"content": {}})["content"]
    named = body.get("application/json", {}).get("schema", {}).get("$ref", "").rsplit("/", 1)[-1]
    return sorted(shapes.get(named, {}).get("properties", {}))


@pytest.mark.django_db
def test_no_post_answers_with_a_sentence_of_the_framework(manager: User) -> None:
    client = APIClient(raise_request_exception=False)
    client.force_login(manager)
    said = {}
    for path in posts():
        address = re.sub(r"\{\w+\}", str(new_id()), path)
        odd = [dict.fromkeys(described_fields(path), value) for value in ODD_VALUES]
        for body in (*BODIES, *odd):
            answer = client.post(address, json.dumps(body), content_type="application/json")
            assert answer.status_code < 500, (path, body)
            if FRAMEWORK.search(answer.content.decode()):
                said[path] = answer.content.decode()
    assert said == {}


DOORS = [each.callback.cls for each in urls.urlpatterns if hasattr(each.callback, "cls")]
SHAPES: set[type[Shape]] = {each.shape_in for each in DOORS if each.shape_in}


@pytest.mark.django_db
@pytest.mark.parametrize("shape", sorted(SHAPES, key=lambda each: each.__name__), ids=lambda each: each.__name__)
def test_no_shape_refuses_in_words_of_the_framework(shape: type[Shape]) -> None:
    names = list(fields_of(shape))
    for body in (*BODIES, *(dict.fromkeys(names, value) for value in ODD_VALUES)):
        assert not any(FRAMEWORK.search(said) for said in refusals(shape, body).values()), body


def test_a_form_names_the_label_and_what_was_given() -> None:
    class Typed(forms.Form):
        after = forms.IntegerField(label="Minutes until the alert", max_value=240)
        day = forms.DateField(label="Day")

    with pytest.raises(FleetError) as refused:
        taken(Typed({"after": "300", "day": "soon"}))
    assert refused.value.message == (
        "Minutes until the alert is 300; it must be at most 240. Day is 'soon'; it must be a day such as 2026-03-02."
    )
