import re
from collections.abc import Callable
from html import unescape

import pytest
from django.template.loader import render_to_string
from django.test import Client

from fleet.models import Contractor, User
from fleet.presentation.glossary import CHAPTERS
from tests.web.conftest import PASSWORD
from tests.web.gallery import gallery
from tests.web.markup import main_of, read

LogIn = Callable[[str], Client]


@pytest.mark.parametrize(
    ("role", "places"),
    [
        ("dispatcher", ["attention", "buildings", "required-checks", "records", "statements", "sheets"]),
        ("manager", ["attention", "buildings", "required-checks", "records", "statements", "installation"]),
        ("technician", ["attention", "buildings", "required-checks", "records", "sheets"]),
        ("auditor", ["statements", "records", "buildings", "required-checks", "deliveries", "defects", "sheets"]),
    ],
)
def test_the_head_holds_the_places_of_the_role(logged_in: LogIn, role: str, places: list[str]) -> None:
    seen = read(logged_in(role).get("/buildings/").content.decode())
    in_head = [link.strip("/") for link in seen.links if link.strip("/") in places]
    assert in_head == places
    assert seen.current == ["/buildings/"]


def test_the_head_says_who_is_logged_in_and_logs_out_by_a_form(logged_in: LogIn) -> None:
    browser = logged_in("manager")
    page = browser.get("/required-checks/").content.decode()
    assert "Somebody Invented, manager" in page
    form = re.search(r'<form method="post" action="/log-out/">.*?</form>', page, re.S)
    assert form
    assert "csrfmiddlewaretoken" in form.group(0)
    assert browser.get("/log-out/").status_code == 405
    assert browser.post("/log-out/")["Location"] == "/log-in/"


def test_logging_out_without_the_form_s_own_token_is_refused_in_words(logged_in: LogIn) -> None:
    browser = logged_in("manager")
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = browser.cookies
    answer = strict.post("/log-out/")
    assert answer.status_code == 403
    assert "was not taken" in main_of(answer.content.decode())


@pytest.mark.parametrize("address", ["/log-in/", "/attention/", "/nothing-here/", "/broken/"])
def test_a_gas_smell_and_a_co_alarm_are_one_link_away_without_logging_in(visitor: Client, address: str) -> None:
    assert {"/gas-smell/", "/co-alarm/"} <= set(read(visitor.get(address).content.decode()).links)


@pytest.mark.parametrize("address", ["/log-in/", "/attention/", "/gas-smell/"])
def test_our_words_are_explained_one_link_away(visitor: Client, address: str) -> None:
    assert "/glossary/" in read(visitor.get(address).content.decode()).links


def test_each_word_is_explained_once_under_an_address_of_its_own(visitor: Client) -> None:
    page = unescape(visitor.get("/glossary/").content.decode())
    terms = [term for chapter in CHAPTERS for term in chapter["terms"]]
    assert len({term["anchor"] for term in terms}) == len(terms)
    assert all(f'id="{term["anchor"]}"' in page and str(term["meaning"]) in page for term in terms)


def test_the_gas_smell_page_begins_with_leaving_and_ends_with_recording(visitor: Client) -> None:
    answer = visitor.get("/gas-smell/")
    page = re.sub(r"<[^>]*>", " ", main_of(answer.content.decode())).split()
    assert answer.status_code == 200
    assert " ".join(page).startswith("Leave. Do not use this phone, switches or the bell inside. Call from outside.")
    assert " ".join(page).index("0000 123 456") < " ".join(page).index("Recording comes afterwards")


def test_a_co_alarm_begins_with_everybody_out_and_relights_nothing(visitor: Client) -> None:
    said = " ".join(re.sub(r"<[^>]*>", " ", main_of(visitor.get("/co-alarm/").content.decode())).split())
    assert said.startswith("Everybody out, now")
    orders = ("open air", "off, doors and windows open", "0000 123 456", "medical help", "Relight nothing", "Recording")
    assert sorted(map(said.index, orders)) == list(map(said.index, orders))


