"""The bench page in a real browser: Debian's Chromium, driven by Playwright."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any, ClassVar

import pytest

from assistant.joinery.model import Carriage
from assistant.plans.intents import Intent
from assistant.session import facts as f
from assistant.session.events import DeviceChanged, Heard, Resume
from assistant.session.kinds import By
from assistant.session.table import rows_of, standing_of
from tests.runner.adapters import drain
from tests.sampling import every
from tests.screens.page_made import WATCH, Made, delays, made, made_job
from tests.screens.test_whole_numbers import INCHES, together
from tests.session.jobs import HANDWHEEL, few_checks, job, plan, with_pass_time

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
pytestmark = [
    pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed"),
]
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE = {"width": 390, "height": 844}
TABLET = {"width": 1180, "height": 820}
EVENTS = 200


@contextmanager
def device(browser: Any, size: dict[str, int] = PHONE, **more: Any) -> Iterator[Any]:
    """A page of a separate device. At the end its console must contain no complaint."""
    context = browser.new_context(viewport=size, **more)
    context.set_default_timeout(10_000)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    try:
        yield page
        assert [text for text in said if not _of_the_network(text)] == []
    finally:
        context.close()


def _of_the_network(text: str) -> bool:
    """A refused or broken request that a test causes: the browser reports each."""
    return text.startswith(("Failed to load resource", "Access to fetch"))


def at_sizes(page: Any, sizes: Sequence[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """One page resized to each of these in turn, as when a phone is turned. A session for each would take longer."""
    for width, height in sizes:
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(200)
        yield width, height


def pair(page: Any, one: Made) -> None:
    page.goto(one.page.address)
    page.fill("#code", one.page.codes.begin())
    page.click("#pair button")
    page.wait_for_selector("[data-link=live]")


def shows(page: Any, selector: str, text: str, timeout_ms: int = 5000) -> None:
    playwright.expect(page.locator(selector)).to_have_text(re.compile(re.escape(text)), timeout=timeout_ms)


def until(holds: Callable[[], bool], timeout_s: float = 20.0) -> None:
    end = time.monotonic() + timeout_s
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.01)


@pytest.fixture
def one(tmp_path: Path) -> Iterator[Made]:
    with made(tmp_path, made_job(may_record_cuts=True)) as it:
        yield it


# --- pairing


def test_a_stranger_sees_a_door_and_nothing_else(browser: Any, one: Made) -> None:
    with device(browser) as page:
        page.goto(one.page.address)
        assert "Pair this device" in page.inner_text("body")
        assert "Small tray" not in page.content()
        page.fill("#code", "1234")
        page.click("#pair button")
        shows(page, "#message", "The code has 8 digits.")
        code = one.page.codes.begin()
        page.fill("#code", f"{(int(code) + 1) % 10**8:08d}")
        page.click("#pair button")
        shows(page, "#message", "4 tries left.")
        assert page.evaluate("fetch('/sessions').then(answer => answer.status)") == 401


def test_a_code_in_the_links_fragment_pairs_and_leaves_the_address(browser: Any, one: Made) -> None:
    with device(browser) as page:
        page.goto(f"{one.page.address}#{one.page.codes.begin()}")
        page.wait_for_selector("[data-link=live]")
        assert page.url == one.page.address + "bench"
        page.go_back()
        assert "#" not in page.url


class Listening(BaseHTTPRequestHandler):
    """Another program on another port of this host. It keeps what it receives."""

    heads: ClassVar[list[str]] = []

    def do_GET(self) -> None:
        self.heads.append(str(self.headers))
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(b"<!doctype html><title>Other</title><link rel=icon href='data:,'>")

    def log_message(self, format: str, *args: Any) -> None:
        pass


@contextmanager
def another_port() -> Iterator[int]:
    Listening.heads.clear()
    with HTTPServer(("127.0.0.1", 0), Listening) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield int(server.server_address[1])
        finally:
            server.shutdown()
            thread.join()


def test_the_token_reaches_no_other_port_of_this_host(browser: Any, one: Made) -> None:
    with device(browser) as page, another_port() as port:
        pair(page, one)
        token = page.evaluate("localStorage.getItem('kerfcall-token')")
        assert one.page.devices.of_token(token) is not None
        assert page.context.cookies() == []
        page.goto(f"http://127.0.0.1:{port}/")
        assert page.evaluate("[document.cookie, localStorage.length, sessionStorage.length]") == ["", 0, 0]
        # Nor can its page read ours, use our token or pretend to be ours.
        for path in ("paired", "sessions", "bench"):
            asked = f"fetch('{one.page.address}{path}').then(() => 'read', () => 'refused')"
            assert page.evaluate(asked) == "refused"
        leave = f"fetch('{one.page.address}leave', {{ method: 'POST', mode: 'no-cors' }})"
        page.evaluate(f"{leave}.catch(() => 0)")
        assert len(one.page.devices.all()) == 1
        assert Listening.heads and not any(token in head for head in Listening.heads)
        page.goto(one.page.address)
        page.wait_for_selector("[data-link=live]")


@pytest.mark.parametrize("path", every(2, ["", "bench"]))
@pytest.mark.long
def test_a_paired_device_that_comes_by_a_foreign_link_is_let_in(browser: Any, one: Made, path: str) -> None:
    with device(browser) as page:
        pair(page, one)
        page.goto("data:text/html,<a href='" + one.page.address + path + "'>go</a>")
        page.click("a")
        page.wait_for_selector("[data-link=live]")


@pytest.mark.long
def test_a_page_that_is_loaded_again_stays_paired(browser: Any, one: Made) -> None:
    """By a reload, in another tab, and when the browser is opened another time."""
    with device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        page.reload()
        shows(page, "#reading", "3.18")
        with page.context.new_page() as other:
            other.goto(one.page.address)
            shows(other, "#reading", "3.18")
        kept = page.context.storage_state()
    assert kept["cookies"] == []
    with device(browser, storage_state=kept) as page:
        page.goto(one.page.address)
        shows(page, "#reading", "3.18")
    assert len(one.page.devices.all()) == 1


def test_an_unpaired_device_gets_the_door_at_the_pages_own_address_too(browser: Any, one: Made) -> None:
    with device(browser) as page:
        page.goto(one.page.address + "bench")
        page.wait_for_selector("#door")
        assert page.url == one.page.address


def test_a_browser_that_stores_nothing_says_so_before_a_code_is_used_up(browser: Any, one: Made) -> None:
    with device(browser) as page:
        page.add_init_script(
            "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('', 'SecurityError'); } })"
        )
        page.goto(one.page.address)
        page.fill("#code", one.page.codes.begin())
        page.click("#pair button")
        shows(page, "#message", "This browser stores nothing for this page")
        assert one.page.codes.left_s() > 0


@pytest.mark.long
def test_forgetting_the_device_shuts_the_door(browser: Any, one: Made) -> None:
    with device(browser) as page:
        pair(page, one)
        page.click("[data-tab=about]")
        page.click("#leave")
        page.wait_for_selector("#door")
        assert one.page.devices.all() == ()
        assert page.evaluate("localStorage.length") == 0


def test_a_revoked_device_is_sent_to_the_door(browser: Any, one: Made) -> None:
    with device(browser) as page:
        pair(page, one)
        one.page.devices.revoke(None)
        page.wait_for_selector("#door")


# --- live


def test_every_event_reaches_the_page(browser: Any, tmp_path: Path) -> None:
    """Each pass or a later one, never before the session's turn by this machine's clock. A bench measures the delay."""
    job = made_job(width=2100, finger=700, ends=1, parts="A")
    with made(tmp_path, job) as one, device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        page.wait_for_selector("#reading:not([hidden])")
        page.evaluate(WATCH)
        sent: dict[int, float] = {}
        for _ in range(EVENTS):
            sent[one.runner.state.cursor + 1] = time.time() * 1000
            one.gesture("tap")
            page.wait_for_timeout(15)
        shows(page, "#pass", f"Pass {EVENTS + 1} of {one.runner.state.passes}")
        seen = {int(number): at for number, at in page.evaluate("window.seenAt").items()}
    took = delays(sent, seen)
    assert len(seen) > EVENTS / 2
    assert len(took) == EVENTS
    assert min(took) > -5


@pytest.mark.long
def test_two_devices_follow_one_session(browser: Any, one: Made) -> None:
    with device(browser, PHONE) as phone, device(browser, TABLET) as tablet:
        for page in (phone, tablet):
            pair(page, one)
        one.to_first_pass()
        one.gesture("tap")
        for page in (phone, tablet):
            shows(page, "#reading", "6.02")
            shows(page, "#pass", "Pass 2 of 14")
            shows(page, "#counts", "1 of 56 passes cut in all")
        phone.click('#doing [data-do="stand by"]')
        until(lambda: drain(one.runner) or one.runner.state.mode == "standing by")  # type: ignore[func-returns-value]
        for page in (phone, tablet):
            shows(page, "#mode", "STANDING BY")


def test_the_page_shows_that_its_server_was_killed_and_finds_it_again(browser: Any, tmp_path: Path) -> None:
    """The real process is killed without warning in mid-session. Nobody touches the page."""
    first = _serve(tmp_path, 0)
    port = first.port
    with device(browser) as page:
        page.goto(f"http://127.0.0.1:{port}/#{first.code}")
        shows(page, "#place", "Setup 1 of 4")
        os.kill(first.process.pid, signal.SIGKILL if sys.platform != "win32" else signal.SIGTERM)
        first.end()
        page.wait_for_selector("body[data-link=stale]", timeout=6000)
        assert re.match(r"Old: no news for \d+ s", page.inner_text("#link-text"))
        second = _serve(tmp_path, port)
        try:
            page.wait_for_selector("body[data-link=live]", timeout=10_000)
            shows(page, "#place", "Setup 1 of 4")
            page.reload()
            page.wait_for_selector("body[data-link=live]")
        finally:
            second.end()


def words_of(page: Any) -> str:
    """In every part of the page, also in those not visible now."""
    return str(page.evaluate("[...document.querySelectorAll('main')].map((part) => part.textContent).join(' ')"))


def test_what_a_long_press_does_and_what_was_refused_go_when_the_state_goes(browser: Any, one: Made) -> None:
    """A refused answer is one line, and goes with its question."""
    with device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        one.gesture("hold")
        shows(page, "#hint", "long press: carry on")
        at = one.clock.at()
        one.turn(Heard(at, one.clock.utc(), "end", None, "", at, one.runner.state.generation))
        shows(page, "#hint", "long press: yes")
        for _ in range(3):
            one.gesture("tap")
        line = "A tap is not an answer."
        shows(page, "#hands", line)
        until(lambda: f"{line} (3 times)" in words_of(page))
        rows = page.locator("#entries li", has_text=line)
        assert rows.count() == 1
        one.gesture("double")
        shows(page, "#hint", "long press: carry on")
        one.gesture("hold")
        shows(page, "#hint", "long press: confirmed")
        playwright.expect(rows).to_have_count(0)
        page.wait_for_timeout(200)
        assert "Standing by." in words_of(page)
        assert "carry on" not in words_of(page) and line not in words_of(page)


def test_after_a_kill_while_standing_by_the_resumed_page_no_longer_says_how_to_carry_on(
    browser: Any, tmp_path: Path
) -> None:
    """The program itself in a terminal is killed without warning. Its page stays open, and nobody touches it."""
    rigs = pytest.importorskip("tests.screens.view_rig", reason="pyte is not installed")
    from tests.screens.test_view import PLAN, SHOP, SILENT, drawn, to_the_first_pass

    port = 18_439
    command = rigs.program(tmp_path, "--page", "--port", str(port), plan=PLAN, shop=SHOP)
    first = rigs.Rig(command, 120, 40)
    try:
        code = re.compile(r"To pair a device: code (\d{4}) ?(\d{4})")
        found = code.search(first.until(lambda page: code.search(page) is not None))
        assert found is not None
        with device(browser) as page:
            page.goto(f"http://127.0.0.1:{port}/#{found[1]}{found[2]}")
            shows(page, "#reading", "KEEP CLEAR")
            first.send("d")  # removes the code, which covered what is asked: only from now on does that count as shown
            first.until(lambda page: "To pair a device" not in page)
            to_the_first_pass(first)
            time.sleep(1.0)  # the same key sooner is auto-repeat
            first.send("h")
            shows(page, "#hint", "long press: carry on")
            shows(page, "#mode", "STANDING BY")
            first.process.kill()
            page.wait_for_selector("body[data-link=stale]", timeout=6000)
            assert not page.is_visible("#hint .meaning")
            state = ("--state", str(tmp_path / "state"))
            with_page = ("--page", "--port", str(port))
            second = rigs.Rig([sys.executable, "-m", "assistant", "resume", *state, *SILENT, *with_page], 120, 40)
            try:
                second.until(drawn("UNTOUCHED?"))
                shows(page, "#asked", "untouched?", timeout_ms=15_000)
                shows(page, "#hint", "long press: yes")
                page.wait_for_timeout(300)
                assert "carry on" not in words_of(page)
                second.until(drawn("UNTOUCHED?"), lambda page: "carry on" not in page)
            finally:
                second.close()
    finally:
        first.close()


class _serve:  # noqa: N801 - reads as the action it is
    """`page_child.py` in a separate process."""

    def __init__(self, folder: Path, port: int):
        command = [sys.executable, "-m", "tests.screens.page_child", str(folder), str(port)]
        root = Path(__file__).parents[2]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=root)
        assert self.process.stdout is not None
        told = json.loads(self.process.stdout.readline())
        self.port, self.code = told["port"], told["code"]

    def end(self) -> None:
        self.process.kill()
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()


def test_a_page_that_becomes_visible_again_catches_up(browser: Any, one: Made) -> None:
    with device(browser) as page:
        pair(page, one)
        hide = "hidden => { Object.defineProperty(document, 'hidden', { value: hidden, configurable: true });"
        hide += " document.dispatchEvent(new Event('visibilitychange')); return document.body.dataset.link; }"
        # What it showed is old from the very moment: that is what is seen first when it is looked at again.
        assert page.evaluate(hide, True) == "stale"
        assert page.inner_text("#reading") == "OLD"
        until(lambda: one.page.hub.streams == 0)
        one.to_first_pass()
        one.gesture("tap")
        page.evaluate(hide, False)
        shows(page, "#pass", "Pass 2 of 14")


# --- what can be done


def test_a_note_is_kept(browser: Any, one: Made) -> None:
    with device(browser) as page:
        pair(page, one)
        page.click("#note-open")
        page.fill("#note-text", "tear-out at <b>the</b> back")
        page.click("text=Save it")
        shows(page, "#message", "Noted.")
    drain(one.runner)
    facts = [record.fact for record in one.journal.replay(one.session)]
    assert facts[-1] == f.Noted(1, 0, "tear-out at <b>the</b> back")


def test_a_cut_takes_a_press_of_800_ms(browser: Any, one: Made) -> None:
    with device(browser) as page:
        pair(page, one)
        assert page.is_disabled("#cut")
        one.to_first_pass()
        page.wait_for_selector("#cut:enabled")
        page.wait_for_timeout(900)
        _press(page, 500)
        drain(one.runner)
        assert one.runner.state.cut_in_all == 0
        _press(page, 1000)
        until(lambda: drain(one.runner) or one.runner.state.cut_in_all == 1)  # type: ignore[func-returns-value]
        shows(page, "#pass", "Pass 2 of 14")
    cut = [record.fact for record in one.journal.replay(one.session) if isinstance(record.fact, f.PassCut)]
    assert [fact.by for fact in cut] == ["page"]


def test_a_press_is_dropped_when_something_else_is_asked_meanwhile(browser: Any, one: Made) -> None:
    with device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        page.wait_for_selector("#cut:enabled")
        page.wait_for_timeout(900)
        place = page.locator("#cut").bounding_box()
        page.mouse.move(place["x"] + 20, place["y"] + 20)
        page.mouse.down()
        page.wait_for_timeout(300)
        one.gesture("tap")
        page.wait_for_timeout(1000)
        page.mouse.up()
        drain(one.runner)
        assert one.runner.state.cut_in_all == 1


def _press(page: Any, milliseconds: int) -> None:
    place = page.locator("#cut").bounding_box()
    page.mouse.move(place["x"] + 20, place["y"] + 20)
    page.mouse.down()
    page.wait_for_timeout(milliseconds)
    page.mouse.up()


def test_the_cut_button_is_there_only_if_the_shop_file_allows_it(browser: Any, tmp_path: Path) -> None:
    with made(tmp_path, made_job()) as one, device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        page.wait_for_selector("#reading:not([hidden])")
        assert not page.is_visible("#cut")


# --- what is seen


SMALL_AND_LYING = [(360, 740), (320, 640), (740, 360), (844, 390), (1180, 820)]


@pytest.mark.parametrize("unit", every(2, ["mm", "in"]))
@pytest.mark.long
def test_what_to_keep_clear_is_big_and_whole(browser: Any, tmp_path: Path, unit: str) -> None:
    """By hand: 600 mm are 23.62 in; 10.3 mm of depth and 15 mm above it, 0.996 in."""
    job = made_job(width=600)
    job = replace(job, carriage=replace(HANDWHEEL, zero="outside")) if unit == "in" else job
    zone = {
        "mm": ["KEEP CLEAR", "0 TO 595 MM", "BELOW 26 MM"],
        "in": ["KEEP CLEAR", "0 TO 23-7/16 IN", "BELOW 1 IN"],
    }
    with made(tmp_path, job) as one, device(browser) as page:
        pair(page, one)
        shows(page, "#reading", "KEEP CLEAR")
        for width, height in at_sizes(page, SMALL_AND_LYING):
            lines = page.locator("#reading .number")
            assert lines.all_inner_texts() == zone[unit]
            for line in lines.all():
                box = line.bounding_box()
                assert box["height"] >= 24 and box["x"] >= 0 and box["x"] + box["width"] <= width
            for part in ("#reading", "#asked", "#hint"):
                box = page.locator(part).bounding_box()
                assert box["y"] + box["height"] <= height, (part, width)
        assert "above the bed." in page.inner_text("#asked")
        one.to_first_pass()
        shows(page, "#pass", "Pass 1 of")
        assert "KEEP CLEAR" not in words_of(page)


def in_the_table(page: Any) -> list[list[str]]:
    """What can be seen of each line of the job's table."""
    lines = page.locator("#setups-rows tr").all()
    return [[cell.inner_text() for cell in line.locator("td").all() if cell.is_visible()] for line in lines]


