"""Every address of the service."""

from django.urls import include, path, re_path

from api.errors import unknown_path
from fleet.web import accounts

urlpatterns = [
    path("log-in/", accounts.LogIn.as_view(), name="log-in"),
    path("log-out/", accounts.LogOut.as_view(), name="log-out"),
    path("gas-smell/", accounts.gas_smell, name="gas-smell"),
    path("api/v1/", include("api.urls")),
    re_path(r"^api/", unknown_path, name="api-unknown"),
]
