"""The real output libraries: the null backend, no device at all, and a sound server's null sink."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import NoSuchPart
from assistant.runner.clock import LiveClock
from assistant.session.events import DeviceChanged, SpeechStarted
from assistant.speaking.device import MiniaudioDevice, SounddeviceDevice, default_device, not_there, number_of
from assistant.speaking.player import Player
from tests.sound_server import Recording, SoundServer
from tests.speaking.stand_ins import RATE, Posted, steady

miniaudio = pytest.importorskip("miniaudio", reason="miniaudio has no wheel here")
ROOT = Path(__file__).parents[2]
TAKES = 3
NULL = [miniaudio.Backend.NULL]


def test_the_null_backend_is_refused_unless_asked_for() -> None:
    """Otherwise a machine without sound would play to nobody and say that all is well."""
    with pytest.raises(NoSuchPart, match="only the null device"):
        MiniaudioDevice(backends=NULL).open(RATE, lambda frames: bytes(2 * frames))


def test_the_device_asks_every_ten_milliseconds() -> None:
    """The library's own default is 200 ms."""
    asked: list[tuple[float, int]] = []

    def fill(frames: int) -> bytes:
        asked.append((time.monotonic(), frames))
        return bytes(2 * frames)

    device = MiniaudioDevice(allow_null=True, backends=NULL)
    assert "Null" in device.open(RATE, fill)
    time.sleep(0.6)
    device.close()
    device.close()
    # The first few fill its buffer at once.
    later = asked[4:]
    assert 30 < len(later) < 80
    assert max(frames for _, frames in later) <= RATE // 100 + 1


def in_a_process(code: str) -> subprocess.CompletedProcess[str]:
    nowhere = {**os.environ, "PULSE_SERVER": "unix:/nowhere", "XDG_RUNTIME_DIR": "/nowhere"}
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, env=nowhere, timeout=60
    )


@pytest.mark.skipif(
    not sys.platform.startswith("linux") or Path("/dev/snd/controlC0").exists(), reason="this machine has a sound card"
)
@pytest.mark.parametrize("kind", ["MiniaudioDevice", "SounddeviceDevice"])
def test_no_sound_card_is_a_missing_part_and_nothing_else_is_printed(kind: str) -> None:
    """Otherwise ALSA's library would write a page of lines at every attempt."""
    done = in_a_process(f"""
from assistant.errors import NoSuchPart
from assistant.speaking.device import {kind}
for _ in range(2):
    try:
        {kind}().open(22050, lambda frames: bytes(2 * frames))
    except NoSuchPart as error:
        print("missing:", error)
""")
    assert done.stdout.count("missing:") == 2, done.stderr
    assert "ALSA lib" not in done.stderr


def test_the_default_is_the_library_that_is_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    present = {"miniaudio", "sounddevice"}
    monkeypatch.setattr("importlib.util.find_spec", lambda name: name if name in present else None)
    assert isinstance(default_device(), MiniaudioDevice)
    present.remove("miniaudio")
    assert isinstance(default_device(), SounddeviceDevice)
    present.clear()
    with pytest.raises(NoSuchPart, match="pip install miniaudio"):
        default_device()


def test_a_loudspeaker_is_meant_by_its_name_or_a_part_of_it() -> None:
    names = ["Speakers of the monitor", "USB Audio", "USB"]
    assert number_of("usb", names) == 2  # the whole name first
    assert number_of("usb a", names) == 1 and number_of(" MONITOR ", names) == 0
    assert number_of("headset", names) is None and number_of("usb", []) is None
    assert not_there("headset", names[1:]).endswith('the default one is used; there are: "USB Audio", "USB"')
    assert not_there("headset", []).endswith("there are: none")


# --- a real sound server with a null sink


@pytest.fixture
def server(sound_server: SoundServer, monkeypatch: pytest.MonkeyPatch) -> SoundServer:
    """It is this process's own, too."""
    monkeypatch.setenv("PULSE_SERVER", sound_server.socket)
    monkeypatch.setenv("XDG_RUNTIME_DIR", sound_server.where["XDG_RUNTIME_DIR"])
    return sound_server


@pytest.fixture
def bench(server: SoundServer) -> str:
    """Adds a second sink beside the default one. Gives the number of its module."""
    return server.add_sink("bench", "Bench-Speaker")


def playing(name: str) -> tuple[Player, Posted]:
    posted = Posted()
    device = MiniaudioDevice(name, backends=[miniaudio.Backend.PULSEAUDIO])
    return Player(RATE, device, LiveClock(), posted, gone_after_s=0.5, first_retry_s=0.1), posted


