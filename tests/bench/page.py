"""The bench page: does it hold up the session, how soon is it up to date, and what does it cost while nothing happens.

1. From a tap to the first sample of the next setting, as in gesture_to_sound, with no page open and then with twenty.
   Floor: the taps with none, half before and half after, from the same run.
2. From the session's turn to the page: 200 events on a stream, and in a real Chromium where there is one. Floor: the
   turn itself, its commit included, and the same bytes between two threads over a bare loopback socket.
3. CPU and memory of an idle session's process without the page, with it, and with one and twenty pages open.

Run: python -m tests.bench.page
"""

from __future__ import annotations

import json
import os
import random
import shutil
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from assistant.journal.store import Journal
from assistant.screens.page.bench import BenchPage
from assistant.session.state import CUTTING
from tests.bench.gesture_to_sound import LIMIT_S, MOST_CACHED, Bench
from tests.bench.speaking import line, p95
from tests.screens.page_made import WATCH, Pages, delays, made, made_job

ROOT = Path(__file__).parents[2]
CLIENTS = 20
ALONE, AMONG = 40, 80  # taps
TAP_EVERY_S = 0.1
UPDATES, UPDATE_LIMIT_S = 200, 0.300
# Against no page, of the same run. Of the p95, which is a handful of taps, more is left to the machine.
MOST_MEDIAN, MOST_P95 = 1.5, 2.0
# Against turn and bare socket, which share no interpreter; a page that polled would be at hundreds.
MOST_UPDATE = 5.0
MOST_IDLE_CPU = 0.05  # of one core, twenty pages open
SETTLED_S, IDLE_S = 1.0, 3.0


# --- 1. gesture to sound


def gesture_to_sound() -> bool:
    """Prints; True where a ratio is over its limit."""
    with tempfile.TemporaryDirectory() as folder:
        database = sqlite3.connect(Path(folder) / "bare", isolation_level=None)
        state = Path(folder) / "state"
        with Journal.open(state) as journal, closing(database) as bare:
            bench = Bench(journal, bare)
            page = BenchPage(state, bench.clock, lambda text: None, post=bench.runner.post, port=0)
            try:
                bench.runner.outputs.screens.append(page.hub)
                bench.runner.outputs.watchers.append(page.hub)
                bench.begin()
                bench.gesture("tap")
                alone = taps(bench, ALONE, TAP_EVERY_S)
                with crowd(page) as received:
                    among = taps(bench, AMONG, TAP_EVERY_S)
                    messages = received()
                alone += taps(bench, ALONE, TAP_EVERY_S)
            finally:
                page.close()
                bench.speaker.close()
            return report_sound(bench, alone, among, messages)


def taps(bench: Bench, count: int, every_s: float) -> list[float]:
    """Seconds from tap to sound, each setting rendered ahead."""
    found = []
    for _ in range(count):
        due = time.monotonic() + every_s
        bench.wait(partial(bench.speaker.knows, bench.speaker.next[0 if len(bench.speaker.next) < 2 else 1]))
        bench.commit_bare()
        while (rest := due - time.monotonic()) > 0:
            event = bench.runner.next_event(rest)
            if event is not None:
                bench.runner.handle(event)
        time.sleep(random.random() * 0.02)  # anywhere within the device's period, as a foot is
        found.append(bench.gesture("tap"))
        if bench.runner.state.mode != CUTTING:
            raise RuntimeError("the job has too few passes")
    return found