def test_the_job_is_a_table_that_follows_each_turn_and_changes_nothing(browser: Any, tmp_path: Path) -> None:
    """A board on its way out, spoilt, and the one in its place: as the session has it, at every size."""
    a_job = with_pass_time(job(plan(count=2), few_checks()), 0.0)
    with made(tmp_path, replace(a_job, run_down_s=0.0)) as one, device(browser, TABLET) as page:
        pair(page, one)
        one.to_first_pass()
        page.click("[data-tab=job]")
        shows(page, "#setups-rows tr:nth-child(1) .of-status", "begun, in the clamps")
        state = one.runner.state
        assert len(in_the_table(page)) == len(state.the_job.setups)
        one.gesture("tap")
        shows(page, "#setups-rows tr:nth-child(1) .of-cut", f"1 of {state.passes}")
        one.turn(Heard(one.clock.at(), one.clock.utc(), Intent.SPOILT, 1, "", one.clock.at(), -1, By.KEYS))
        one.gesture("hold")
        assert one.runner.state.leaves
        shows(page, "#setups", "spoilt, in the clamps")
        page.click("[data-tab=now]")
        shows(page, "#mode", "SAW OFF")
        shows(page, "#reading", "BOARD OUT")
        assert page.inner_text("#pass") == f"1 of {state.passes} cut"
        assert re.match(r"Setup 1: ", page.inner_text("#place")), "it counts no more"
        page.click("[data-tab=job]")
        told = rows_of(one.runner.state.the_job, standing_of(one.runner.state))
        for width, _ in at_sizes(page, [*SMALL_AND_LYING, (1440, 900)]):
            lines = in_the_table(page)
            assert [line[0] for line in lines] == [str(row.number) for row in told]
            for row, line in zip(told, lines, strict=True):
                assert line[1] == f"{row.board}, {row.copies}"
                assert f"{row.cut} of {row.passes}" in line and line[-1].startswith(row.status)
                assert ("in the clamps" in line[-1]) == row.clamped and line[-1].endswith("next") == row.next
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            wide, room = page.evaluate("[at('setups').scrollWidth, at('setups').clientWidth]")
            assert wide <= room, width
        assert page.locator("#job :is(button, input, a, select)").count() == 0, "only to be read"
        one.to_first_pass()
        shows(page, "#setups-rows tr:nth-child(1) .of-status", "begun, in the clamps")
        page.click("[data-tab=now]")
        assert re.match(r"Setup \d+(?: \(\d of 8\))?", page.inner_text("#place"))


