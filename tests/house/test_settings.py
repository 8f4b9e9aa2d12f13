"""The README's settings table and the settings themselves name the same variables; bad values stop the start."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def test_the_readme_lists_every_variable_and_no_other() -> None:
    read = set(re.findall(r'"(FLEET_[A-Z_]+)"', (ROOT / "fleet" / "settings.py").read_text()))
    listed = set(re.findall(r"^\| `(FLEET_[A-Z_]+)` ", (ROOT / "README.md").read_text(), re.MULTILINE))
    assert read == listed


def test_only_the_settings_read_the_environment() -> None:
    readers = [
        path.relative_to(ROOT).as_posix()
        for room in ("fleet", "api", "reports")
        for path in (ROOT / room).rglob("*.py")
        if re.search(r"os\.environ\b(?!\.setdefault)|os\.getenv", path.read_text())
    ]
    assert readers == []


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("FLEET_SHAPE", "cloud", "embedded, served"),
        ("FLEET_SHAPE", "served", "FLEET_SECRET_KEY is required"),
        ("FLEET_SECRET_KEY", "short", "at least 50 characters"),
        ("FLEET_BIND_PORT", "many", "whole number"),
        ("FLEET_TRUSTED_PROXIES", "-1", "at least 0"),
        ("FLEET_TIME_ZONE", "Nowhere/Land", "time zone"),
        ("FLEET_BROKER_URL", "amqp://x", "must begin with"),
        ("FLEET_DATABASE_URL", "mysql://x/y", "SQLite or PostgreSQL"),
        ("FLEET_LOG_LEVEL", "LOUD", "DEBUG, INFO"),
        ("FLEET_EMAIL_URL", "imap://mail.example", "files: or smtp://"),
        ("FLEET_EMAIL_URL", "smtp://mail.example:99999", "can't be read"),
        ("FLEET_EMAIL_FROM", "nobody", "e-mail address"),
        ("FLEET_PUBLIC_ADDRESS", "heating.example", "https://heating.example"),
    ],
)
def test_a_value_it_cannot_use_stops_the_start(name: str, value: str, said: str, tmp_path: Path) -> None:
    environment = os.environ | {"FLEET_VAR_DIR": str(tmp_path), name: value}
    started = subprocess.run(
        [sys.executable, "-c", "import fleet.settings"], cwd=ROOT, env=environment, capture_output=True, text=True
    )
    assert started.returncode != 0
    assert said in started.stderr


SERVED = {
    "FLEET_SHAPE": "served",
    "FLEET_SECRET_KEY": "0123456789abcdefghijklmnopqrstuvwxyz0123456789abcdefghijkl",
    "FLEET_DATABASE_URL": "postgres://a:b@localhost/fleet",
    "FLEET_ALLOWED_HOSTS": "heating.example",
}


@pytest.mark.parametrize(
    ("name", "value"),
    [("FLEET_CLOCK_OFFSET_S", "3600"), ("FLEET_ALLOWED_HOSTS", "*"), ("FLEET_DATABASE_URL", "sqlite:///x.db")],
)
def test_the_served_shape_refuses_what_only_a_drill_may_do(name: str, value: str, tmp_path: Path) -> None:
    environment = os.environ | SERVED | {"FLEET_VAR_DIR": str(tmp_path), name: value}
    started = subprocess.run(
        [sys.executable, "-c", "import fleet.settings"], cwd=ROOT, env=environment, capture_output=True, text=True
    )
    assert started.returncode != 0
    assert name in started.stderr


def test_the_embedded_shape_makes_a_key_of_its_own_that_only_its_owner_reads(tmp_path: Path) -> None:
    environment = os.environ | {"FLEET_VAR_DIR": str(tmp_path)}
    environment.pop("FLEET_SECRET_KEY", None)
    code = "import fleet.settings; print(fleet.settings.SECRET_KEY)"
    first, second = (
        subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True).stdout
        for _start in range(2)
    )
    assert first == second
    assert len(first.strip()) >= 50
    assert (tmp_path / "secret-key").stat().st_mode & 0o077 == 0


def test_the_database_that_the_command_line_makes_is_for_its_owner_only(tmp_path: Path) -> None:
    environment = os.environ | {"FLEET_VAR_DIR": str(tmp_path / "var")}
    environment.pop("FLEET_DATABASE_URL", None)
    made = subprocess.run(
        ["sh", "-c", 'umask 022 && exec "$0" manage.py migrate -v0 fleet', sys.executable],
        cwd=ROOT, env=environment, capture_output=True, text=True,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr[-2000:]
    assert (tmp_path / "var" / "fleet.sqlite3").stat().st_mode & 0o077 == 0
    assert (tmp_path / "var").stat().st_mode & 0o077 == 0


def test_where_no_mail_server_is_set_messages_lie_where_their_owner_alone_may_look(tmp_path: Path) -> None:
    environment = os.environ | {"FLEET_VAR_DIR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "fleet.settings"}
    environment.pop("FLEET_EMAIL_URL", None)
    code = (
        "import os; os.umask(0o022); from django.core.mail import send_mail; send_mail('s', 'b', None, ['a@b.example'])"
    )
    sent = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True)
    assert (sent.returncode, sent.stdout, sent.stderr) == (0, "", "")
    assert (tmp_path / "mail").stat().st_mode & 0o077 == 0
    assert ["a@b.example" in each.read_text() for each in (tmp_path / "mail").iterdir()] == [True]


def test_over_https_the_session_cookie_is_bound_to_the_host(tmp_path: Path) -> None:
    """RFC 6265bis, section 4.1.3: `__Host-` makes a browser ask for Secure, path / and no Domain."""
    environment = os.environ | SERVED | {"FLEET_VAR_DIR": str(tmp_path)}
    code = (
        "from fleet import settings as s;"
        "print(s.SESSION_COOKIE_NAME, s.SESSION_COOKIE_SECURE, s.CSRF_COOKIE_SECURE,"
        " getattr(s, 'SESSION_COOKIE_DOMAIN', None), getattr(s, 'SESSION_COOKIE_PATH', '/'))"
    )
    said = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True)
    assert said.stdout.split() == ["__Host-session", "True", "True", "None", "/"], said.stderr
