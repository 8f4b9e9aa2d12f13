"""Clients own buildings and are the boundary of access."""

from django.db import models

from fleet.models.register import RegisterEntry


class Client(RegisterEntry):
    name = models.CharField(max_length=200)
    address = models.CharField(max_length=300, blank=True)
    contact = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["name", "id"]