@contextmanager
def crowd(page: BenchPage) -> Iterator[Callable[[], int]]:
    """Twenty pages that read, in a process of their own; gives what tells how many messages they got."""
    tokens = [page.devices.pair(str(n))[1] for n in range(min(CLIENTS, 19))]
    tokens += tokens[: CLIENTS - len(tokens)]
    command = [sys.executable, "-m", "tests.bench.page", "crowd", str(page.server.port)]
    child = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert child.stdin is not None and child.stdout is not None
    try:
        child.stdin.write(json.dumps(tokens) + "\n")
        child.stdin.flush()
        child.stdout.readline()

        def received() -> int:
            child.stdin.write("\n")  # type: ignore[union-attr]
            child.stdin.flush()  # type: ignore[union-attr]
            return int(child.stdout.readline())  # type: ignore[union-attr]

        if page.hub.streams != CLIENTS:
            raise RuntimeError(f"{page.hub.streams} of {CLIENTS} pages are open")
        yield received
    finally:
        child.kill()
        child.communicate()


def be_a_crowd(port: int) -> int:
    """The child of `crowd`."""
    pages = [Pages(port, token) for token in json.loads(sys.stdin.readline())]
    for page in pages:
        page.wait(lambda kind, body: kind == "all", 20.0)
    print("open", flush=True)
    for _ in sys.stdin:
        print(sum(len(page.messages) for page in pages), flush=True)
    return 0


def report_sound(bench: Bench, alone: list[float], among: list[float], messages: int) -> bool:
    periods = [after - before for before, after in zip(bench.device.asked, bench.device.asked[1:], strict=False)]
    floor = p95(bench.commits) + p95(periods)
    print(f"{CLIENTS} pages open got {messages} messages; to hold: p95 {LIMIT_S * 1e3:g} ms")
    line("tap to first sample, no page open", alone)
    line(f"tap to first sample, {CLIENTS} pages open", among)
    over = ratio("median, with / without pages", statistics.median(among) / statistics.median(alone), MOST_MEDIAN)
    over |= ratio("p95, with / without pages", p95(among) / p95(alone), MOST_P95)
    return over | ratio("p95 with pages / (commit + period)", p95(among) / floor, MOST_CACHED)


def ratio(name: str, value: float, most: float) -> bool:
    print(f"{name:42} {value:.2f} (at most {most:g})")
    return value > most


# --- 2. how soon a page is up to date


def updates() -> bool:
    with tempfile.TemporaryDirectory() as folder, made(Path(folder), many_passes()) as one:
        one.to_first_pass()
        page = Pages(one.port, one.pair())
        page.wait(lambda kind, body: kind == "all")
        seen: dict[int, float] = {}
        page.on_message = lambda body: seen.setdefault(body.get("state", {}).get("pass", 0), time.perf_counter())
        sent, turns = {}, []
        for _ in range(UPDATES):
            number = one.runner.state.cursor + 1
            sent[number] = time.perf_counter()
            one.gesture("tap")
            turns.append(time.perf_counter() - sent[number])
            time.sleep(0.015)
        page.wait(lambda kind, body: body.get("state", {}).get("pass") == UPDATES + 1)
        size = len(json.dumps(page.messages[-1][1]))
        page.close()
        took = delays(sent, seen)
        bare = bare_socket(size)
        print(f"messages of {size} bytes; to hold: p95 {UPDATE_LIMIT_S * 1e3:g} ms")
        line("floor: these bytes, bare socket", bare)
        line("floor: the turn itself", turns)
        line("turn to page, on the stream", took)
    line_in_browser()
    return ratio("stream / (turn + bare socket), p95", p95(took) / (p95(turns) + p95(bare)), MOST_UPDATE)


def many_passes() -> Any:
    return made_job(width=2100, finger=700, ends=1, parts="A")


def bare_socket(size: int) -> list[float]:
    """Seconds from one thread's send to the other's having read it all."""
    took = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        sender = socket.create_connection(server.getsockname())
        reader, _ = server.accept()
        with sender, reader:
            for _ in range(UPDATES):
                done: list[float] = []
                thread = threading.Thread(target=_read, args=(reader, size, done))
                thread.start()
                begun = time.perf_counter()
                sender.sendall(b"x" * size)
                thread.join()
                took.append(done[0] - begun)
    return took


def _read(reader: socket.socket, size: int, done: list[float]) -> None:
    while size > 0:
        size -= len(reader.recv(65536))
    done.append(time.perf_counter())


