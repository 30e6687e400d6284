"""The page of one run: hub, server and codes put together, as `cut --page` and `kerfcall page` open it."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

from assistant.runner.contracts import Clock, Post
from assistant.screens.page.devices import Device, Devices
from assistant.screens.page.doing import Refused, event_of
from assistant.screens.page.gate import home_address
from assistant.screens.page.history import History
from assistant.screens.page.hub import Hub
from assistant.screens.page.pairing import LASTS_S, PairingCode, grouped
from assistant.screens.page.qr import picture
from assistant.screens.page.server import PORT, PageServer, Parts
from assistant.session.events import CodeAsked, Event, Gesture
from assistant.session.state import STANDING_BY

SAID_S = 40.0  # an open code with less time left than this is not worth saying
WITHIN_S = 8.0  # two double taps that belong together
PLAIN_HTTP = (
    "The page is plain HTTP, not encrypted: whoever can listen on this network can read it, and could act as a paired "
    "device. Use --lan only on a network that you trust."
)


class BenchPage:
    """An open page. `hub` is a screen and a watcher for the runner. Raises CouldNotRun when it can't be served."""

    def __init__(
        self,
        state_dir: Path,
        clock: Clock,
        note: Callable[[str], None],
        *,
        post: Post | None = None,
        session: str = "",
        drawing: Callable[[], bytes | None] = lambda: None,
        lan: bool = False,
        port: int = PORT,
    ):
        """note: prints for the operator at the terminal. post: of the session that is driven, None for none.

        session: its id. drawing: the plan's sheets as SVG; called in a server's thread. port: 0 for any.
        """
        self._clock, self._note, self._post = clock, note, post
        self.devices = Devices(state_dir, clock.utc)
        self.devices.all()  # a file that can't be read is told now
        self.codes = PairingCode()
        self.hub = Hub(session)
        parts = Parts(self.hub, self.devices, self.codes, History(state_dir), self._do, drawing, self._paired)
        try:
            self.server = PageServer(parts, lan, port)
        except BaseException:
            self.hub.close()
            raise

    @property
    def address(self) -> str:
        """Where a browser finds it."""
        host = home_address() if self.server.lan else "127.0.0.1"
        return f"http://{host}:{self.server.port}/"

    def invite(self, to_scan: bool = True) -> str:
        """A new pairing code, shown at the terminal; returns it. to_scan: on the home network also as a picture."""
        code = self.codes.begin()
        lines = [
            f"-- Bench page: {self.address}",
            f"   To pair a device: code {grouped(code)}, good for {LASTS_S / 60:.0f} minutes and one device.",
        ]
        if self.server.lan:
            lines += textwrap.wrap(PLAIN_HTTP, 76, initial_indent="   ", subsequent_indent="   ")
            lines += (
                filter(None, [picture(f"{self.address}#{code}")])
                if to_scan
                else ["   Key p: a new code, to be scanned."]
            )
        self._note("\n".join(lines))
        return code

    def asked_for_code(self, what: str) -> None:
        """From the terminal's keys: "show" a new code, or "say" the open one; also from the pedal."""
        if what == "show":
            self.invite()
        elif self._post is not None:
            code = self.codes.current(SAID_S) or self.invite()
            self._post(CodeAsked(self._clock.at(), self._clock.utc(), code))

    def watching(self, post: Post) -> Post:
        """`post` for pedal and keys: two double taps while standing by ask for the code to be said."""
        last = -WITHIN_S

        def watched(event: Event) -> None:
            nonlocal last
            post(event)
            if isinstance(event, Gesture) and event.gesture == "double" and self.hub.standing.mode == STANDING_BY:
                if event.at - last <= WITHIN_S:
                    self.asked_for_code("say")
                    last = -WITHIN_S
                else:
                    last = event.at

        return watched

    def close(self) -> None:
        """End every page's stream, then the server."""
        self.hub.close()
        self.server.close()

    def _paired(self, device: Device) -> None:
        self._note(
            f'-- Paired: device {device.id}, "{device.name}". It is taken out with: kerfcall page revoke {device.id}'
        )

    def _do(self, body: Any) -> None:
        if self._post is None:
            raise Refused(409, "No session is open here.")
        self._post(event_of(body, self.hub.standing, self._clock))