def said(player: Player, posted: Posted, id: str, seconds: float = 0.5) -> None:
    slot = player.reserve(id, False)
    assert slot is not None
    player.supply(slot, steady(seconds, 6000))
    assert posted.ended(id, 20).how == "whole"


def share(heard: np.ndarray) -> float:
    """Seconds of what `said` says."""
    return float(np.sum(np.abs(heard.astype(int) - 6000) < 50)) / RATE


def test_the_loudspeaker_that_was_chosen_speaks_and_the_other_does_not(server: SoundServer, bench: str) -> None:
    """Both sinks are recorded by another program."""
    default, chosen = Recording(server), Recording(server, "bench")
    player, posted = playing("bench-sp")
    try:
        said(player, posted, "here")
        time.sleep(2.5)
        assert player.opened.startswith("Bench-Speaker, ")
    finally:
        player.close()
    assert share(chosen.stop()) == pytest.approx(0.5, rel=0.05)
    assert share(default.stop()) == 0
    assert not any(isinstance(event, DeviceChanged) for event in posted.events)


def test_when_the_chosen_one_goes_the_default_one_speaks_and_that_is_told(server: SoundServer, bench: str) -> None:
    player, posted = playing("Bench-Speaker")
    try:
        said(player, posted, "here", 0.2)
        server.remove(bench)
        told = posted.wait(lambda e: isinstance(e, DeviceChanged) and e.state == "works", 30)
        assert isinstance(told, DeviceChanged) and 'called "Bench-Speaker", so the default one is used' in told.text
        default = Recording(server)
        said(player, posted, "there")
        time.sleep(2.5)
        assert share(default.stop()) == pytest.approx(0.5, rel=0.05)
    finally:
        player.close()


def test_one_that_is_not_there_at_the_start_is_told_with_those_that_are(server: SoundServer, bench: str) -> None:
    player, posted = playing("headset")
    try:
        told = posted.wait(lambda e: isinstance(e, DeviceChanged), 20)
        assert isinstance(told, DeviceChanged) and told.state == "works"
        assert '"Bench-Speaker"' in told.text and '"headset"' in told.text
        said(player, posted, "all the same", 0.2)
    finally:
        player.close()


SAY_TWO_LEVELS = """
import sys, time
from assistant.speaking import device as devices
from assistant.speaking.device import MiniaudioDevice, SounddeviceDevice
devices.PERIOD_MS = 100  # in place of 10: what is played counts here, not how soon, on a machine with other work
from assistant.speaking.player import Player
from tests.sound_server import Recording, SoundServer
from assistant.runner.clock import LiveClock
from tests.speaking.stand_ins import RATE, Posted, steady
posted = Posted()
device = {"miniaudio": MiniaudioDevice, "sounddevice": SounddeviceDevice}[sys.argv[1]]()
player = Player(RATE, device, LiveClock(), posted)
for id, level in (("a", 4000), ("b", 8000)):
    player.supply(player.reserve(id, False), steady(0.5, level))
print(posted.ended("b").how, "through", player.opened)
time.sleep(2.5)
player.close()
"""


@pytest.mark.parametrize("kind", ["miniaudio", "sounddevice"])
def test_another_program_hears_every_sample_in_order(server: SoundServer, kind: str) -> None:
    """Recorded from the null sink's monitor: half a second at each level, nothing missing in between.

    PortAudio speaks ALSA, whose default is sent to the server by ALSA's own plug-in. Where other work keeps player,
    server or parec from a core for longer than their buffers last, the sound has a hole, whoever made it: a take with
    one is taken again, as is one in which the server ended by itself. What swaps or repeats samples, or loses some
    each time, fails all the same.
    """
    pytest.importorskip(kind, reason=f"{kind} is not installed, or its library is missing", exc_type=Exception)
    folder = Path(server.environment["HOME"])
    (folder / ".asoundrc").write_text(f'pcm.!default {{ type pulse\n server "unix:{server.socket}" }}\n')
    takes: list[object] = []
    for _ in range(TAKES):
        recording = Recording(server)
        done = subprocess.run(
            [sys.executable, "-c", SAY_TWO_LEVELS, kind],
            capture_output=True,
            text=True,
            cwd=ROOT,
            env=server.environment,
            timeout=60,
        )
        heard = recording.stop()
        if ended := server.ended_by_itself:
            takes.append(ended)
            server.stop()
            server.start()
            continue
        assert done.stdout.startswith("whole through"), done.stderr
        loud = heard[np.flatnonzero(heard)[0] : np.flatnonzero(heard)[-1] + 1].astype(int)
        first, second = (np.flatnonzero(np.abs(loud - level) < 50) for level in (4000, 8000))
        takes.append((len(first), len(second), len(loud)))
        assert max(first, default=0) < min(second, default=len(loud)), "in order"
        assert max(len(first), len(second)) < 0.51 * RATE, "nothing twice"
        if takes[-1] == pytest.approx((0.5 * RATE, 0.5 * RATE, RATE), rel=0.02):
            return
    pytest.fail(f"every take has a hole; samples of the first level, of the second, of all: {takes}")


