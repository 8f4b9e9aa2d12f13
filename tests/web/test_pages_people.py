"""The page of people and their log-ins."""

import re
from typing import Any

import pytest
from django.core import mail
from django.test import Client as Browser
from django.utils import timezone

from fleet.models import ApiToken, AuditEntry, Client, Job, Person, Qualification, Role, User, Webhook
from fleet.presentation.audit import entry_words
from fleet.services.access import create_token, create_user
from fleet.tasks import HANDLERS
from tests.cast import NOON, store
from tests.web.opened import browser_of, checked, opened, queries_of, sent

PASSWORD = "a-long-enough-secret"
LINK = re.compile(r"http://127\.0\.0\.1:8080(/new-password/[^<]+)")
NEW = {"name": "Cy Cooper", "username": "cy", "phone": "0000", "email": "", "role": "technician", "sees": "all"}


@pytest.fixture(autouse=True)
def at_noon(settings: Any) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def boss(installation: User) -> User:
    return create_user(username="boss", password=PASSWORD, role=Role.MANAGER, name="Bo Boss")


def led(answer: Any) -> Any:
    """The page that a form leads to, as its sender sees it; opened again it shows no link."""
    assert answer.status_code == 302, answer.content.decode()
    page = answer.client.get(answer["Location"])
    assert "/new-password/" in page.content.decode()
    assert "/new-password/" not in answer.client.get(answer["Location"]).content.decode()
    return page


def link_in(page: str) -> str:
    found = LINK.search(page)
    assert found, page
    return found[1]


def text_of(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


# ---- the list, and somebody new ----


def test_somebody_new_is_invited_and_sets_a_password_by_the_link_shown_once(boss: User) -> None:
    assert "1 person can log in" in text_of(opened(boss, "/people/"))
    answer = led(sent(boss, "/people/", **NEW))
    assert answer["Cache-Control"] == "no-store"
    link = link_in(checked(answer))
    assert "opens on this machine alone" in answer.content.decode()
    cy = Person.objects.get(name="Cy Cooper")
    assert "/new-password/" not in opened(boss, f"/people/{cy.id}/")
    visitor = Browser()
    asked = visitor.get(link, follow=True)
    assert "For the user name cy." in text_of(asked.content.decode())
    there = asked.redirect_chain[-1][0]
    visitor.post(there, {"new_password1": PASSWORD, "new_password2": PASSWORD})
    assert User.objects.get(username="cy").state == "open"
    assert "opens nothing any more" in text_of(Browser().get(link, follow=True).content.decode())
    assert "2 people can log in" in text_of(opened(boss, "/people/"))


def test_the_link_goes_by_mail_too_where_mail_is_set_up(boss: User, settings: Any) -> None:
    assert "goes by no e-mail" not in text_of(opened(boss, "/people/"))
    settings.PUBLIC_ADDRESS = "https://heating.example"
    page = checked(led(sent(boss, "/people/", **NEW | {"email": "cy@heating.example"})))
    assert "https://heating.example/new-password/" in page and "opens on this machine alone" not in page
    assert "Another one is on its way to cy@heating.example" in text_of(page)
    HANDLERS["send_password_link"](Job.objects.get(kind="send_password_link"))
    [message] = mail.outbox
    assert message.to == ["cy@heating.example"] and "within seven days" in message.body
    found = re.search(r"(/new-password/\S+)", message.body)
    assert found and "set-password" in Browser().get(found[1])["Location"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"username": "boss"}, "User name"),
        ({"username": "two words"}, "letters, figures and @ . + - _ only, and no spaces"),
        ({"name": ""}, "Name"),
        ({"role": "king"}, "Role"),
        ({"clients": [], "sees": "named"}, "name at least one"),
        ({"email": "x"}, "E-mail"),
        ({"phone": "abc"}, "it must be a telephone number"),
    ],
)
def test_what_can_not_be_is_refused_by_its_label_at_its_field_and_makes_nobody(
    boss: User, changes: dict[str, Any], words: str
) -> None:
    answer = sent(boss, "/people/", **NEW | changes)
    page, field = checked(answer), next(iter(changes))
    assert answer.status_code == 400 and words in text_of(page)
    assert f'<p class="wrong" id="id_{field}_error">' in page and f'aria-describedby="id_{field}_error"' in page
    assert not Person.objects.filter(name="Cy Cooper").exists()