LINES_END = """() => {
  const found = [];
  const texts = document.querySelectorAll("#reading, #then, #before, #asked, #way, #faults li, #entries .text");
  for (const place of texts) {
    const walker = document.createTreeWalker(place, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      let before = null;
      for (const word of node.data.matchAll(/\\S+/g)) {
        const range = document.createRange();
        range.setStart(node, word.index);
        range.setEnd(node, word.index + word[0].length);
        const box = range.getBoundingClientRect();
        if (before && box.height && before.bottom <= box.top + box.height / 2) found.push([before.word, word[0]]);
        before = { word: word[0], bottom: box.bottom };
      }
    }
  }
  return found;
}"""
"""Pairs of words: the first ends a line, the second begins the next."""


@pytest.mark.parametrize(
    "carriage", [pytest.param(INCHES, id="inches"), pytest.param(HANDWHEEL, id="handwheel", marks=pytest.mark.long)]
)
def test_no_quantity_is_split_at_any_width(browser: Any, tmp_path: Path, carriage: Carriage) -> None:
    a_job = with_pass_time(job(plan(width=84, parts="A"), carriage=carriage), 0.0)
    seen: set[tuple[str, str]] = set()
    with made(tmp_path, a_job) as one, device(browser) as page:
        pair(page, one)
        for gesture in (*["hold"] * 6, "tap", "double", ""):
            if gesture:
                one.gesture(gesture)
            page.wait_for_timeout(100)
            # The log keeps every line, so it is looked at once, at the end.
            tab = "now" if gesture else "log"
            for width in (320, 360, 400, 480, 844, 1440):
                page.set_viewport_size({"width": width, "height": 800})
                assert page.evaluate("window.innerWidth") == width
                # Clicked within the page: that waits for no frame to be drawn, and layout needs none.
                click = f"document.querySelector('[data-tab={tab}]').click()"
                found = page.evaluate(f"() => {{ {click}; return ({LINES_END})(); }}")
                ends = {(before, after) for before, after in found}
                assert [end for end in ends if together(" ".join(end))] == [], width
                seen |= ends
                assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert one.runner.state.cut_in_all == 1
    assert len(seen) > 50


