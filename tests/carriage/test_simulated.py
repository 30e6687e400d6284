"""The simulated controller answers as the firmware was seen to: grbl 1.1h (20190830), each line in this order."""

from __future__ import annotations

import re

import pytest

from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from tests.carriage.simulated_line import SimulatedLine

GREETING = "\r\nGrbl 1.1h ['$' for help]\r\n"
LOCKED = GREETING + "[MSG:'$H'|'$X' to unlock]\r\n"
# What was sent (or done: in capitals, with a wait), and everything that came until the next.
SEEN = [
    ("$I\n", "[VER:1.1h.20190830:]\r\n[OPT:V,15,128]\r\nok\r\n"),
    ("$N\n", "$N0=\r\n$N1=\r\nok\r\n"),
    ("$J=G53G90G21X-10F600\n", "error:8\r\n"),
    ("$H\n", "ok\r\n"),
    ("?", "<Idle|MPos:-299.000,0.000,0.000|FS:0,0>\r\n"),
    ("$J=G53G90G21X-301F600\n", "error:15\r\n"),
    ("$J=G53G90G21X1F600\n", "error:15\r\n"),
    ("$J=G53G90G21X-298\n", "error:22\r\n"),
    ("$J=G53G90G21XF600\n", "error:2\r\n"),
    ("$J=G53G90G21F600\n", "ok\r\n"),
    ("$J=G53G90G21X-298X-297F600\n", "error:25\r\n"),
    ("$J=X5G0F600\n", "error:16\r\n"),
    ("$J=G53G90G21X-298F600\n", "ok\r\n"),
    ("WAIT", ""),
    ("?", "<Idle|MPos:-298.000,0.000,0.000|FS:0,0>\r\n"),
    ("hello\n", "error:2\r\n"),
    ("G5\n", "error:20\r\n"),
    ("\n", "ok\r\n"),
    ("$130=300.517\n", "ok\r\n"),
    ("$130=300\n", "ok\r\n"),
    ("$999=1\n", "error:3\r\n"),
    ("AWAY", ""),
    ("?", "<Hold:0|MPos:-298.000,0.000,0.000|FS:0,0|Pn:H>\r\n"),
    ("$$\n", ""),
    ("BACK", ""),
    ("?", "<Hold:0|MPos:-298.000,0.000,0.000|FS:0,0>\r\n"),
    ("\x18", GREETING),
    ("?", "<Idle|MPos:-298.000,0.000,0.000|FS:0,0>\r\n"),
    ("$J=G53G90G21X-200F600\n", "ok\r\n"),
    ("G1X5F10\n", "error:9\r\n"),
    ("$130=301\n", "error:8\r\n"),
    ("\x85", ""),
    ("WAIT", ""),
    ("$J=G53G90G21X-200F600\n", "ok\r\n"),
    ("\x18", "ALARM:3\r\nok\r\n" + LOCKED),
    ("$J=G53G90G21X-298F600\n", "error:8\r\n"),
    ("$H\n", "ok\r\n"),
    ("$HX\n", "error:3\r\n"),
    ("?", "<Home|MPos:-299.000,0.000,0.000|FS:0,0>\r\n"),
]


def test_it_answers_as_the_firmware_did() -> None:
    simulated = Simulated(Screw(start=2, home_at=-1, play=0.08))
    simulated.opened(0.0)
    now = 2.0
    assert simulated.passed(now).decode() == LOCKED
    for sent, seen in SEEN:
        said = b""
        if sent in ("AWAY", "BACK"):
            simulated.sled(sent == "AWAY")
        elif sent != "WAIT":
            said = simulated.take(sent.encode("latin-1"), now)
        for _ in range(100):
            now += 0.25 if sent in ("$H\n", "WAIT") else 0.01
            said += simulated.passed(now)
        assert re.sub(r"\|WCO:[^|>]*", "", said.decode()) == seen, sent


def test_a_full_buffer_drops_what_comes() -> None:
    """128 bytes, without a word; while it is held it takes no line."""
    simulated = Simulated(Screw(home_at=-1.0), {22: 0, 20: 0}, starts_on_open=False)
    simulated.opened(0.0)
    simulated.sled(True)
    simulated.take(b"\n" * 200, 0.1)
    simulated.sled(False)
    assert simulated.take(b"~", 0.2).count(b"ok") == 128


