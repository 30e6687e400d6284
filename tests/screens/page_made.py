"""A bench page over a real session, without loudspeaker, for the page's tests and bench."""

from __future__ import annotations

import http.client
import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from assistant.journal.store import Journal
from assistant.plans.model import Job, PageSettings
from assistant.runner.clock import LiveClock
from assistant.runner.loop import Outputs, Runner
from assistant.screens.page.bench import BenchPage
from assistant.session.events import Event, Gesture, Start
from assistant.speaking.speaker import SilentSpeaker
from tests.runner.adapters import drain
from tests.session.jobs import few_checks, job, plan, with_pass_time


def made_job(may_record_cuts: bool = False, width: int = 84, run_down_s: float = 0.0, **kinds: Any) -> Job:
    """By default nothing takes time: no pass, and no blade running down."""
    made = with_pass_time(job(plan(width=width, **kinds), few_checks()), 0.0)
    return replace(made, page=PageSettings(may_record_cuts), run_down_s=run_down_s)


@dataclass
class Made:
    """A session, its journal and its page. `turn` handles an event like the session's thread."""

    folder: Path
    journal: Journal
    runner: Runner
    clock: LiveClock
    page: BenchPage
    session: str
    notes: list[str] = field(default_factory=list)
    """What the operator sees: every note that was not withdrawn."""

    @property
    def port(self) -> int:
        return self.page.server.port

    def turn(self, event: Event) -> None:
        self.runner.handle(event)
        drain(self.runner)

    def gesture(self, kind: str) -> None:
        at = self.clock.at()
        self.turn(Gesture(at, self.clock.utc(), kind, at))

    def to_first_pass(self) -> None:
        """Confirm every check that is asked, also at the end of a setup."""
        while self.runner.state.mode == "checks":
            self.gesture("hold")

    def pair(self, name: str = "tablet") -> str:
        """A paired device's token."""
        return self.page.devices.pair(name)[1]


@contextmanager
def made(
    folder: Path, a_job: Job | None = None, *, lan: str | None = None, port: int = 0, drawing: bytes | None = None
) -> Iterator[Made]:
    """A session at its first check, with its page open."""
    clock = LiveClock()
    with Journal.open(folder) as journal:
        session = journal.new_session("Small tray", "", "", clock.utc())
        outputs = Outputs()
        runner = Runner(lambda records: journal.append(session, records), outputs, clock)
        outputs.speaker = SilentSpeaker(clock, runner.post)
        notes: list[str] = []
        page = BenchPage(
            folder,
            clock,
            notes.append,
            withdraw=notes.remove,
            post=runner.post,
            session=session,
            drawing=lambda: drawing,
            lan=lan,
            port=port,
        )
        try:
            outputs.screens.append(page.hub)
            outputs.watchers.append(page.hub)
            one = Made(folder, journal, runner, clock, page, session, notes)
            one.turn(Start(clock.at(), clock.utc(), a_job or made_job()))
            yield one
        finally:
            page.close()


WATCH = """() => {
  window.seenAt = {};
  const note = () => {
    const pass = parseInt(document.getElementById("pass").textContent.split(" ")[1]);
    if (pass) window.seenAt[pass] ??= Date.now();
  };
  const all = { subtree: true, childList: true, characterData: true };
  new MutationObserver(note).observe(document.getElementById("now"), all);
}"""
"""For a browser: notes when (ms since 1970) each pass was first on the page, in `window.seenAt`."""


def delays(sent: dict[int, float], seen: dict[int, float]) -> list[float]:
    """How long after its call (sent) each pass or a later one was seen: the page shows changes together."""
    return [min(at for number, at in seen.items() if number >= called) - begun for called, begun in sent.items()]


@dataclass
class Answer:
    status: int
    headers: http.client.HTTPMessage
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


def bearer(token: str) -> dict[str, str]:
    """The header that the page sends it in, as RFC 6750 section 2.1 has it."""
    return {"Authorization": f"Bearer {token}"}


def ask(
    port: int,
    method: str,
    path: str,
    *,
    token: str = "",
    body: Any = None,
    host: str = "",
    origin: str | None = "",
    headers: dict[str, str] | None = None,
    at: str = "127.0.0.1",
    source: str = "127.0.0.1",
) -> Answer:
    """One request as a browser on this machine sends it, to and from these addresses of the machine's own.

    host, origin: "" for the right ones, None for no Origin.
    """
    own = host or f"{at}:{port}"
    sent = {"Host": own}
    if method == "POST" and origin is not None:
        sent["Origin"] = origin or f"http://{at}:{port}"
    if token:
        sent |= bearer(token)
    data = None
    if body is not None:
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        sent["Content-Type"] = "application/json"
    elif method == "POST":
        data = b""
    connection = http.client.HTTPConnection(at, port, timeout=10, source_address=(source, 0))
    try:
        connection.request(method, path, data, sent | (headers or {}))
        answer = connection.getresponse()
        return Answer(answer.status, answer.headers, answer.read())
    finally:
        connection.close()


class Pages:
    """A stream read like a page reads it, on a separate thread: (kind, body) in order."""

    def __init__(self, port: int, token: str):
        self.messages: list[tuple[str, Any]] = []
        self.on_message: Callable[[Any], object] = lambda body: None
        self.status = 0
        self._new = threading.Condition()
        self.ended = threading.Event()
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        headers = {"Origin": f"http://127.0.0.1:{port}", **bearer(token)}
        self._connection.request("POST", "/stream", b"", headers)
        self._answer = self._connection.getresponse()
        self.status = self._answer.status
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        kind = ""
        try:
            while line := self._answer.readline():
                if line.startswith(b"event: "):
                    kind = line[7:].strip().decode()
                elif line.startswith(b"data: "):
                    body = json.loads(line[6:])
                    self.on_message(body)
                    with self._new:
                        self.messages.append((kind, body))
                        self._new.notify_all()
        except (OSError, ValueError, http.client.HTTPException):
            pass  # the server went away, as in the tests that take it away
        finally:
            self.ended.set()

    def wait(self, holds: Any, timeout_s: float = 20.0) -> Any:
        """The first body for which `holds(kind, body)`."""
        with self._new:
            found: list[Any] = []

            def there() -> bool:
                found[:] = [body for kind, body in self.messages if holds(kind, body)][:1]
                return bool(found)

            assert self._new.wait_for(there, timeout_s), self.messages[-3:]
            return found[0]

    def close(self) -> None:
        self._answer.close()
        self._connection.close()
        self._thread.join(3.0)