@pytest.mark.long
def test_at_a_setups_end_saw_off_and_the_count_are_big_and_the_wait_counts_down(browser: Any, tmp_path: Path) -> None:
    """As big as what to keep clear, and nothing cut off. The page counts by itself."""
    with made(tmp_path, made_job(run_down_s=8.0)) as one, device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        shows(page, "#reading", "3.18")
        assert not page.is_visible("#wait")
        _cut_all(one)
        shows(page, "#wait", "Wait ")
        assert not page.locator("#hint", has_text="confirmed").count()
        seen = [int(page.inner_text("#wait").split()[1])]
        lines = page.locator("#reading .number")
        assert lines.all_inner_texts() == ["SAW OFF", "COUNT 7"]
        assert "When the blade has stopped, count 7 sockets." in page.inner_text("#asked")
        for width, height in at_sizes(page, SMALL_AND_LYING):
            for line in lines.all():
                box = line.bounding_box()
                assert box["height"] >= 40 and box["x"] >= 0 and box["x"] + box["width"] <= width
            for part in ("#reading", "#asked", "#wait", "#hint"):
                box = page.locator(part).bounding_box()
                assert box["y"] + box["height"] <= height, (part, width)
        while page.is_visible("#wait"):
            words = page.text_content("#wait").split()
            seen += [int(words[1])] if words and int(words[1]) != seen[-1] else []
            page.wait_for_timeout(100)
        assert seen[0] <= 8 and len(seen) >= 3 and seen == sorted(seen, reverse=True) and seen[-1] >= 1
        assert lines.all_inner_texts() == ["SAW OFF", "COUNT 7"]
        shows(page, "#hint", "long press: confirmed")
        one.gesture("hold")
        shows(page, "#reading", "KEEP CLEAR")