def test_while_it_stores_it_hears_nothing() -> None:
    simulated = Simulated(starts_on_open=False)
    said = simulated.take(b"$24=60\n", 0.0) + simulated.take(b"?$25=900\n", 0.01) + simulated.passed(1.0)
    assert said == b"ok\r\n" and simulated.settings[24] == 60 and simulated.settings[25] == 600


def test_a_screw_with_play_carries_up_exactly_and_lags_coming_down() -> None:
    screw = Screw(steps_per_mm=100, start=10, play=0.1)
    for _ in range(100):
        screw.step(True)
    assert screw.at == pytest.approx(11)
    for _ in range(100):
        screw.step(False)
    assert screw.at == pytest.approx(10.1)
    for _ in range(10):
        screw.step(True)
    assert screw.at == pytest.approx(10.1)
    screw.step(True)
    assert screw.at == pytest.approx(10.11)


def test_a_screw_loses_steps_at_its_ends_and_when_it_is_blocked() -> None:
    screw = Screw(steps_per_mm=100, start=1, ends=(0, 2), home_at=-5)
    for _ in range(150):
        screw.step(True)
    assert screw.at == pytest.approx(2) and screw.lost == 50
    screw.jammed = True
    screw.step(False)
    assert screw.at == pytest.approx(2)
    screw.jammed, screw.losing = False, 3
    for _ in range(4):
        screw.step(False)
    assert screw.at == pytest.approx(1.99) and screw.turned == 150 - 5


def test_a_switch_closes_and_opens_with_hysteresis_and_scatter() -> None:
    screw = Screw(steps_per_mm=1000, start=1, home_at=0, hysteresis=0.2, scatter=0.01, seed=4)
    places = []
    for _ in range(20):
        while not screw.closed:
            screw.step(False)
        places.append(screw.at)
        while screw.closed:
            screw.step(True)
        assert screw.at > places[-1] + 0.19
    assert len(set(places)) > 10 and max(abs(place) for place in places) <= 0.0111


def test_a_line_within_this_process_carries_both_ways() -> None:
    simulated = Simulated(starts_on_open=False)
    now = [0.0]
    line = SimulatedLine(simulated, lambda: now[0])
    line.write(b"$I\n")
    now[0] = 0.1
    assert b"[VER:1.1h" in line.read(0.0)
    line.urgent(b"\x18")
    assert b"Grbl" in line.read(0.0)
    line.wake()
    assert line.read(60.0) == b""


@pytest.mark.parametrize("look_s", [0.001, 0.0037, 0.01, 0.3])
def test_it_moves_at_the_feed_however_often_it_is_looked_at(look_s: float) -> None:
    """Homing from 17 mm above the switch took the firmware 4.2 s, and 8 mm at 600 mm/min the 0.8 s and the start."""
    controller = Simulated(Screw(400, 14.0, 0.0, (-6.0, 303.0), -3.0), {130: 305.0})
    controller.opened(0.0)
    now = 2.0
    controller.take(b"$H\n", now)
    said = b""
    while b"ok" not in said:
        now += look_s
        said += controller.passed(now)
    assert 3.5 < now - 2.0 < 4.5
    begun = controller.place
    controller.take(b"$J=G53G90G21X-250F600\n", now)
    end = now + 0.8
    while now < end:
        now += look_s
        controller.passed(now)
    assert 7.5 < (controller.place - begun) / (now - end + 0.8) * 0.8 < 8


def test_after_an_alarm_it_hears_nothing_for_half_a_second() -> None:
    controller = Simulated(Screw(start=2, home_at=-1), boot_s=0.1)
    controller.opened(0.0)
    controller.passed(1.0)
    controller.take(b"$H\n", 1.0)
    assert controller.take(b"\x18", 1.1) == b"ALARM:6\r\n"
    assert controller.take(b"?\x18$$\n", 1.3) == b""
    assert controller.passed(1.59) == b""
    assert controller.passed(1.61).startswith(b"ok\r\n\r\nGrbl 1.1h")