@pytest.mark.parametrize("address", ["/gas-smell/", "/co-alarm/"])
def test_the_contractor_s_numbers_can_be_called(visitor: Client, address: str) -> None:
    page = visitor.get(address).content.decode()
    assert {"tel:0000123456", "tel:0000999"} <= set(read(page).links)


def test_no_number_recorded_is_said_not_left_empty(visitor: Client) -> None:
    Contractor.objects.update(emergency_numbers=[])
    assert "Call the gas network" in main_of(visitor.get("/gas-smell/").content.decode())


def test_an_installation_without_a_contractor_still_answers(visitor: Client) -> None:
    Contractor.objects.all().delete()
    assert visitor.get("/gas-smell/").status_code == 200
    assert visitor.get("/log-in/")["Location"] == "/begin/"


def test_the_banner_stands_on_a_demonstration_only(visitor: Client) -> None:
    words = "Demonstration: everything here is invented."
    assert words not in visitor.get("/log-in/").content.decode()
    Contractor.objects.update(is_demo=True)
    assert words in visitor.get("/log-in/").content.decode()


def test_a_contractor_s_name_is_escaped(visitor: Client) -> None:
    Contractor.objects.update(name="<script>x</script>")
    assert "&lt;script&gt;" in visitor.get("/log-in/").content.decode()
    read(visitor.get("/log-in/").content.decode())


@pytest.mark.parametrize(("role", "first"), [("auditor", "/statements/"), ("dispatcher", "/attention/")])
def test_logging_in_leads_to_the_first_place_of_the_role(visitor: Client, role: str, first: str) -> None:
    User.objects.create_user("somebody", password=PASSWORD, role=role)
    answer = visitor.post("/log-in/", {"login": "somebody", "password": PASSWORD})
    assert (answer.status_code, answer["Location"]) == (302, first)


def test_logging_in_leads_to_the_page_asked_for_but_never_to_another_site(visitor: Client) -> None:
    User.objects.create_user("somebody", password=PASSWORD, role="manager")
    given = {"login": "somebody", "password": PASSWORD}
    assert visitor.post("/log-in/", given | {"next": "https://elsewhere.example/"})["Location"] == "/attention/"
    visitor.post("/log-out/")
    assert visitor.post("/log-in/", given | {"next": "/required-checks/"})["Location"] == "/required-checks/"


def test_a_wrong_password_is_said_in_words_and_keeps_the_name(visitor: Client) -> None:
    page = visitor.post("/log-in/", {"login": "somebody", "password": "wrong"}).content.decode()
    read(page)
    assert 'role="alert"' in page
    assert 'value="somebody"' in page
    assert "wrong" not in main_of(page).replace("wrong password", "")


@pytest.mark.parametrize(
    ("address", "status", "words"),
    [("/nothing-here/", 404, "nothing that you may see"), ("/broken/", 500, "A fault on our side")],
)
def test_an_error_says_what_happened_what_is_kept_and_what_now(
    visitor: Client, address: str, status: int, words: str
) -> None:
    answer = visitor.get(address)
    page = answer.content.decode()
    read(page)
    assert answer.status_code == status
    assert words in page
    assert 'class="lead"' in page
    assert 'class="acts"' in page


@pytest.mark.parametrize("template", ["400.html", "403.html", "404.html", "500.html", "403_csrf.html", "429.html"])
def test_error_pages_can_be_written_without_any_context(pages: None, template: str) -> None:
    read(render_to_string(template))


def test_the_first_link_of_a_page_leads_past_its_head(visitor: Client) -> None:
    seen = read(visitor.get("/attention/").content.decode())
    assert seen.links[0] == "#main"
    assert "main" in seen.ids


def test_every_page_bears_the_caution_and_the_hatching(visitor: Client) -> None:
    page = visitor.get("/attention/").content.decode()
    assert "nothing here declares an appliance safe" in page
    assert page.count('<pattern id="hatching"') == 1


def test_rules_and_charts_and_their_tables_stand_on_a_page(pages: None) -> None:
    page = gallery()
    read(page)
    assert page.count('class="chart wide"') == page.count('class="chart narrow"') == page.count("<details>") == 3
    assert "Its drift appears here after the first." in page
    assert '<td class="n">8.78</td>' in page
    assert "8.22 to 9.04" in page
