"""The page on which a manager corrects what pages say of the contractor, above all whom to call."""

from django.test import Client

from fleet.models import Contractor, User
from tests.web.opened import browser_of, checked, opened, sent

GIVEN = {"version": 1, "name": "Own Heating", "address": "", "emergency_numbers": "112, +1 555 0100"}


def test_a_manager_corrects_the_numbers_and_pages_say_the_new_ones(manager: User) -> None:
    assert '<a href="/contractor/">' in opened(manager, "/installation/")
    assert 'value="000"' in opened(manager, "/contractor/")
    assert sent(manager, "/contractor/", **GIVEN)["Location"] == "/contractor/"
    stands = Contractor.objects.get()
    assert (stands.name, stands.address, stands.version) == ("Own Heating", "", 2)
    assert stands.emergency_numbers == ["112", "+1 555 0100"]
    assert 'href="tel:+15550100"' in Client().get("/gas-smell/").content.decode()


def test_what_no_number_can_be_is_refused_at_its_field_with_what_was_typed(manager: User) -> None:
    refused = sent(manager, "/contractor/", **GIVEN | {"emergency_numbers": "112, abc"})
    page = checked(refused)
    assert refused.status_code == 400 and Contractor.objects.get().version == 1
    assert "id=\"emergency_numbers_error\">is 'abc'; it must be a telephone number" in page.replace("&#x27;", "'")
    assert (
        'value="112, abc"' in page and 'aria-describedby="emergency_numbers_helptext emergency_numbers_error"' in page
    )


def test_what_somebody_else_changed_meanwhile_is_not_overwritten(manager: User) -> None:
    Contractor.objects.update(version=2)
    refused = sent(manager, "/contractor/", **GIVEN)
    assert refused.status_code == 409 and "Own Heating" in checked(refused)
    assert Contractor.objects.get().name != "Own Heating"


def test_it_is_changed_by_managers_of_all_clients_alone(manager: User, dispatcher: User) -> None:
    User.objects.filter(id=manager.id).update(sees_all_clients=False)
    assert [browser_of(each).get("/contractor/").status_code for each in (manager, dispatcher)] == [403, 403]