def test_a_refused_act_says_it_at_its_own_field_and_leaves_the_other_forms_as_they_stood(boss: User) -> None:
    sent(boss, "/people/", **NEW)
    cy = Person.objects.get(name="Cy Cooper")
    page = checked(sent(boss, f"/people/{cy.id}/", act="reset", version="1", second_factor="on", why=""))
    assert 'id="id_why_error"' in page and 'id="id_name_error"' not in page and 'value="Cy Cooper"' in page
    page = checked(sent(boss, f"/people/{cy.id}/qualifications/", scheme="", number="1"))
    assert 'id="id_scheme_error"' in page and 'id="id_name_error"' not in page and 'value="Cy Cooper"' in page


def test_all_clients_and_some_named_is_refused(boss: User, client_of_ours: Client) -> None:
    answer = sent(boss, "/people/", **NEW | {"clients": [str(client_of_ours.id)]})
    assert answer.status_code == 400 and "say which of the two" in text_of(checked(answer))


def test_a_manager_of_some_clients_sees_and_invites_people_of_these_alone(boss: User, client_of_ours: Client) -> None:
    some = create_user(username="some", password=PASSWORD, role=Role.MANAGER, name="Sam Some", sees_all_clients=False)
    some.clients.add(client_of_ours)
    page = opened(some, "/people/")
    assert "Sam Some" in page and "Bo Boss" not in page and "all clients, now and to come" not in page
    assert browser_of(some).get(f"/people/{boss.person.id}/").status_code == 404
    assert sent(some, "/people/", **NEW).status_code == 400
    other = Client.objects.create(name="Mill Trust")
    assert sent(some, "/people/", **NEW | {"sees": "named", "clients": [str(other.id)]}).status_code == 400
    assert sent(some, "/people/", **NEW | {"sees": "named", "clients": [str(client_of_ours.id)]}).status_code == 302


def test_more_people_take_no_more_queries(boss: User, client_of_ours: Client) -> None:
    def add(number: int) -> None:
        user = create_user(
            username=f"u{number}", password=PASSWORD, role=Role.AUDITOR, name=f"U {number}", sees_all_clients=False
        )
        user.clients.add(client_of_ours)

    add(0)
    few = queries_of(boss, "/people/")
    for number in range(1, 6):
        add(number)
    assert queries_of(boss, "/people/") == few


def test_nobody_is_let_see_all_clients_unasked(boss: User) -> None:
    assert "required checked" not in opened(boss, "/people/"), "there is no client yet that could be named"
    Client.objects.create(name="Weir Trust")
    page = opened(boss, "/people/")
    assert re.search(r'value="named" required checked', page) and not re.search(r'value="all" required checked', page)
    assert sent(boss, "/people/", **{name: said for name, said in NEW.items() if name != "sees"}).status_code == 400


# ---- one of them ----


@pytest.fixture
def cy(boss: User) -> Person:
    sent(boss, "/people/", **NEW)
    return Person.objects.get(name="Cy Cooper")


def act(actor: User, who: Person, what: str, **said: Any) -> Any:
    version = Person.objects.get(id=who.id).version
    return sent(actor, f"/people/{who.id}/", act=what, version=version, **said)


def test_a_person_is_changed_ended_let_back_and_reset_on_their_page(boss: User, cy: Person) -> None:
    changed = act(boss, cy, "change", **NEW | {"name": "Cy Weir", "role": "dispatcher"})
    assert changed["Location"] == f"/people/{cy.id}/"
    assert "Cy Weir has a link and hasn't used it yet" in text_of(opened(boss, f"/people/{cy.id}/"))
    link = link_in(checked(led(act(boss, cy, "reset", why=""))))
    assert act(boss, cy, "end")["Location"] == "/people/"
    assert "The access of Cy Weir has ended" in text_of(opened(boss, f"/people/{cy.id}/"))
    assert "opens nothing" in text_of(Browser().get(link, follow=True).content.decode())
    assert link_in(checked(led(act(boss, cy, "let_back")))) != link
    refused = act(boss, cy, "reset", second_factor="on", why="")
    assert refused.status_code == 400 and "say why" in text_of(checked(refused))
    assert "The link was made by Bo Boss: phone lost" in text_of(
        checked(led(act(boss, cy, "reset", second_factor="on", why="phone lost")))
    )


