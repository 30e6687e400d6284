"""The page's server: plain HTTP on the standard library, a thread for each connection, every wait and size limited.

A request passes these checks, in this order: the limit of connections (`room.py`), the rate, the Host, the kind of
request, the device's token and, for everything but reading, the Origin. No GET changes anything. An unpaired client
learns only that a code is needed: the two documents are the same for everyone and contain nothing of a session.

The token comes in a header, as in RFC 6750, and never in a cookie: a browser sends a host's cookies to all of its
ports, whatever program serves there.
"""

from __future__ import annotations

import json
import queue
import socket
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from assistant.errors import CouldNotRun, KerfcallError
from assistant.plans.intents import Intent
from assistant.screens.page import document
from assistant.screens.page.devices import Devices, PairedDevice
from assistant.screens.page.doing import RequestRefused
from assistant.screens.page.gate import Rates, is_at_home, is_own_host, is_own_origin, own_names
from assistant.screens.page.history import History
from assistant.screens.page.hub import Hub
from assistant.screens.page.pairing import PairingCode, Try
from assistant.screens.page.room import Connections

PORT = 8437
IDLE_S = 10.0  # without it a silent connection would keep its thread for ever
TICK_S = 1.0  # a device that has vanished is noticed at the next write
MOVING_TICK_S = 0.25  # the same while a driven carriage moves: a tick says where it is
CLEAR_S = 0.25  # how often late connections and revoked devices are looked for
MOST_BODY = 2048
REQUESTS = (40.0, 200.0)  # from one address: per second, and at once
DOINGS = (2.0, 8.0)  # from one device
PAIRINGS = (0.5, 10.0)  # from one address


@dataclass(frozen=True)
class Parts:
    """What the server serves.

    do: posts to the session what a paired page asks for, or raises RequestRefused. drawing: the plan's sheets as SVG,
    None if there are none. paired: called with each new device. tried: called with the address that a code came from,
    and the result.
    """

    hub: Hub
    devices: Devices
    codes: PairingCode
    history: History
    do: Callable[[Any], None]
    drawing: Callable[[], bytes | None]
    paired: Callable[[PairedDevice], None]
    tried: Callable[[str, Try], None]


