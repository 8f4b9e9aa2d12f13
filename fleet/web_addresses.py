"""Addresses of other programs: which may be called, and one call that goes to the very address that was checked.

A name is resolved once; every address it stands for must be public, unless the host is on the manager's list; the
connection is made to the first of them, so that a name which means another address a moment later changes nothing.
Redirects are not followed, and time and size have ends.
"""

import http.client
import ipaddress
import queue
import socket
import ssl
import threading
import time
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import TypeVar
from urllib.parse import SplitResult, urlsplit

from fleet.coded import coded
from fleet.errors import FleetError

CONNECT_WITHIN_S = 5.0
ANSWER_WITHIN_S = 10.0
MOST_BYTES = 65_536
LONGEST_URL = 500

IP = ipaddress.IPv4Address | ipaddress.IPv6Address
Found = TypeVar("Found")
# RFC 4291: everything that may stand in the open internet begins here; mapped and NAT64 addresses don't.
_GLOBAL_UNICAST = ipaddress.IPv6Network("2000::/3")
# IETF protocol assignments and the relays of 6to4: parts of them pass for global.
_SPECIAL = (ipaddress.IPv4Network("192.0.0.0/24"), ipaddress.IPv4Network("192.88.99.0/24"))


class Unreachable(Exception):
    """Nothing was sent, or no answer came: why, coded."""

    def __init__(self, code: str, **figures: object) -> None:
        self.why = coded(code, **figures)
        super().__init__(*self.why)


@dataclass(frozen=True)
class Target:
    """A URL taken apart. path : with its query."""

    secure: bool
    host: str
    port: int
    path: str


@dataclass(frozen=True)
class Answer:
    """What came back. read_bytes : of the body, which is not kept."""

    status: int
    read_bytes: int
    took_ms: int


def read_target(url: str, allowed: Collection[str]) -> Target:
    """Raises FleetError `invalid` where nothing may ever be sent to this URL. allowed: hosts on the manager's list."""
    try:
        parts = urlsplit(url)
        host, port = (parts.hostname or "").rstrip("."), parts.port
    except ValueError as bad:
        raise _refused("url_unreadable") from bad
    if parts.scheme not in ("https", "http") or not host or len(url) > LONGEST_URL or not url.isascii():
        raise _refused("url_https", most=LONGEST_URL)
    if any(each.isspace() or not each.isprintable() for each in url):
        raise _refused("url_spaces")
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise _refused("url_user")
    if parts.scheme == "http" and host not in allowed:
        raise _refused("url_plain")
    _check_literal(host, allowed)
    return Target(parts.scheme == "https", host, port or (443 if parts.scheme == "https" else 80), _path(parts))


def _refused(code: str, **figures: object) -> FleetError:
    return FleetError("invalid", "The address can't be accepted.", errors={"url": coded(code, **figures)})


def _path(parts: SplitResult) -> str:
    return (parts.path or "/") + (f"?{parts.query}" if parts.query else "")


def _check_literal(host: str, allowed: Collection[str]) -> None:
    """An address written out is checked at once; a name is when it is called."""
    try:
        literal = ipaddress.ip_address(host)
    except ValueError:
        return
    if host not in allowed and not is_public(literal):
        raise _refused("url_private", host=host)


def is_public(address: IP) -> bool:
    """In the open internet: not private, loopback, link-local, shared (RFC 6598), unique local, multicast, reserved.

    An IPv6 address that carries an IPv4 one inside (mapped, 6to4, Teredo, NAT64) is refused whatever is inside.
    """
    if isinstance(address, ipaddress.IPv6Address):
        carries = address.sixtofour is not None or address.teredo is not None
        return address in _GLOBAL_UNICAST and address.is_global and not carries
    special = address.is_private or address.is_multicast or address.is_reserved
    return address.is_global and not special and not any(address in each for each in _SPECIAL)


def resolve(host: str, port: int) -> list[str]:
    """Every address that the name stands for now."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(each[4][0]) for each in found))


def checked_address(target: Target, allowed: Collection[str]) -> str:
    """The address to connect to. Raises Unreachable where the name stands for nothing, or for anything private."""
    try:
        found = _within(CONNECT_WITHIN_S, lambda: resolve(target.host, target.port))
    except (OSError, UnicodeError) as bad:
        raise Unreachable("not_resolved", host=target.host) from bad
    if not found:
        raise Unreachable("no_address", host=target.host)
    private = [each for each in found if not is_public(ipaddress.ip_address(each))]
    if private and target.host not in allowed:
        raise Unreachable("not_public", host=target.host, address=private[0])
    return found[0]


def _within(seconds: float, work: Callable[[], Found]) -> Found:
    """What `work` gives, if it does in time: looking up a name knows no time limit of its own."""
    given: queue.Queue[Found | Exception] = queue.Queue()

    def run() -> None:
        try:
            given.put(work())
        except Exception as bad:
            given.put(bad)

    threading.Thread(target=run, daemon=True).start()
    try:
        found = given.get(timeout=seconds)
    except queue.Empty as bad:
        raise OSError("no answer in time") from bad
    if isinstance(found, Exception):
        raise found
    return found


def post(target: Target, address: str, *, headers: Mapping[str, str], body: bytes) -> Answer:
    """Send `body` to this target at this address. Raises Unreachable; any status is an answer, a redirect too."""
    began = time.monotonic()
    connection = _Pinned(target, address)
    # What trickles in slowly ends too: the socket is shut under whoever still reads from it.
    ends = threading.Timer(ANSWER_WITHIN_S, connection.cut)
    ends.daemon = True
    ends.start()
    try:
        connection.request("POST", target.path, body=body, headers=dict(headers))
        answer = connection.getresponse()
        read = len(answer.read(MOST_BYTES))
    except TimeoutError as bad:
        raise Unreachable("no_answer", seconds=CONNECT_WITHIN_S) from bad
    except (OSError, http.client.HTTPException, ValueError) as bad:
        # Where the socket was shut, whatever the reader made of it.
        raise _why(connection, bad) from bad
    finally:
        ends.cancel()
        connection.close()
    if connection.was_cut:
        raise _why(connection, None)
    return Answer(answer.status, read, int(1000 * (time.monotonic() - began)))


def _why(connection: "_Pinned", bad: Exception | None) -> Unreachable:
    if connection.was_cut:
        return Unreachable("no_whole_answer", seconds=ANSWER_WITHIN_S)
    if isinstance(bad, ssl.SSLCertVerificationError):
        return Unreachable("not_trusted", said=bad.verify_message)
    return Unreachable("broken_off", error=type(bad).__name__, said=str(bad)[:200])


class _Pinned(http.client.HTTPConnection):
    """A connection to one address, whatever the name means by now; TLS is held against the name."""

    def __init__(self, target: Target, address: str) -> None:
        super().__init__(target.host, target.port, timeout=CONNECT_WITHIN_S)
        self.target, self.address, self.was_cut = target, address, False
        if target.secure:
            self.default_port = 443

    def connect(self) -> None:
        self.sock = socket.create_connection((self.address, self.target.port), timeout=CONNECT_WITHIN_S)
        if self.target.secure:
            # Known before the handshake, so that one which trickles in is cut off too.
            context, name = ssl.create_default_context(), self.target.host
            self.sock = context.wrap_socket(self.sock, server_hostname=name, do_handshake_on_connect=False)
            self.sock.do_handshake()

    def cut(self) -> None:
        self.was_cut = True
        if self.sock is not None:
            try:
                # The plain socket's own: TLS would first want to say goodbye.
                socket.socket.shutdown(self.sock, socket.SHUT_RDWR)
            except OSError:
                self.was_cut = True