@pytest.mark.parametrize(("kept", "state"), [(False, "off, cy"), (True, "on, Bo Boss")])
def test_a_leaver_s_page_says_which_webhooks_stopped_and_which_go_on(
    boss: User, cy: Person, kept: bool, state: str
) -> None:
    said: dict[str, Any] = {"kinds": ["flag_opened"], "is_on": True, "made_by": cy.user, "made_at": NOON}
    Webhook.objects.create(name="office", url="https://a.test/x?key=1", **said)
    before = text_of(opened(boss, f"/people/{cy.id}/"))
    assert "Let them go on: I answer for them" in before and "office a.test the whole installation on" in before
    act(boss, cy, "end", **({"keep_webhooks": "on"} if kept else {}))
    page = text_of(opened(boss, f"/people/{cy.id}/"))
    assert f"office a.test the whole installation {state.replace('cy', 'Cy Cooper')} answers for it" in page


def test_another_address_is_taken_after_the_password_and_the_one_before_is_told(boss: User, cy: Person) -> None:
    browser = browser_of(boss)
    for email in ("old@heating.example", "new@heating.example"):
        said = NEW | {"act": "change", "email": email, "version": Person.objects.get(id=cy.id).version}
        asked = browser.post(f"/people/{cy.id}/", said)
        if email.startswith("old"):
            assert asked["Location"].startswith("/log-in/again/")
            asked = browser.post(asked["Location"], {"password": PASSWORD})
        assert asked["Location"] == f"/people/{cy.id}/"
        assert User.objects.get(username="cy").email == email
    (job,) = Job.objects.filter(kind="tell_old_address")
    HANDLERS["tell_old_address"](job)()
    assert [each.to for each in mail.outbox] == [["old@heating.example"]]
    entries = [each for each in AuditEntry.objects.filter(user=cy.user) if entry_words(each).startswith("e-mail")]
    assert [(each.by, each.network) for each in entries] == [(boss, "127.0.0.0/24")] * 2


def test_what_stands_is_ticked_on_the_page(boss: User, client_of_ours: Client) -> None:
    Client.objects.create(name="Mill Trust")
    sent(boss, "/people/", **NEW | {"sees": "named", "clients": [str(client_of_ours.id)]})
    page = opened(boss, f"/people/{Person.objects.get(name='Cy Cooper').id}/")
    assert re.findall(r'name="(?:clients|sees)" value="([^"]+)"[^>]* checked', page) == [
        "named",
        str(client_of_ours.id),
    ]


def test_an_act_on_what_was_changed_meanwhile_is_refused(boss: User, cy: Person) -> None:
    answer = sent(boss, f"/people/{cy.id}/", act="end", version=1)
    assert answer.status_code == 409
    assert User.objects.get(username="cy").is_active


def test_the_last_manager_stays_and_their_own_link_is_on_their_account(boss: User) -> None:
    page = text_of(opened(boss, f"/people/{boss.person.id}/"))
    assert "This is your own log-in. Your account" in page
    for what, said in (("end", {}), ("change", NEW | {"name": "Bo Boss"})):
        answer = act(boss, boss.person, what, **said)
        assert answer.status_code == 409 and "last manager" in text_of(checked(answer))
    assert act(boss, boss.person, "reset").status_code == 409


def test_who_has_no_log_in_gets_one(boss: User, installation: User) -> None:
    ada = Person.objects.create(name="Ada Test")
    assert "Ada Test has no log-in" in text_of(opened(boss, f"/people/{ada.id}/"))
    asked = {"username": "ada", "role": "technician", "sees": "all", "email": ""}
    link_in(checked(led(act(boss, ada, "invite", **asked))))
    assert Person.objects.get(id=ada.id).user == User.objects.get(username="ada")


