"""Photos and documents of visits and of attempts at one, as a viewer may see them, and their bytes."""

from django.db.models import Q, QuerySet

from fleet.evidence import sha256_hex
from fleet.models import StoredFile, User
from fleet.queries.access import visible_clients


def visible_files(viewer: User) -> QuerySet[StoredFile]:
    clients = visible_clients(viewer)
    of_visits = Q(visit__appliance__building__client__in=clients)
    mine = StoredFile.objects.filter(of_visits | Q(no_access__appliance__building__client__in=clients))
    return mine.select_related("uploaded_by")


def bytes_of(file: StoredFile) -> bytes:
    """The bytes as stored. Raises OSError where they are gone, ValueError where they aren't those that were stored."""
    data = file.path.read_bytes()
    if sha256_hex(data) != file.sha256:
        raise ValueError(f"the bytes of file {file.id} don't match its hash")
    return data