def _cut_all(one: Made) -> None:
    while one.runner.state.mode == "cutting":
        one.gesture("tap")


def test_the_introduction_of_a_resumed_session_is_shown_with_its_question(browser: Any, one: Made) -> None:
    one.to_first_pass()
    one.gesture("tap")
    with device(browser) as page:
        pair(page, one)
        one.turn(Resume(one.clock.at(), one.clock.utc()))
        shows(page, "#before", "See that the saw is off.")
        shows(page, "#asked", "untouched?")


@pytest.mark.long
def test_cut_current_and_to_come_differ_by_more_than_colour_beside_the_machines_stop(
    browser: Any, tmp_path: Path
) -> None:
    job = made_job()
    job = replace(job, carriage=replace(job.carriage, stop_side="right"))
    with made(tmp_path, job) as one, device(browser) as page:
        one.to_first_pass()
        one.gesture("tap")
        one.gesture("tap")
        pair(page, one)
        page.wait_for_selector("#board .blade")
        drawn = page.evaluate(
            """() => {
              const style = (name) => getComputedStyle(document.querySelector(`#board .${name}`));
              const count = (name) => document.querySelectorAll(`#board .${name}`).length;
              return { dashed: style("to-come").strokeDasharray, gaps: count("gap"), marks: count("here"),
                       sockets: count("to-come"), label: document.getElementById("board").getAttribute("aria-label") };
            }"""
        )
        at = "document.querySelector('#board .{}').getBBox()"
        assert page.evaluate(at.format("stop") + ".x") > page.evaluate(at.format("wood") + ".x")
        assert "to the right stop" in page.inner_text("#way")
    assert drawn["dashed"] != "none"
    # Two passes make one socket at the edge; the third opens the next.
    assert (drawn["gaps"], drawn["marks"], drawn["sockets"]) == (1, 1, 7)
    assert drawn["label"].endswith("7 sockets, 2 of 14 passes cut, pass 3 is called now")


