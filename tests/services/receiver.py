"""A small receiver of webhooks on this machine, which keeps what it got and answers as it is told."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

Answer = Callable[[BaseHTTPRequestHandler], None]


@dataclass
class Got:
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    port: int
    got: list[Got] = field(default_factory=list)
    answer: Answer = lambda handler: plain(handler, 200)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/in"


def plain(handler: BaseHTTPRequestHandler, status: int, body: bytes = b"ok", **headers: str) -> None:
    handler.send_response(status)
    for name, value in headers.items():
        handler.send_header(name, value)
    handler.send_header("Content-Length", str(len(body)))
    handler.end_headers()
    handler.wfile.write(body)


@contextmanager
def receiving() -> Iterator[Receiver]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            length = int(self.headers["Content-Length"])
            receiver.got.append(Got(self.path, dict(self.headers), self.rfile.read(length)))
            with suppress(OSError):  # the other side may have gone, as it should
                receiver.answer(self)

        def log_message(self, *_given: object) -> None:
            pass

    class Server(ThreadingHTTPServer):
        daemon_threads = True
        address_family = socket.AF_INET

    server = Server(("127.0.0.1", 0), Handler)
    receiver = Receiver(server.server_address[1])
    serving = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    serving.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()
