"""An installation of one's own: asked for on an empty database, refused in words, never asked for twice."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

from tests import servers

ANSWERS = "Own Heating\n000, 111\nboss\nBo Boss\n{password}\n"


def set_up(folder: Path, answers: str) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"FLEET_VAR_DIR": str(folder)}
    return subprocess.run(
        [sys.executable, "manage.py", "set_up"],
        cwd=servers.REPOSITORY, env=environment, input=answers, capture_output=True, text=True, timeout=120,
        check=False, start_new_session=True,
    )  # fmt: skip


def users(folder: Path) -> list[str]:
    with sqlite3.connect(folder / "fleet.sqlite3") as connection:
        rows = connection.execute("SELECT username, role FROM fleet_user ORDER BY username").fetchall()
    return [" ".join(each) for each in rows]


def test_an_empty_database_asks_for_the_contractor_and_the_first_manager(tmp_path: Path) -> None:
    weak = set_up(tmp_path, ANSWERS.format(password="short"))
    assert weak.returncode != 0
    assert "password" in weak.stderr
    assert users(tmp_path) == []
    good = set_up(tmp_path, ANSWERS.format(password="a-long-enough-secret"))
    assert good.returncode == 0, good.stderr[-2000:]
    assert users(tmp_path) == ["boss manager", "installation manager"]
    again = set_up(tmp_path, "")
    assert again.returncode == 0, again.stderr[-2000:]


def test_a_database_of_an_earlier_line_of_migrations_is_refused_with_what_to_do(tmp_path: Path) -> None:
    assert set_up(tmp_path, ANSWERS.format(password="a-long-enough-secret")).returncode == 0
    database = tmp_path / "fleet.sqlite3"
    with sqlite3.connect(database) as connection:
        connection.execute("UPDATE django_migrations SET name = '0001_former' WHERE app = 'fleet'")
    before = users(tmp_path)
    refused = set_up(tmp_path, "")
    assert refused.returncode != 0
    assert "0001_former" in refused.stderr
    assert "FLEET_VAR_DIR" in refused.stderr
    assert users(tmp_path) == before