def test_a_qualification_is_recorded_and_one_that_is_over_says_so(boss: User, cy: Person) -> None:
    given = {"scheme": "trade register", "number": "Q-1", "fuel_kinds": ["gas"]}
    given |= {"valid_from": "2020-01-01", "valid_to": "2026-03-01"}
    path = f"/people/{cy.id}/qualifications/"
    assert sent(boss, path, **given)["Location"] == f"/people/{cy.id}/"
    assert Qualification.objects.get().person == cy
    assert "gas to 1 Mar 2026, over" in text_of(opened(boss, "/people/")).replace(" ,", ",")
    assert sent(boss, path, **given | {"valid_to": "2019-01-01"}).status_code == 400
    assert sent(boss, path, **given | {"fuel_kinds": []}).status_code == 400


def test_what_somebody_did_last_stands_on_their_page_with_their_tokens(
    boss: User, technician: User, person: Person, body: Any
) -> None:
    store(body, technician)
    create_token(user=technician, actor=technician, name="phone of Ada", scope="read", days=1, now=NOON)
    page = text_of(opened(boss, f"/people/{person.id}/"))
    assert "sent a visit" in page and "made a token for another program: phone of Ada" in page
    sent(boss, "/account/tokens/end/", key=ApiToken.objects.get().token_key)
    assert not ApiToken.objects.exists()


# ---- the place that holds them ----


def test_set_up_leads_a_manager_to_what_the_installation_stands_on(boss: User, client_of_ours: Client) -> None:
    page, browser = opened(boss, "/installation/"), browser_of(boss)
    main = page[page.index("<main") :]
    links = re.findall(r'<dt><a href="([^"]+)"', main)
    assert {"/people/", "/analysers/", "/sheets/", "/planning-settings/", "/webhooks/", "/background-work/"} <= set(
        links
    )
    assert [each for each in links if browser.get(each).status_code != 200] == []
    some = create_user(username="some", password=PASSWORD, role=Role.MANAGER, name="Sam Some", sees_all_clients=False)
    some.clients.add(client_of_ours)
    limited = browser_of(some)
    fewer = re.findall(r'<dt><a href="([^"]+)"', limited.get("/installation/").content.decode())
    assert set(fewer) < set(links)
    assert [each for each in fewer if limited.get(each).status_code != 200] == []


def test_who_invites_nobody_reads_who_is_known_and_how_to_reach_them(
    boss: User, dispatcher: User, technician: User, auditor: User, person: Person
) -> None:
    Person.objects.filter(id=person.id).update(phone="0000 111", email="ada@heating.example")
    for reader in (dispatcher, technician):
        page = opened(reader, "/people/")
        assert "0000 111 ada@heating.example" in text_of(page) and "gas to 31 Dec 2030" in text_of(page)
        assert "Invite" not in page and "/people/0" not in page and boss.username not in text_of(page).split()
        assert 'href="/records/" aria-current="page"' in page and 'href="/people/"' in opened(reader, "/records/")
        assert browser_of(reader).post("/people/", NEW).status_code == 403
    assert "0000 111" not in opened(auditor, "/people/")


def test_the_only_manager_is_told_of_the_ways_back_where_no_link_can_be_mailed(boss: User, settings: Any) -> None:
    told = "manage.py people reset boss --second-factor"
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    assert all(told in text_of(opened(boss, path)) for path in ("/people/", "/account/"))
    User.objects.filter(id=boss.id).update(email="boss@heating.example")
    assert told in text_of(opened(boss, "/people/"))
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    assert told not in text_of(opened(boss, "/people/"))
    User.objects.filter(id=boss.id).update(email="")
    assert told in text_of(opened(boss, "/people/"))
    create_user(username="second", password=PASSWORD, role=Role.MANAGER, name="Di Second")
    assert told not in text_of(opened(boss, "/people/"))


def test_what_set_up_holds_stands_under_it_in_a_manager_s_head_alone(boss: User, dispatcher: User) -> None:
    for path in ("/sheets/", "/people/", "/planning-settings/"):
        assert 'href="/installation/" aria-current="page"' in opened(boss, path)
    assert 'href="/sheets/" aria-current="page"' in opened(dispatcher, "/sheets/")