@pytest.mark.long
def test_the_log_the_drawing_and_the_sessions(browser: Any, tmp_path: Path) -> None:
    picture = b'<svg xmlns="http://www.w3.org/2000/svg" width="40" height="20"><rect width="40" height="20"/></svg>'
    with made(tmp_path, drawing=picture) as one, device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        for _ in range(4):
            one.gesture("tap")
        one.turn(Heard(one.clock.at(), one.clock.utc(), "back", None, "marigold return to previous", one.clock.at(), 0))
        page.click("[data-tab=log]")
        shows(page, "#entries li:first-child", "marigold return to previous")
        page.click("[data-tab=drawing]")
        page.wait_for_selector("#sheets img")
        until(lambda: page.evaluate("document.querySelector('#sheets img').naturalWidth") == 40)
        page.click("[data-tab=sessions]")
        page.click("#rows button")
        shows(page, "#session-sums", "4 of 56 passes cut")
        assert page.locator("#pace .take").count() == 4
        assert page.locator("#boards figure").count() == 2
        sizes = """[...document.querySelectorAll("#session svg text:not([transform])")]
          .map((one) => parseFloat(getComputedStyle(one).fontSize) * one.getScreenCTM().a)"""
        for width, _ in at_sizes(page, [(360, 740), (1440, 900)]):
            assert all(10.9 <= size <= 16.1 for size in page.evaluate(sizes)), width
        assert "pass 4 cut, recorded by pedal" in page.inner_text("#account")


