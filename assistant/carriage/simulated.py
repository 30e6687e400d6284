"""A simulated motion controller and its carriage, for demos and tests: bytes in, bytes out, time as an argument.

It follows what grbl 1.1 publishes of itself (doc/markdown: interface.md, commands.md, jogging.md, settings.md) and what
the firmware was seen to do; where the two differ, this is wrong. Only what a driven carriage uses is here: jogs,
homing, reports, settings, holds, resets and alarms of one axis, and everything that can go wrong with them.
"""

from __future__ import annotations

import math
import re
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from assistant.carriage.dialect import ControllerState as State
from assistant.carriage.simulated_screw import Screw

SLICE_S = 0.005
"""How finely the simulation goes on, s: at 600 mm/min a twentieth of a millimetre."""
SLOWEST = 60.0
"""Steps a second with which a move begins and ends."""
TAKES_AFTER_S = 0.001
"""Between the end of a line and when it takes it, s: a byte that comes meanwhile acts first."""
SLOWS_AFTER_S = 0.05
"""Steps already prepared go out at full speed after a halt, s."""
ALARM_S = 0.5
"""After it has said an alarm it waits, hearing nothing, s (report.c)."""
BUFFER = 128
"""Bytes of its serial buffer: one more is lost."""
PLANNED_MAX = 15
"""Moves planned ahead; the next line waits."""
STORING_S = 0.02
"""How long it is deaf while it stores a setting, s."""
SEARCH, LOCATE = 1.5, 5.0
"""Homing searches this many times the travel, then this many times the way off the switch."""

DEFAULTS: Mapping[int, float] = {
    0: 10, 1: 255, 2: 0, 3: 0, 4: 0, 5: 0, 6: 0, 10: 1, 11: 0.01, 12: 0.002, 13: 0, 20: 1, 21: 0, 22: 1, 23: 1,
    24: 50.0, 25: 600.0, 26: 250, 27: 1.0, 30: 1000, 31: 0, 32: 0,
    100: 400.0, 101: 250.0, 102: 250.0, 110: 3000.0, 111: 500.0, 112: 500.0,
    120: 200.0, 121: 10.0, 122: 10.0, 130: 300.0, 131: 200.0, 132: 200.0,
}  # fmt: skip
"""As a controller is set up for a carriage with a screw of 400 steps a millimetre."""
WHOLE = frozenset((0, 1, 2, 3, 4, 5, 6, 10, 13, 20, 21, 22, 23, 26, 30, 31, 32))
_WORD = re.compile(r"([A-Z])(-?(?:\d+\.?\d*|\.\d+))")


@dataclass(slots=True)
class _JogBlock:
    to: int
    feed: float


