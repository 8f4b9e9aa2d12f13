"""Versions at the door: ETag out, If-Match in (RFC 9110, 428 by RFC 6585), so that no change is lost unseen."""

import re

from rest_framework.request import Request

from api.errors import BadQuery, VersionMissing

_VERSION = re.compile(r'"([0-9]{1,9})"|([0-9]{1,9})')


def etag(version: int) -> str:
    return f'"{version}"'


def version_named(request: Request) -> int:
    """The version that the caller's change is based on. Raises VersionMissing, BadQuery."""
    given = request.headers.get("If-Match")
    if given is None:
        raise VersionMissing
    match = _VERSION.fullmatch(given.strip())
    if match is None:
        raise BadQuery(**{"If-Match": f'is {given[:40]!r}; it must be one version such as "3"'})
    return int(match[1] or match[2])