def line_in_browser() -> None:
    """The same in Chromium, to what is written on the page; printed only, since browsers are their own masters."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        chromium = None
    if not chromium:
        print("in Chromium: not measured, Chromium or Playwright is missing")
        return
    from tests.screens.test_page_chromium import FLAGS, device, pair

    with (
        tempfile.TemporaryDirectory() as folder,
        made(Path(folder), many_passes()) as one,
        sync_playwright() as driver,
    ):
        browser = driver.chromium.launch(executable_path=chromium, args=FLAGS)
        with device(browser) as page:
            pair(page, one)
            one.to_first_pass()
            page.wait_for_selector("#reading:not([hidden])")
            page.evaluate(WATCH)
            sent = {}
            for _ in range(UPDATES):
                sent[one.runner.state.cursor + 1] = time.time()
                one.gesture("tap")
                page.wait_for_timeout(15)
            page.wait_for_timeout(500)
            seen = {int(number): at / 1000 for number, at in page.evaluate("window.seenAt").items()}
        browser.close()
    line("turn to page, in Chromium", delays(sent, seen))


# --- 3. idle


def idle() -> bool:
    """CPU and memory of a session at rest. Prints; True where it is more than it may be."""
    import psutil

    with tempfile.TemporaryDirectory() as folder:
        child = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.page", "idle", folder],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert child.stdin is not None and child.stdout is not None
        try:
            process = psutil.Process(child.pid)
            child.stdout.readline()
            shares = [_at_rest("without the page", process)]
            child.stdin.write("\n")
            child.stdin.flush()
            told = json.loads(child.stdout.readline())
            shares.append(_at_rest("with it, no page open", process))
            pages: list[Pages] = []
            for count in (1, CLIENTS):
                pages += [Pages(told["port"], told["token"]) for _ in range(count - len(pages))]
                shares.append(_at_rest(f"with {count} open", process))
            for page in pages:
                page.close()
        finally:
            child.kill()
            child.communicate()
    return ratio(f"CPU of one core, {CLIENTS} pages, idle", shares[-1], MOST_IDLE_CPU)


def _at_rest(name: str, process: Any) -> float:
    time.sleep(SETTLED_S)
    before = sum(process.cpu_times()[:2])
    time.sleep(IDLE_S)
    share = (sum(process.cpu_times()[:2]) - before) / IDLE_S
    info = process.memory_full_info()
    memory = getattr(info, "pss", 0) or info.rss
    print(f"idle, {name:36} {100 * share:6.2f} % of a core   {memory / 2**20:6.1f} MiB")
    return share


def be_idle(folder: str) -> int:
    """The child of `idle`: a session, then, when told to, its page."""
    from assistant.runner.clock import LiveClock
    from assistant.runner.loop import Outputs, Runner
    from assistant.session.events import Start
    from assistant.speaking.speaker import SilentSpeaker

    clock = LiveClock()
    with Journal.open(Path(folder)) as journal:
        session = journal.new_session("bench", "", "", clock.utc())
        runner = Runner(lambda records: journal.append(session, records), Outputs(), clock)
        runner.outputs.speaker = SilentSpeaker(clock, runner.post)
        runner.handle(Start(clock.at(), clock.utc(), made_job()))
        print("open", flush=True)
        sys.stdin.readline()
        page = BenchPage(Path(folder), clock, lambda text: None, post=runner.post, session=session, port=0)
        token = page.devices.pair("bench")[1]
        print(json.dumps({"port": page.server.port, "token": token}), flush=True)
        sys.stdin.readline()
        page.close()
    return 0


def main(words: list[str]) -> int:
    if words[:1] == ["crowd"]:
        return be_a_crowd(int(words[1]))
    if words[:1] == ["idle"]:
        return be_idle(words[1])
    print(f"{os.cpu_count()} cores")
    over = [gesture_to_sound(), updates(), idle()]
    return int(any(over))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