@pytest.mark.long
def test_text_from_outside_is_never_taken_for_markup(browser: Any, tmp_path: Path) -> None:
    evil = "<img src=x onerror=alert(1)>"
    job = made_job()
    job = replace(job, title=evil, setups=tuple(replace(setup, board=evil) for setup in job.setups))
    with made(tmp_path, job) as one, device(browser) as page:
        pair(page, one)
        shows(page, "#place", evil)
        page.click("[data-tab=sessions]")
        page.click("#rows button")
        page.wait_for_selector("#session:not([hidden])")
        assert page.locator("img").count() == 0


# --- accessibility


def _axe() -> str:
    package = pytest.importorskip("axe_playwright_python", reason="axe-core is not installed")
    return (Path(package.__file__).parent / "axe.min.js").read_text(encoding="utf-8")


@pytest.mark.parametrize("scheme", every(2, ["dark", "light"]))
def test_axe_core_finds_nothing_serious(browser: Any, tmp_path: Path, scheme: str) -> None:
    """axe-core, all its rules, on every part of the page and on the door."""
    axe = _axe()
    picture = b"<svg xmlns='http://www.w3.org/2000/svg'/>"
    # The page's own policy allows no script, not even axe's, so the browser ignores the policy here.
    phone = device(browser, PHONE, color_scheme=scheme, bypass_csp=True)
    with made(tmp_path, made_job(may_record_cuts=True), drawing=picture) as one, phone as page:
        page.goto(one.page.address)
        found = {"door": _violations(page, axe)}
        pair(page, one)
        found["checks"] = _violations(page, axe)
        one.to_first_pass()
        one.gesture("tap")
        page.wait_for_selector("#reading:not([hidden])")
        found["now"] = _violations(page, axe)
        one.turn(DeviceChanged(one.clock.at(), one.clock.utc(), "microphone", "lost", "Voice is off."))
        one.gesture("hold")
        shows(page, "#mode", "STANDING BY")
        found["standing by, voice lost"] = _violations(page, axe)
        for tab in ("job", "log", "drawing", "sessions", "about"):
            page.click(f"[data-tab={tab}]")
            page.wait_for_timeout(200)
            found[tab] = _violations(page, axe)
        page.click("[data-tab=sessions]")
        page.click("#rows button")
        page.wait_for_selector("#session:not([hidden])")
        found["session"] = _violations(page, axe)
    assert {part: names for part, names in found.items() if names} == {}


def _violations(page: Any, axe: str) -> list[str]:
    if page.evaluate("typeof axe") == "undefined":
        page.evaluate(axe)
    result = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
    assert len(result["passes"]) > 5
    return [f"{one['impact']}: {one['id']}: {one['nodes'][0]['html']:.120}" for one in result["violations"]]
