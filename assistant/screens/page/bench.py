"""The page of one run: puts hub, server and codes together for `cut --page` and `kerfcall page`."""

from __future__ import annotations

import textwrap
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from assistant.runner.contracts import Clock, CodeWish, Post
from assistant.screens.page.devices import Devices, PairedDevice
from assistant.screens.page.doing import RequestRefused, event_of
from assistant.screens.page.gate import Rates, home_address
from assistant.screens.page.history import History
from assistant.screens.page.hub import Hub
from assistant.screens.page.pairing import LASTS_S, MOST_TRIES, PairingCode, Try, grouped
from assistant.screens.page.qr import picture
from assistant.screens.page.server import PORT, PageServer, Parts
from assistant.session.events import CodeAsked, Event, Gesture
from assistant.session.kinds import Press
from assistant.session.state import STANDING_BY

SAID_S = 40.0  # a code with less time left than this is not worth saying
WITHIN_S = 8.0  # two double taps that belong together
UNASKED = (0.1, 3.0)  # per second, and at once: how many tries while no code is open get a line
PLAIN_HTTP = (
    "The page is plain HTTP, not encrypted: anyone who can listen on this network can read it, and could act as a "
    "paired device. Use --lan only on a network that you trust."
)


class BenchPage:
    """An open page. `hub` is a screen and a watcher for the runner. Raises CouldNotRun when it can't be served."""

    def __init__(
        self,
        state_dir: Path,
        clock: Clock,
        note: Callable[[str], None],
        *,
        withdraw: Callable[[str], None] = lambda text: None,
        post: Post | None = None,
        session: str = "",
        drawing: Callable[[], bytes | None] = lambda: None,
        lan: str | None = None,
        port: int = PORT,
    ):
        """note: prints for the operator on the terminal. withdraw: removes a note, if that is possible.

        post: of the session that is driven, None for none. session: its id. drawing: the plan's sheets as SVG; called
        in a server's thread. lan, port: as of `PageServer`.
        """
        self._clock, self._note, self._withdraw, self._post = clock, note, withdraw, post
        # Re-entrant, since a code is taken back within it.
        self._invitation = threading.RLock()
        self._invited = ""  # as it was shown
        self._expiry: threading.Timer | None = None
        self._unasked = Rates(*UNASKED)
        self.devices = Devices(state_dir, clock.utc)
        self.devices.all()  # a file that can't be read is reported now
        self.codes = PairingCode()
        self.hub = Hub(session)
        history = History(state_dir)
        parts = Parts(self.hub, self.devices, self.codes, history, self._do, drawing, self._paired, self._tried)
        try:
            self.server = PageServer(parts, lan, port)
        except BaseException:
            self.hub.close()
            raise

    @property
    def address(self) -> str:
        """Where a browser finds the page."""
        lan = self.server.lan
        host = "127.0.0.1" if lan is None else lan or home_address()
        return f"http://{host}:{self.server.port}/"

    def invite(self, to_scan: bool = True) -> str:
        """A new pairing code, shown at the terminal; returns it. to_scan: on the home network also as a picture."""
        with self._invitation:
            self.codes.end(self.codes.current(0))
            self._take_back()
            code = self.codes.begin()
            lines = [
                f"-- Bench page: {self.address}",
                f"   To pair a device: code {grouped(code)}, good for {LASTS_S / 60:.0f} minutes and one device.",
            ]
            if self.server.lan is not None:
                lines += textwrap.wrap(PLAIN_HTTP, 76, initial_indent="   ", subsequent_indent="   ")
                lines += (
                    filter(None, [picture(f"{self.address}#{code}")])
                    if to_scan
                    else ["   Key p: a new code, to be scanned."]
                )
            self._invited = "\n".join(lines)
            self._note(self._invited)
            self._expiry = threading.Timer(self.codes.left_s(), self._ran_out, [code])
            self._expiry.name, self._expiry.daemon = "pairing code", True
            self._expiry.start()
        return code

    def _take_back(self) -> None:
        """Remove a code that opens nothing any more. A newer code stays."""
        with self._invitation:
            if self.codes.left_s():
                return
            if self._expiry is not None:
                self._expiry.cancel()
            if self._invited:
                self._withdraw(self._invited)
                self._invited = ""

    def _ran_out(self, code: str) -> None:
        with self._invitation:
            if self.codes.end(code):
                self._take_back()
                self._note("-- The pairing code has expired.")

    def asked_for_code(self, wish: CodeWish) -> None:
        """From the terminal's keys; also from the pedal."""
        if wish == CodeWish.SHOW:
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
            if isinstance(event, Gesture) and event.gesture == Press.DOUBLE and self.hub.standing.mode == STANDING_BY:
                if event.at - last <= WITHIN_S:
                    self.asked_for_code(CodeWish.SAY)
                    last = -WITHIN_S
                else:
                    last = event.at

        return watched

    def close(self) -> None:
        """End every page's stream, then the server, and any open code."""
        self.hub.close()
        self.server.close()
        self.codes.end(self.codes.current(0))
        self._take_back()

    def _tried(self, address: str, tried: Try) -> None:
        """Show other people's tries on the terminal only: only the operator makes Kerfcall speak beside a saw."""
        if tried.ended:
            self._take_back()
        if tried.right:
            return
        if tried.ended:
            self._note(f"!! A wrong pairing code from {address}, the {MOST_TRIES}th of all: this code is void.")
        elif tried.counted:
            left = {0: "no try", 1: "one try"}.get(tried.left, f"{tried.left} tries")
            self._note(f"!! A wrong pairing code from {address}; {left} left from there with this code.")
        elif self._unasked.allow(""):
            why = "no code is valid now, or that address has no tries left"
            self._note(f"!! A pairing code from {address} was not checked: {why}.")

    def _paired(self, device: PairedDevice) -> None:
        self._note(f'-- Paired: device {device.id}, "{device.name}". To remove it: kerfcall page revoke {device.id}')

    def _do(self, body: Any) -> None:
        if self._post is None:
            raise RequestRefused(409, "No session is open here.")
        self._post(event_of(body, self.hub.standing, self._clock))
