"""What a controller says is understood as it was meant; what it is sent is well-formed RS-274."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from assistant.carriage import dialect as d


@pytest.mark.parametrize(
    ("line", "said"),
    [
        # Lines as the firmware's own interface.md shows them, and as it was seen to send them.
        (b"ok\r", d.Ok()),
        (b"error:15\r", d.LineRefused(15)),
        (b"ALARM:9\r", d.Alarm(9)),
        (b"Grbl 1.1h ['$' for help]\r", d.Greeting("1.1h")),
        (b"\r", d.Message("")),
        (b"[MSG:'$H'|'$X' to unlock]\r", d.Message("[MSG:'$H'|'$X' to unlock]")),
        (b"[VER:1.1h.20190830:]\r", d.Build("1.1h.20190830", None)),
        (b"[VER:1.1f.20170131:my board]\r", d.Build("1.1f.20170131", None)),
        (b"[OPT:VH+,15,128]\r", d.Build(None, "VH+")),
        (b"$130=300.517\r", d.Setting(130, F("300.517"))),
        (b"$1=255\r", d.Setting(1, F(255))),
        (b"$N0=G20\r", d.StartBlock(0, "G20")),
        (b"$N1=\r", d.StartBlock(1, "")),
        (b">G20:ok\r", d.Message(">G20:ok")),
        (b"<Idle|MPos:-299.000,0.000|FS:0,0|WCO:0.000,0.000>\r", d.Report("Idle", (F(-299), F(0)), "", F(0))),
        (b"<Jog|MPos:-275.270,0.000|FS:600,0|Pn:XH>\r", d.Report("Jog", (F("-275.27"), F(0)), "XH", F(600))),
        (b"<Hold:0|WPos:1.000,0.000,0.000|Bf:15,128|F:0>\r", d.Report("Hold", None, "", F(0))),
    ],
)  # fmt: skip
def test_a_line_is_understood(line: bytes, said: d.ControllerSaid) -> None:
    assert d.understand(line) == said


def test_every_state_of_a_report_is_known() -> None:
    """By the words of the firmware's interface.md."""
    words = ("Idle", "Run", "Hold", "Jog", "Alarm", "Door", "Check", "Home", "Sleep")
    said = [d.understand(f"<{word}|MPos:0.000|FS:0,0>".encode()) for word in words]
    assert said == [d.Report(state, (F(0),), "", F(0)) for state in d.ControllerState]
    assert tuple(d.ControllerState) == words


@pytest.mark.parametrize(
    "line",
    [b"<Idle|MPos:-299.000,0.0", b"<Idle|MPos:-29<Idle|MPos:0.000,0.000,0.000|FS:0,0>", b"o", b"okok", b"\xfe\x03k",
     b"error:", b"ALARM:x", b"$130=3 00", b"<Idle|MPos:--9.000,0.000,0.000>", b"Grbl 1.1h ['$' for", b"[MSG:half"],
)  # fmt: skip
def test_a_broken_line_is_garbage(line: bytes) -> None:
    assert isinstance(d.understand(line), d.Garbage)


def test_places_are_sent_exactly_and_without_an_exponent() -> None:
    assert d.jog("X", F("-284.5625"), F(600)) == "$J=G53G90G21X-284.5625F600"
    assert d.jog("Z", F(0), F(75, 2)) == "$J=G53G90G21Z0F37.5"
    assert d.jog("X", F(-1, 10_000), F(600)) == "$J=G53G90G21X-0.0001F600"
    assert d.jog("X", F(-100), F(1000)) == "$J=G53G90G21X-100F1000"
    assert d.write(130, F("300.517")) == "$130=300.517"
    assert d.home("X", alone=True) == "$HX" and d.home("X", alone=False) == "$H"


def test_every_alarm_and_error_has_words_without_cut_or_ready() -> None:
    for text in (*d.ALARMS.values(), *d.ERRORS.values(), str(d.Alarm(99)), str(d.LineRefused(99))):
        assert "cut" not in text and "ready" not in text


def test_the_longest_line_fits() -> None:
    longest = d.jog("X", F("-9999.9999"), F("5999.999"))
    assert len(longest) <= d.LINE_MAX
