"""One page with every rule and chart, the awkward ones too, for tests and to be looked at."""

from pathlib import Path

from django.template import Context, Engine
from django.test import RequestFactory, override_settings

from fleet.models import Contractor, User
from tests.web.samples import CHARTS, DUES, READINGS

TEMPLATE = Path(__file__).with_name("gallery.html")
PLAIN_FILES = {"staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}


def gallery() -> str:
    """The page, as a dispatcher would see it."""
    request = RequestFactory().get("/")
    user = User(username="somebody", first_name="Somebody", last_name="Invented", role="dispatcher")
    request.user = user
    drawn = {"readings": READINGS, "dues": DUES, "charts": CHARTS}
    head = {"contractor": Contractor(name="An invented contractor", is_demo=True), "place": "buildings", "user": user}
    template = Engine.get_default().from_string(TEMPLATE.read_text())
    return str(template.render(Context(drawn | head | {"request": request})))


def write(path: Path) -> None:
    """The page as a file, to be served beside fleet/web/static under /static/."""
    with override_settings(ROOT_URLCONF="tests.web.page_urls", STORAGES=PLAIN_FILES):
        path.write_text(gallery())