def test_a_server_that_dies_is_noticed_and_found_again(server: SoundServer) -> None:
    posted = Posted()
    device = MiniaudioDevice(backends=[miniaudio.Backend.PULSEAUDIO])
    player = Player(RATE, device, LiveClock(), posted, gone_after_s=0.5, first_retry_s=0.1)
    try:
        slot = player.reserve("cut short", False)
        assert slot is not None
        player.supply(slot, steady(60.0))
        posted.wait(lambda e: isinstance(e, SpeechStarted), 20)
        # Well after the start: what counts is a device that was playing.
        time.sleep(1.0)
        assert player.state == "works"
        server.stop()
        assert posted.ended("cut short", 20).how == "failed"
        lost = posted.wait(lambda e: isinstance(e, DeviceChanged) and e.state == "lost", 20)
        assert isinstance(lost, DeviceChanged) and "stopped taking sound" in lost.text
        server.start()
        posted.wait(lambda e: isinstance(e, DeviceChanged) and e.state == "works", 40)
        slot = player.reserve("again", True)
        assert slot is not None
        player.supply(slot, steady(0.2))
        assert posted.ended("again", 20).how == "whole"
    finally:
        player.close()


@pytest.mark.parametrize("when", ["while it sounds", "while nothing sounds", "before it was opened"])
def test_a_server_that_hangs_is_said_to_be_lost_and_found_again_when_it_goes_on(server: SoundServer, when: str) -> None:
    """Stopped by a signal it answers nobody: the sound library's own calls do not return until it goes on."""
    posted = Posted()
    if when == "before it was opened":
        server.hang()
    device = MiniaudioDevice(backends=[miniaudio.Backend.PULSEAUDIO])
    player = Player(RATE, device, LiveClock(), posted, first_retry_s=0.1)
    try:
        if when != "before it was opened":
            said(player, posted, "here", 0.2)
            if when == "while it sounds":
                slot = player.reserve("cut short", False)
                assert slot is not None
                player.supply(slot, steady(60.0))
                posted.wait(lambda e: isinstance(e, SpeechStarted) and e.id == "cut short", 20)
            server.hang()
        posted.wait(lambda e: isinstance(e, DeviceChanged) and e.state == "lost", 30)
        if when == "while it sounds":
            assert posted.ended("cut short").how == "failed"
        server.go_on()
        posted.wait(lambda e: isinstance(e, DeviceChanged) and e.state == "works", 40)
        said(player, posted, "again", 0.2)
    finally:
        server.go_on()
        player.close()


HELD_UP = """
import sys, time
from assistant.speaking.device import MiniaudioDevice
from assistant.speaking.player import Player
from assistant.runner.clock import LiveClock
from tests.speaking.stand_ins import RATE, Posted
import miniaudio
posted = Posted()
player = Player(RATE, MiniaudioDevice(allow_null=True, backends=[miniaudio.Backend.NULL]), LiveClock(), posted)
while player.state != "works":
    time.sleep(0.01)
time.sleep(0.5)
print("begun", flush=True)
sys.stdin.readline()
time.sleep(1.0)
print(posted.short(), player.state, flush=True)
player.close()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="stopping a process is a matter of POSIX")
def test_a_process_that_was_stopped_does_not_take_its_loudspeaker_for_gone() -> None:
    with subprocess.Popen(
        [sys.executable, "-c", HELD_UP], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT
    ) as process:
        try:
            assert process.stdin is not None and process.stdout is not None
            assert process.stdout.readline() == "begun\n"
            process.send_signal(signal.SIGSTOP)
            time.sleep(2.5)
            process.send_signal(signal.SIGCONT)
            process.stdin.write("\n")
            process.stdin.flush()
            assert process.stdout.readline() == "[] works\n"
        finally:
            process.kill()
