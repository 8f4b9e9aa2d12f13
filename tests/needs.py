"""What a test needs beside Python: skipped with a plain reason where it is missing, or failed if all is required."""

import os
import shutil

import pytest

from tests.servers import postgresql_programs


def needs_program(name: str) -> None:
    """Skip where the program isn't installed; with FLEET_REQUIRE_ALL=1 fail."""
    present = postgresql_programs() is not None if name == "postgres" else shutil.which(name) is not None
    if present:
        return
    if os.environ.get("FLEET_REQUIRE_ALL") == "1":
        pytest.fail(f"{name} is required and not installed")
    pytest.skip(f"{name} is not installed")