class PageServer(ThreadingHTTPServer):
    """Serves until `close`. Raises CouldNotRun if it can't use the port."""

    daemon_threads = True
    # Otherwise `server_close` would wait for the connections, which `close` ends only after it.
    block_on_close = False
    allow_reuse_address = sys.platform != "win32"  # on Windows it would let two programs share the port
    request_queue_size = 64

    def __init__(self, parts: Parts, lan: str | None = None, port: int = PORT):
        """Listens at once.

        lan: this machine's address on the home network, "" for all its addresses, None to accept this machine only.
        port: 0 for any.
        """
        self.parts, self.lan = parts, lan
        self.names = own_names(lan is not None)
        self.requests, self.doings, self.pairings = Rates(*REQUESTS), Rates(*DOINGS), Rates(*PAIRINGS)
        self.room = Connections()
        self._cleared = 0.0
        self.closing = False
        try:
            super().__init__(("127.0.0.1" if lan is None else lan, port), Handler)
        except (OSError, OverflowError) as error:
            raise CouldNotRun(f"the page can't use port {port} ({error}); choose another with --port N") from error
        self.port = int(self.server_address[1])
        self._thread = threading.Thread(target=self.serve_forever, args=(CLEAR_S,), name="page server", daemon=True)
        self._thread.start()

    def server_bind(self) -> None:
        """Like the base class, but without asking the name server for our own name."""
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, int(self.allow_reuse_address))
        self.socket.bind(self.server_address)
        self.server_address = self.socket.getsockname()
        self.server_name, self.server_port = "kerfcall", self.server_address[1]

    def verify_request(self, request: Any, client_address: Any) -> bool:
        return is_at_home(str(client_address[0]))

    def process_request(self, request: Any, client_address: Any) -> None:
        if self.room.enter(request, str(client_address[0])):
            super().process_request(request, client_address)
        else:
            self.shutdown_request(request)

    def shutdown_request(self, request: Any) -> None:
        self.room.remove(request)
        super().shutdown_request(request)

    def service_actions(self) -> None:
        """The base class calls this between two connections, and while none comes."""
        now = time.monotonic()
        if now - self._cleared >= CLEAR_S:
            self._cleared = now
            self.clear()

    def clear(self) -> None:
        self.room.clear(self.parts.devices.holds)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Print nothing: the browser sees that its connection broke, and the terminal belongs to the session."""

    @property
    def connections(self) -> int:
        return len(self.room)

    def close(self) -> None:
        """Stop listening, and end every connection. Safe to repeat."""
        if self.closing:
            return
        self.closing = True
        self.shutdown()
        self.server_close()
        self._thread.join(2.0)
        self.room.close()


class Handler(BaseHTTPRequestHandler):
    """One connection."""

    server: PageServer
    protocol_version = "HTTP/1.1"
    timeout = IDLE_S
    disable_nagle_algorithm = True

    def do_GET(self) -> None:
        self._serve(_GETS)

    def do_POST(self) -> None:
        self._serve(_POSTS)

    def log_message(self, format: str, *args: Any) -> None:
        """Log nothing: a log would contain what was asked for, and the terminal belongs to the session."""

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """Answer the base class's own refusals (malformed, too long) without naming the server."""
        self.close_connection = True
        self.answer(int(code))

    # The gate

    def _serve(self, routes: dict[str, tuple[bool, Callable[[Handler], None]]]) -> None:
        self.device: PairedDevice | None = None
        self._body_read = False
        try:
            status = self._refusal(routes)
            place = self.server.room.begin_answer(self.request, self.device)
            if place is None:
                self.close_connection = True
            elif self.device is not None and place.device is None:
                raise RequestRefused(503, "Too many pages are open.")
            elif status:
                self.answer(status)
            elif self.path in routes:
                routes[self.path][1](self)
            else:
                self.session()
        except RequestRefused as refusal:
            self.answer(refusal.status, {"error": str(refusal)})
        except (BrokenPipeError, ConnectionError, TimeoutError):
            self.close_connection = True
        except KerfcallError as error:
            self.answer(503, {"error": str(error)})
        finally:
            self.server.room.await_request(self.request)

    def _refusal(self, routes: dict[str, tuple[bool, Callable[[Handler], None]]]) -> int:
        """The status that refuses this request, 0 if it is allowed. Sets `device`."""
        server, headers = self.server, self.headers
        if not server.requests.allow(self.client_address[0]):
            return 429
        hosts = headers.get_all("Host") or []
        if not is_own_host(hosts, server.names, str(self.connection.getsockname()[0]), server.port):
            return 421
        for_all = routes.get(self.path, (False,))[0]
        sent = headers.get_all("Authorization") or []
        scheme, _, token = sent[0].strip().partition(" ") if len(sent) == 1 else ("", "", "")
        if scheme.lower() == "bearer" and token:
            self.device = server.parts.devices.of_token(token.strip())
        if self.device is None and not for_all:
            return 401
        if self.path not in routes and not (self.command == "GET" and _history_id(self.path)):
            return 405 if self.path in _GETS or self.path in _POSTS else 404
        if self.command == "POST" and not is_own_origin(headers.get_all("Origin") or [], hosts[0]):
            return 403
        # Where the browser says the request comes from; older browsers don't say, and are judged by the rest.
        if headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none") and self.path not in _DOCUMENTS:
            return 403
        return 0

    def _json(self) -> Any:
        """The request's body. Raises RequestRefused."""
        lengths = self.headers.get_all("Content-Length") or []
        if self.headers.get("Transfer-Encoding") or len(lengths) != 1:
            raise RequestRefused(411, "The request must state its length.")
        if not lengths[0].isascii() or not lengths[0].isdigit():
            raise RequestRefused(400, "The request is incomplete.")
        # Its length first, since `int` raises for thousands of digits.
        if len(lengths[0]) > 9 or int(lengths[0]) > MOST_BODY:
            raise RequestRefused(413, f"A request has at most {MOST_BODY} bytes.")
        if self.headers.get_content_type() != "application/json":
            raise RequestRefused(415, "The request must be JSON.")
        body = self.rfile.read(int(lengths[0]))
        self._body_read = True
        try:
            return json.loads(body)
        except (ValueError, RecursionError) as error:
            raise RequestRefused(400, "The request is not valid JSON.") from error

    # Answers

    def answer(self, status: int, body: Any = None) -> None:
        data = b"" if body is None else json.dumps(body, ensure_ascii=False).encode()
        self.send(status, data, "application/json; charset=utf-8")

    def send(self, status: int, data: bytes, kind: str, policy: str = document.NOTHING) -> None:
        """Send a whole answer. An unread body ends the connection, or it would be read as the next request."""
        headers = getattr(self, "headers", None)  # missing if the request could not be read
        has_body = headers is not None and (headers.get("Content-Length", "0") != "0" or "Transfer-Encoding" in headers)
        unread = headers is None or (has_body and not getattr(self, "_body_read", False))
        self.close_connection = self.close_connection or unread or self.server.closing
        self._head(status, kind, policy)
        if status == 401:
            self.send_header("WWW-Authenticate", "Bearer")
        if status != 204:
            self.send_header("Content-Length", str(len(data)))
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        if getattr(self, "command", "") != "HEAD" and status != 204:
            self.wfile.write(data)

    def _head(self, status: int, kind: str, policy: str) -> None:
        # The base class sends no headers in answer to what it took for HTTP/0.9.
        self.request_version = "HTTP/1.1"
        self.send_response_only(status)
        for name, value in (
            ("Content-Type", kind),
            ("Content-Security-Policy", policy),
            ("Cache-Control", "no-store"),
            ("Referrer-Policy", "no-referrer"),
            ("X-Content-Type-Options", "nosniff"),
            ("X-Frame-Options", "DENY"),
            ("Cross-Origin-Resource-Policy", "same-origin"),
            ("Permissions-Policy", "camera=(), microphone=(), geolocation=()"),
        ):
            self.send_header(name, value)

    # What is served

    def root(self) -> None:
        self._document(document.door())

    def bench(self) -> None:
        """No token is needed: a browser that opens an address can't send it. The page sends it with each request."""
        self._document(document.page())

    def _document(self, served: document.WebDocument) -> None:
        self.send(200, served.html, "text/html; charset=utf-8", served.policy)

    def paired(self) -> None:
        """Answer whether the request's token belongs to a paired device."""
        self.answer(200, {"paired": self.device is not None})

    def pair(self) -> None:
        if not self.server.pairings.allow(self.client_address[0]):
            raise RequestRefused(429, "Too many tries. Wait a little.")
        body = self._json()
        if not isinstance(body, dict) or not all(isinstance(body.get(key), str) for key in ("code", "name")):
            raise RequestRefused(400, "Give a code and a name.")
        tried = self.server.parts.codes.take("".join(body["code"].split()), self.client_address[0])
        self.server.parts.tried(self.client_address[0], tried)
        if not tried.right:
            left = tried.left
            tries = (
                f"{left} tries left." if left > 1 else "One try left." if left else "Ask for a new code at the bench."
            )
            raise RequestRefused(403, f"That is not the code, or it has expired. {tries}")
        device, token = self.server.parts.devices.pair(body["name"])
        self.server.parts.paired(device)
        self.answer(200, {"token": token})

    def leave(self) -> None:
        if self.device is not None:
            self.server.room.forget_device(self.request)
            self.server.parts.devices.revoke(self.device.id)
            self.server.clear()
        self.answer(204)

    def do(self) -> None:
        device, body = self._device, self._json()
        # Whoever drums on the page while the carriage moves must still halt it.
        halts = self.server.parts.hub.moving and isinstance(body, dict) and body.get("do") == Intent.HALT
        if not halts and not self.server.doings.allow(device.id):
            raise RequestRefused(429, "Too many requests. Wait a little.")
        self.server.parts.do(body)
        self.answer(202, {})

    def drawing(self) -> None:
        svg = self.server.parts.drawing()
        if svg is None:
            raise RequestRefused(404, "The plan file was not found, so there is no drawing of it.")
        # The drawing needs no more than its own attributes, so the strictest policy will do.
        self.send(200, svg, "image/svg+xml; charset=utf-8")

    def sessions(self) -> None:
        self.answer(200, self.server.parts.history.sessions())

    def session(self) -> None:
        found = self.server.parts.history.one(_history_id(self.path) or "")
        if found is None:
            raise RequestRefused(404, "There is no such session.")
        self.answer(200, found)

    @property
    def _device(self) -> PairedDevice:
        if self.device is None:
            raise RequestRefused(401, "Pair this device first.")
        return self.device

    def stream(self) -> None:
        """Send the whole state, then each change as it comes, and a tick after every `TICK_S` without one.

        Before each message it checks that the device is still paired, so that nothing goes out once it is revoked.
        """
        device, hub, devices = self._device, self.server.parts.hub, self.server.parts.devices
        stream = hub.open(device.id)
        if stream is None:
            raise RequestRefused(503, "Too many pages are open.")
        self.close_connection = True
        try:
            with suppress(CouldNotRun):
                devices.seen(device)
            self._head(200, "text/event-stream; charset=utf-8", document.NOTHING)
            self.send_header("Connection", "close")
            self.end_headers()
            self.server.room.attach_stream(self.request, stream)
            while not stream.closed and hub.alive:
                try:
                    message = stream.queue.get(timeout=MOVING_TICK_S if hub.moving else TICK_S)
                except queue.Empty:
                    message = hub.tick()
                if message is None or not devices.holds(device):
                    return
                self.wfile.write(message)
        finally:
            hub.shut(stream)


def _history_id(path: str) -> str | None:
    """The id in "/session/2026-11-25-1", None for any other path."""
    begin, _, id = path.rpartition("/")
    return id if begin == "/session" and 0 < len(id) <= 24 and set(id) <= set("0123456789-") else None


_GETS: dict[str, tuple[bool, Callable[[Handler], None]]] = {
    "/": (True, Handler.root),
    "/bench": (True, Handler.bench),
    "/paired": (True, Handler.paired),
    "/sessions": (False, Handler.sessions),
    "/drawing.svg": (False, Handler.drawing),
}
_DOCUMENTS = ("/", "/bench")  # a link on another site can lead to them
_POSTS: dict[str, tuple[bool, Callable[[Handler], None]]] = {
    "/pair": (True, Handler.pair),
    "/stream": (False, Handler.stream),
    "/do": (False, Handler.do),
    "/leave": (False, Handler.leave),
}
