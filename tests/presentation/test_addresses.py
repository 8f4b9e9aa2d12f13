"""Addresses that are given to others."""

import pytest
from pytest_django.fixtures import Settings

from fleet.presentation.addresses import opens_here_alone


@pytest.mark.parametrize(
    ("address", "is_here"),
    [
        ("http://127.0.0.1:8080", True),
        ("http://127.9.9.9", True),
        ("http://localhost:8080", True),
        ("http://[::1]:8080", True),
        ("http://0.0.0.0:8080", True),
        ("http://192.0.2.7:8080", False),
        ("https://heating.example", False),
    ],
)
def test_what_means_this_machine_on_every_other_opens_here_alone(
    settings: Settings, address: str, is_here: bool
) -> None:
    settings.PUBLIC_ADDRESS = address
    assert opens_here_alone() is is_here