class Simulated:
    """One controller with its carriage. `screw` is the truth; what the controller believes is in its reports.

    settings: by number, over `DEFAULTS`. options: the letters of its build; "+" makes its hold input a door input.
    stock: homes Z first, so that X never moves. boot_s: how long it is deaf after a start. starts_on_open: opening the
    line starts it.
    """

    def __init__(
        self,
        screw: Screw | None = None,
        settings: Mapping[int, float] | None = None,
        options: str = "V",
        stock: bool = False,
        boot_s: float = 1.0,
        starts_on_open: bool = True,
    ):
        self.screw = screw or Screw()
        self.settings = {**DEFAULTS, **(settings or {})}
        self.options, self.stock, self.boot_s, self.starts_on_open = options, stock, boot_s, starts_on_open
        self.blocks = ["", ""]
        self.stored = 0
        """How often a setting was stored; while it stores it hears nothing."""
        self.sent: list[str] = []
        """Every line that it took."""
        self.realtime: list[int] = []
        self.muted = self.powered_off = False
        self.dropping = 0
        """How many of the next bytes from the host are lost."""
        self.sled_away = False
        self._now = 0.0
        self._out = bytearray()
        self._start()
        self._deaf_until = 0.0
        self._greet_at: float | None = None

    # --- the outside

    def opened(self, at: float) -> bytes:
        """A program has opened the line."""
        self._advance(at)
        if self.starts_on_open:
            self._boot()
        return self._said()

    def take(self, data: bytes, at: float) -> bytes:
        """These bytes came; what it says."""
        self._advance(at)
        for byte in data:
            self._hear(byte)
        return self._said()

    def passed(self, at: float) -> bytes:
        """Time has passed; what it says."""
        self._advance(at)
        return self._said()

    def reset_button(self) -> None:
        """Its own reset button, or a brown-out: it starts again and has forgotten where it is."""
        self._boot()

    def power(self, on: bool) -> None:
        """Its supply. Off, it says and does nothing."""
        self.powered_off = not on
        if on:
            self._boot()
        else:
            self._start()

    def noise(self, data: bytes) -> None:
        """What the line makes of interference, towards the host."""
        self._out += data

    def sled(self, away: bool) -> None:
        """The switch at the clear input: open while the sled is drawn right back, closed while it is away."""
        edge = away and not self.sled_away
        self.sled_away = away
        if edge and not self.powered_off:
            self._hold_edge()

    @property
    def state(self) -> State:
        return self._state

    @property
    def place(self) -> float:
        """The machine coordinate that it believes in, mm."""
        return self._steps / self.settings[100]

    @property
    def moving(self) -> bool:
        return bool(self._speed or self._homing is not None or self._planned)

    # --- starting

    def _start(self) -> None:
        """As after its supply came on."""
        self._steps = 0
        self._state = State.ALARM if self.settings[22] else State.IDLE
        self._clear()

    def _clear(self) -> None:
        self._buffer = bytearray()
        self._planned: deque[_JogBlock] = deque()
        self._speed = self._fraction = 0.0
        self._cancelling = self._ajar = False
        self._slows_at = 0.0
        self._homing: list[tuple[bool, float, float]] | None = None
        """The steps left: whether to the switch, or off it; mm/s; at most how far, mm."""
        self._wanted = False
        self._storing_until = self._takes_at = 0.0
        self._answers_late = False
        self._other = 0.0
        self._reports = 0

    def _boot(self) -> None:
        self._start()
        self._deaf_until = self._now + self.boot_s
        self._greet_at = self._deaf_until

    def _greet(self) -> None:
        self._say("")
        self._say("Grbl 1.1h ['$' for help]")
        if self._state == State.ALARM:
            self._say("[MSG:'$H'|'$X' to unlock]")
        if self.sled_away and "+" in self.options and self._state != State.ALARM:
            self._state = State.DOOR

    def _say(self, line: str) -> None:
        if not self.muted and not self.powered_off:
            self._out += line.encode("latin-1") + b"\r\n"

    def _said(self) -> bytes:
        out, self._out = bytes(self._out), bytearray()
        return out

    # --- bytes

    def _hear(self, byte: int) -> None:
        if self.powered_off or self._now < self._deaf_until or self._now < self._storing_until:
            return
        if self.dropping:
            self.dropping -= 1
            return
        if byte in b"?!~\x18" or byte >= 0x80:
            self.realtime.append(byte)
            self._at_once(byte)
        elif len(self._buffer) < BUFFER:
            self._buffer.append(byte)
            if byte in b"\n\r":
                self._takes_at = self._now + TAKES_AFTER_S

    def _at_once(self, byte: int) -> None:
        if byte == 0x18:
            self._soft_reset()
        elif byte == 0x3F:
            self._wanted = True
            self._report_if_wanted()
        elif byte == 0x85:
            if self._state == State.JOG:
                self._cancel()
        elif byte in (0x21, 0x84):
            self._hold_edge(door=byte == 0x84)
        elif byte == 0x7E and (self._state == State.HOLD or self._state == State.DOOR and not self.sled_away):
            self._state = State.IDLE
            self._work()

    def _hold_edge(self, door: bool = False) -> None:
        door = door or "+" in self.options
        if self._homing is not None:
            if door:
                self._stop_with(7)
        elif self._state == State.JOG:
            self._cancel()
            self._ajar = door
        elif self._state == State.IDLE:
            self._state = State.DOOR if door else State.HOLD

    def _cancel(self) -> None:
        if not self._cancelling:
            self._cancelling, self._slows_at = True, self._now + SLOWS_AFTER_S

    def _soft_reset(self) -> None:
        if self._now < self._deaf_until:
            return
        alarm = 0
        if self._homing is not None or self._state == State.HOME:
            alarm = 6
        elif self._state == State.JOG:
            alarm = 3
        if alarm:
            self._stop_with(alarm)
            return
        if self._state in (State.HOLD, State.DOOR):
            self._state = State.IDLE
        self._clear()
        self._greet()

    def _stop_with(self, alarm: int) -> None:
        """Stop dead and lock; after a while in which it hears nothing it greets.

        As seen: before that comes an `ok`, for the line being worked on, which belongs to nothing any more.
        """
        self._say(f"ALARM:{alarm}")
        other = self._other
        self._clear()
        self._state, self._other, self._answers_late = State.ALARM, other, True
        self._deaf_until = self._greet_at = self._now + ALARM_S

    def _report_if_wanted(self) -> None:
        if not self._wanted or self._homing is not None:
            return
        self._wanted = False
        part = {State.HOLD: ":0", State.DOOR: f":{int(self.sled_away)}"}.get(self._state, "")
        pins = ("X" if self.screw.closed else "") + (("D" if "+" in self.options else "H") if self.sled_away else "")
        places = f"{self.place:.3f},0.000,{self._other:.3f}"
        fields = [f"{self._state}{part}", f"MPos:{places}", f"FS:{abs(self._speed) * 60:.0f},0"]
        if pins:
            fields.append(f"Pn:{pins}")
        self._reports += 1
        if self._reports % 30 == 1:
            fields.append("WCO:0.000,0.000,0.000")
        self._say(f"<{'|'.join(fields)}>")

    # --- lines

    def _work(self) -> None:
        """Take lines, unless something keeps it from that."""
        while True:
            held = self._state in (State.HOLD, State.DOOR) or self._cancelling or self._homing is not None
            if held or self._now < self._takes_at or self._now < self._deaf_until or self._now < self._storing_until:
                return
            if len(self._planned) >= PLANNED_MAX:
                return
            ends = [at for at in (self._buffer.find(b"\n"), self._buffer.find(b"\r")) if at >= 0]
            if not ends:
                return
            line = bytes(self._buffer[: min(ends)]).decode("latin-1")
            del self._buffer[: min(ends) + 1]
            self.sent.append(line)
            error = self._line(line.replace(" ", "").upper())
            if error is not None:
                self._say(f"error:{error}" if error else "ok")

    def _line(self, line: str) -> int | None:
        """Obey; the error's number, 0 for ok, None if the answer comes later."""
        if len(line) > 79:
            return 11
        if not line:
            return 0
        if line.startswith("$J="):
            return self._jog(line[3:])
        if line.startswith("$H"):
            return self._begin_homing(line[2:])
        if line == "$$":
            for number, value in sorted(self.settings.items()):
                self._say(f"${number}={value:.0f}" if number in WHOLE else f"${number}={value:.3f}")
            return 0
        if line == "$I":
            self._say("[VER:1.1h.20190830:]")
            self._say(f"[OPT:{self.options},15,128]")
            return 0
        if line == "$N":
            for number, text in enumerate(self.blocks):
                self._say(f"$N{number}={text}")
            return 0
        if line == "$X":
            if self._state == State.ALARM:
                self._state = State.IDLE
                self._say("[MSG:Caution: Unlocked]")
            return 0
        if found := re.fullmatch(r"\$(\d+)=(-?\d*\.?\d+)", line):
            return self._store(int(found[1]), float(found[2]))
        if line.startswith("$"):
            return 3
        if self._state in (State.ALARM, State.JOG):
            return 9
        return 20 if _WORD.match(line) else 2

    def _store(self, number: int, value: float) -> int | None:
        if self._state not in (State.IDLE, State.ALARM):
            return 8
        if number not in self.settings:
            return 3
        if number == 20 and value and not self.settings[22]:
            return 10
        if number == 22 and not value:
            self.settings[20] = 0
        self.settings[number] = value
        self.stored += 1
        self._storing_until = self._now + STORING_S
        return None

    def _jog(self, text: str) -> int:
        if self._state not in (State.IDLE, State.JOG):
            return 8
        words = _WORD.findall(text)
        if "".join(letter + number for letter, number in words) != text:
            return 2 if re.search(r"[A-Z]", text) else 1
        values = {letter: float(number) for letter, number in words if letter != "G"}
        if len([letter for letter, _ in words if letter != "G"]) > len(values):
            return 25
        codes = {float(number) for letter, number in words if letter == "G"}
        if not codes <= {53, 90, 21} or set(values) - {"X", "F"}:
            return 16
        if "F" not in values or values["F"] <= 0:
            return 22
        if "X" not in values:
            return 0
        if codes != {53, 90, 21}:  # in other units or coordinates, which nothing here asks for
            return 20
        if self.settings[20] and not -self.settings[130] - 1e-6 <= values["X"] <= 1e-6:
            return 15
        to = round(values["X"] * self.settings[100])
        last = self._planned[-1].to if self._planned else self._steps
        if to != last:
            self._planned.append(_JogBlock(to, min(values["F"], self.settings[110])))
            self._state = State.JOG
        return 0

    # --- time

    def _advance(self, to: float) -> None:
        while self._now < to:
            if self.powered_off or not self.moving:
                self._idle_until(to)
                continue
            before, self._now = self._now, min(self._now + SLICE_S, to)
            if self._homing is not None:
                self._home(self._now - before)
            else:
                self._move(self._now - before)
        self._idle_until(to)

    def _idle_until(self, to: float) -> None:
        """Nothing moves up to then; it may greet, and takes up lines after storing."""
        if self.powered_off:
            self._now = to
            return
        if self._greet_at is not None and self._greet_at <= to:
            self._now = max(self._now, self._greet_at)
            self._greet_at = None
            if self._answers_late:
                self._say("ok")
                self._answers_late = False
            self._greet()
        if not self.moving:
            if self._now < self._takes_at <= to:
                self._now = self._takes_at
            elif self._now < self._storing_until <= to:
                self._now, self._storing_until = self._storing_until, 0.0
                self._say("ok")
            else:
                self._now = max(self._now, to)
        self._work()

    def _move(self, dt: float) -> None:
        """Speed up, keep up or slow down, for all planned blocks of one direction."""
        acceleration = self.settings[120]
        if self._cancelling and self._now >= self._slows_at:
            self._speed = math.copysign(max(abs(self._speed) - acceleration * dt, 0.0), self._speed)
            self._run(self._speed * dt)
            if not self._speed:
                self._planned.clear()
                self._cancelling = False
                self._state = State.DOOR if self._ajar else State.IDLE
                self._ajar, self._fraction = False, 0.0
                self._work()
            return
        per_mm = self.settings[100]
        block = self._planned[0]
        sign = 1 if block.to > self._steps else -1
        allowed, before, way = math.inf, self._steps, -abs(self._fraction)
        for planned in self._planned:
            ahead = planned.to - before
            if ahead * sign < 0:
                break
            allowed = min(allowed, math.hypot(planned.feed / 60, math.sqrt(2 * acceleration * max(way, 0.0))))
            way += abs(ahead) / per_mm
            before = planned.to
        allowed = min(allowed, block.feed / 60, math.sqrt(2 * acceleration * max(way, 0.0)))
        now = self._speed * sign
        self._speed = sign * max(min(now + acceleration * dt, allowed), SLOWEST / per_mm)
        self._run(self._speed * dt)
        while self._planned and self._planned[0].to == self._steps:
            self._planned.popleft()
        if not self._planned:
            self._speed = self._fraction = 0.0
            self._state = State.DOOR if self._ajar else State.IDLE
            self._cancelling = self._ajar = False
        self._work()

    def _run(self, mm: float) -> None:
        """Whole steps of this way, not beyond the last planned place of this direction."""
        self._fraction += mm
        per_mm = self.settings[100]
        number = int(abs(self._fraction) * per_mm + 1e-9)
        up = self._fraction > 0
        by = 1 if up else -1
        for _ in range(number):
            while self._planned and self._planned[0].to == self._steps and len(self._planned) > 1:
                following = self._planned[1]
                if (following.to - self._steps) * by <= 0:
                    return
                self._planned.popleft()
            if self._planned and self._planned[0].to == self._steps:
                return
            self._steps += by
            self._fraction -= by / per_mm
            self.screw.step(up if not int(self.settings[3]) & 1 else not up)
        self._report_if_wanted()

    # --- homing

    def _begin_homing(self, axis: str) -> int | None:
        if not self.settings[22]:
            return 5
        if self._state not in (State.IDLE, State.ALARM):
            return 8
        if axis and "H" not in self.options:
            self._state = State.HOME  # as the firmware does: it stays so until a reset
            return 3
        if "+" in self.options and self.sled_away:
            return 13
        self._state = State.HOME
        seek, locate, off = self.settings[25] / 60, self.settings[24] / 60, self.settings[27]
        self._homing = [
            (True, seek, SEARCH * self.settings[130]),
            (False, seek, off),
            (True, locate, LOCATE * off),
            (False, seek, off),
        ]
        self._gone = self._fraction = 0.0
        self._pause = 0.0
        return None

    def _home(self, dt: float) -> None:
        assert self._homing is not None
        if self._pause > 0:
            self._pause -= dt
            return
        to_switch, speed, way = self._homing[0]
        if self.stock:
            self._other += SEARCH * self.settings[132] / 100
            if self._other >= SEARCH * self.settings[132]:
                self._stop_with(9)
            return
        down = bool(int(self.settings[23]) & 1) == to_switch
        per_mm = self.settings[100]
        self._fraction += speed * dt
        while self._fraction >= 1 / per_mm:
            if to_switch and self.screw.closed or self._gone >= way - 0.5 / per_mm:
                break
            self._fraction -= 1 / per_mm
            self._steps += -1 if down else 1
            self._gone += 1 / per_mm
            self.screw.step(down if int(self.settings[3]) & 1 else not down)
        else:
            return
        if to_switch and not self.screw.closed:
            self._stop_with(9)
        elif not to_switch and self.screw.closed:
            self._stop_with(8)
        else:
            self._gone = self._fraction = 0.0
            self._pause = self.settings[26] / 1000
            del self._homing[0]
            if not self._homing:
                self._homed()

    def _homed(self) -> None:
        low = -self.settings[130] + self.settings[27]
        place = low if int(self.settings[23]) & 1 else -self.settings[27]
        self._steps = round(place * self.settings[100])
        self._homing = None
        self._report_if_wanted()  # still calls itself homing
        self._state = State.IDLE
        self._say("ok")
        self._work()
