"""Clients: they own buildings and are the boundary of access."""

from typing import Any

from api.doors import EntryDoor, EntryListDoor
from api.filters import EXTERNAL_REFERENCE
from api.shapes import EntryIn, EntryOut
from fleet import clock
from fleet.intake import register
from fleet.models import Client
from fleet.queries.access import visible_clients
from fleet.services.register import add_client


class ClientIn(EntryIn, register.ClientIn):
    pass


class ClientOut(EntryOut):
    """Whom to ask for is for those who go there: an auditor sees names and addresses."""

    row, columns, told_by = Client, "name address contact", ClientIn


class Clients(EntryListDoor):
    """Clients that you may see."""

    subject, query, shape_in, shape_out = "clients", visible_clients, ClientIn, ClientOut
    filters = (EXTERNAL_REFERENCE,)

    def create(self, values: dict[str, Any]) -> Client:
        return add_client(values=values, actor=self.viewer, now=clock.now())


class OneClient(EntryDoor):
    """One client."""

    subject, query, shape_in, shape_out = "clients", visible_clients, ClientIn, ClientOut
