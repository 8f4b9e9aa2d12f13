"""One page with every rule and chart, to be looked at: python -m tests.web.gallery FILE writes it."""

import os
import sys
from pathlib import Path

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
django.setup()

from django.template import Context, engines  # noqa: E402  settings first, as this also runs by itself
from django.test import RequestFactory, override_settings  # noqa: E402  as above

from fleet.models import Contractor, User  # noqa: E402  as above
from tests.web.samples import CHARTS, DUES, READINGS  # noqa: E402  as above

PLAIN_FILES = {"staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}
PAGE = """{% extends "base.html" %}
{% block title %}Gallery{% endblock %}
{% block opening %}<div class="opening"><p class="path"><a href="#main">A trust</a>, a house, plant room</p>
<h1>Boiler 7</h1><p class="lead">See it by <b>Thursday 18 February</b>. CO₂ at high fire falls about 0.30 points a year;
after that day the chance that it is under its band passes the accepted 8 %.</p>
<p class="acts"><button class="act">Put on a list</button> <button class="act quiet">Accept the risk, with a reason</button></p></div>
<section class="stop"><h2>Stop level, nobody has answered for it yet</h2><p class="lead">CO in the plant room rose.</p>
<p class="dim">Told to somebody at 08:53.</p><p class="acts"><button class="act">I am answering for it</button></p></section>{% endblock %}
{% block main %}
<form class="ask">Showing <select aria-label="Client"><option>every client with a long name in all of it</select> due
<select aria-label="Until"><option>within three weeks</select><button class="act quiet">Show</button></form>
<section class="bunch"><header><h2>Outside a limit</h2><p>as recorded</p></header><ul class="rows">{% for name, each in readings.items %}
{% if forloop.counter < 4 %}<li class="row"><p class="when"><b>Mon 18 Feb</b> <span>4 days</span></p><div><h3><a href="#main">Boiler 1</a> <span>a house</span></h3>
<p class="why">CO₂ at low fire was left at <span class="outside">8.12 %, outside</span> the limit of 8.20.</p></div>
<div class="gauge">{% small_rule each %}<p>left 8.94 % CO₂</p></div><p class="what"><a href="#main">Put on a list</a></p></li>{% endif %}{% endfor %}</ul></section>
<section class="block"><h2>As it stands</h2><table class="pair"><thead><tr><td></td><th scope="col"><b>High fire</b>, 62 kW</th><th scope="col"><b>Low fire</b>, 13 kW</th></tr></thead><tbody>
{% for name, each in readings.items %}<tr><th scope="row">{{ name }} <span>{{ each.unit }}</span></th><td data-rate="High fire">{% rule each %}</td><td data-rate="Low fire">{% rule each %}</td></tr>{% endfor %}</tbody></table>{% key %}</section>
<section class="block"><h2>Due</h2>{% for name, each in dues.items %}<h3>{{ name }}</h3>{% rule each %}{% small_rule each %}{% endfor %}{% key today=True %}</section>
{% for name, each in charts.items %}<section class="block"><h2>{{ name }}</h2>{% drift each %}</section>{% endfor %}
<section class="block"><h2>Visits</h2><table class="table stack"><thead><tr><th scope="col">Date</th><th scope="col">Who</th><th scope="col">High fire, CO₂ %</th><th scope="col"></th><th scope="col">In words</th></tr></thead><tbody>
{% for name, each in readings.items %}{% if forloop.counter < 5 %}<tr><th scope="row"><a href="#main">3 Jun 2026</a></th><td>A. Person</td><td data-rate="High fire"><b class="figure">8.55 to 8.94</b></td><td class="line">{% small_rule each %}</td><td>found outside, left within</td></tr>{% endif %}{% endfor %}</tbody></table></section>
<div class="fault"><p>1 field needs you.</p><p>“3,1,4” is not a number.</p></div>
<div class="field"><label for="f">Gas rate</label><p class="hint">m³/h</p><input id="f" value="3,1,4" aria-invalid="true"></div>
{% endblock %}
{% block margin %}<section><h2>Next revisit</h2>{% for name, each in dues.items %}{% if forloop.first %}{% small_rule each %}{% endif %}{% endfor %}<p>Last day 18 February. <span class="outside">21 days late.</span></p></section>
<section><h2>Plate</h2><dl class="facts"><dt>Serial</dt><dd>8I0-1lO-44172</dd><dt>Fuel</dt><dd>natural gas</dd></dl></section>
<section><h2>Proof</h2><ol class="chain"><li>Visit<br><span class="code">record 4 812, 7f3a 90c1</span></li><li class="corrected">Correction<br><span class="code">record 4 377</span></li><li>Visit</li></ol></section>{% endblock %}"""


def gallery() -> str:
    """The page, as a dispatcher would see it."""
    request = RequestFactory().get("/")
    user = User(username="somebody", first_name="Somebody", last_name="Invented", role="dispatcher")
    request.user = user
    drawn = {"readings": READINGS, "dues": DUES, "charts": CHARTS}
    head = {"contractor": Contractor(name="An invented contractor", is_demo=True), "place": "buildings", "user": user}
    return str(engines["django"].engine.from_string(PAGE).render(Context(drawn | head | {"request": request})))


def write(path: Path) -> None:
    with override_settings(ROOT_URLCONF="tests.web.page_urls", STORAGES=PLAIN_FILES):
        path.write_text(gallery())


if __name__ == "__main__":
    write(Path(sys.argv[1]))
