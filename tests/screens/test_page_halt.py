"""The halt that fills the page while a driven carriage moves, and the page around it, in a real browser."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from assistant.plans.intents import Intent
from assistant.plans.mishaps import Mishap
from assistant.session.events import Event, Heard
from tests.runner.adapters import drain
from tests.screens.driven_session import PageSeat, every_turn, page_job, to_moving
from tests.screens.page_made import Made, made
from tests.screens.test_page_chromium import CHROMIUM, PHONE, TABLET, device, pair, shows, until
from tests.screens.test_page_regions import CONTRAST, LEAST_CONTRAST, LOOK, REGIONS, SIZES

pytestmark = [pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed")]

COVERED = """() => {
  const halt = document.getElementById("halt");
  const points = [0.002, 0.25, 0.5, 0.75, 0.998];
  const over = [...halt.children].filter((one) => one.offsetParent || getComputedStyle(one).position === "fixed")
    .map((one) => one.getBoundingClientRect())
    .filter((b) => b.width && (b.left < -1 || b.top < -1 || b.right > innerWidth + 1 || b.bottom > innerHeight + 1));
  const word = document.createRange();
  word.selectNodeContents(document.getElementById("halt-word"));
  const drawn = word.getBoundingClientRect();
  return {
    all: points.every((x) => points.every((y) => {
      return halt.contains(document.elementFromPoint(x * innerWidth, y * innerHeight));
    })),
    over: over.length + (drawn.left < 0 || drawn.right > innerWidth),
    high: parseFloat(getComputedStyle(document.getElementById("halt-word")).fontSize) * 0.72,
    page: [document.documentElement.scrollWidth - innerWidth, document.documentElement.scrollHeight - innerHeight],
  };
}"""
HALT_CONTRAST = CONTRAST.replace('"#now *, header *"', '"#halt *"')


@pytest.fixture
def one(tmp_path: Path) -> Iterator[Made]:
    with made(tmp_path, page_job()) as it:
        yield it


def halted_by_page(one: Made, session: PageSeat, times: int) -> bool:
    drain(one.runner)
    return session.drive.halts == times


def test_no_region_moves_in_any_state_of_a_driven_carriage_and_all_of_it_fits(browser: Any, one: Made) -> None:
    """One of each kind at every size, with the halt over it while it moves; contrast in light and dark."""
    session = PageSeat(one)
    places: dict[tuple[int, int], Any] = {}
    kinds: set[object] = set()
    moved = 0
    with device(browser) as page:
        pair(page, one)
        for name in every_turn(session):
            state = one.runner.state
            move = state.driving.move
            kind = (state.effective_mode, state.question, move and (move.what, move.step, move.held))
            if kind in kinds and not name.startswith("lost"):
                continue
            kinds.add(kind)
            until(lambda: page.evaluate("seen.state.asked_id") == one.runner.state.generation)
            if name.startswith("lost"):
                shows(page, "#mode", "CARRIAGE LOST")
            moving = session.mode in ("homing", "moving")
            moved += moving
            for width, height in SIZES:
                where = (name, width)
                page.set_viewport_size({"width": width, "height": height})
                page.evaluate("fit()")
                looked = page.evaluate(LOOK)
                assert tuple(looked["regions"]) == REGIONS
                assert places.setdefault((width, height), looked["regions"]) == looked["regions"], where
                assert looked["over"] == [], where
                assert looked["page"] == [0, 0], where
                assert looked["least"] >= 11, where
                assert page.is_visible("#halt") == moving, where
                if moving:
                    covered = page.evaluate(COVERED)
                    assert covered["all"] and not covered["over"] and covered["page"] == [0, 0], (where, covered)
                    assert covered["high"] >= 60, where
                if session.mode in ("move asked", "halted"):
                    assert page.evaluate("parseFloat(at('reading').style.fontSize)") >= 36, where
                if session.mode == "cutting" and not name.startswith("lost"):
                    assert all(high * 0.72 >= 60 for *_, high in looked["numbers"]), where
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)
                for how in (CONTRAST, *([HALT_CONTRAST] if moving else [])):
                    ratio, what = page.evaluate(how)
                    assert ratio >= LEAST_CONTRAST, (name, scheme, what, ratio)
    assert moved >= 4 and len(kinds) > 10


def test_the_cautions_of_the_motor_are_whole_before_its_first_move(browser: Any, one: Made) -> None:
    PageSeat(one)
    with device(browser) as page:
        pair(page, one)
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            page.evaluate("fit()")
            assert "Its screw can crush" in page.inner_text("#first")
            first = "document.getElementById('first')"
            high, room = page.evaluate(f"[{first}.scrollHeight, {first}.clientHeight]")
            assert high <= room, width
            assert page.evaluate(LOOK)["over"] == []


def test_a_touch_anywhere_halts_and_reaches_the_server(browser: Any, one: Made) -> None:
    """In every corner, and on every other part of the page. It stays until it stands."""
    session = PageSeat(one)
    came: list[Event] = []
    posted = one.page._post
    assert posted is not None

    def post(event: Event) -> None:
        came.append(event)
        posted(event)

    one.page._post = post
    with device(browser, PHONE, has_touch=True) as page:
        pair(page, one)
        page.click("[data-tab=log]")
        to_moving(session)
        page.wait_for_selector("#halt")
        shows(page, "#halt-way", "MOVES UP TO 6.02")
        points = [(3, 3), (PHONE["width"] - 3, 3), (3, PHONE["height"] - 3), (195, 422), (195, 20)]
        for number, (x, y) in enumerate(points, 1):
            page.touchscreen.tap(x, y)
            until(lambda: halted_by_page(one, session, number))  # noqa: B023
            assert page.is_visible("#halt"), "it moves until the drive says that it stands"
        assert [event.intent for event in came if isinstance(event, Heard)] == [Intent.HALT] * len(points)
        session.halt(Fraction(1))
        page.wait_for_selector("#halt", state="hidden")
        page.wait_for_timeout(900)
        page.click("[data-tab=now]")
        shows(page, "#mode", "HALTED")
        shows(page, "#reading", "5.02")


def test_the_mouse_and_every_key_halt_too(browser: Any, one: Made) -> None:
    session = PageSeat(one)
    with device(browser, TABLET) as page:
        pair(page, one)
        to_moving(session)
        page.wait_for_selector("#halt")
        for number, key in enumerate(("Enter", "Space", "Escape", "x", "ArrowDown", "F5", "Tab"), 1):
            page.keyboard.press(key)
            until(lambda: halted_by_page(one, session, number))  # noqa: B023
        page.mouse.click(600, 400)
        until(lambda: halted_by_page(one, session, 8))
        page.locator("#halt").dispatch_event("click", {"detail": 0})  # as a screen reader presses it
        until(lambda: halted_by_page(one, session, 9))
        assert session.mode == "moving"


def test_the_touches_after_the_one_that_halts_do_nothing_else(browser: Any, one: Made) -> None:
    """Somebody frightened drums on the page: what lies under the finger once it stands is not meant."""
    session = PageSeat(one)
    with device(browser, PHONE, has_touch=True) as page:
        pair(page, one)
        while session.mode != "cutting":
            session.go_on()
        place = page.locator('#doing [data-do="stand by"]').bounding_box()
        x, y = place["x"] + place["width"] / 2, place["y"] + place["height"] / 2
        session.tap()
        page.wait_for_selector("#halt")
        before = one.runner.state.generation
        page.touchscreen.tap(x, y)
        until(lambda: halted_by_page(one, session, 1))
        session.halt(Fraction(1))
        page.wait_for_selector("#halt", state="hidden")
        sent: list[str] = []
        page.on("request", lambda request: sent.append(request.url) if request.url.endswith("/do") else None)
        for _ in range(4):
            page.touchscreen.tap(x, y)
        page.wait_for_timeout(300)
        drain(one.runner)
        assert sent == [] and session.mode == "halted" and not session.drive.moving
        assert one.runner.state.generation == before + 1, "halted, and nothing since"
        page.wait_for_timeout(800)
        page.touchscreen.tap(x, y)
        until(lambda: drain(one.runner) or session.mode == "standing by")  # type: ignore[func-returns-value]


def test_with_old_news_the_halt_is_struck_out_and_still_gets_through(browser: Any, one: Made) -> None:
    session = PageSeat(one)
    with device(browser, PHONE, has_touch=True) as page:
        pair(page, one)
        to_moving(session)
        page.wait_for_selector("#halt")
        page.route("**/stream", lambda route: route.abort())
        page.evaluate("connection.abort()")
        page.wait_for_selector("body[data-link=stale]")
        shows(page, "#halt-state", "OLD")
        struck = "getComputedStyle(document.getElementById('halt-way')).textDecorationLine"
        assert page.evaluate(struck) == "line-through"
        assert page.evaluate(HALT_CONTRAST)[0] >= LEAST_CONTRAST
        assert page.evaluate(COVERED)["all"]
        page.touchscreen.tap(200, 500)
        until(lambda: halted_by_page(one, session, 1))
        page.unroute("**/stream")
        session.halt(Fraction(1))
        page.wait_for_selector("#halt", state="hidden", timeout=10_000)
        shows(page, "#mode", "HALTED")


def test_without_a_server_it_says_that_nothing_got_through(browser: Any, one: Made) -> None:
    session = PageSeat(one)
    with device(browser, PHONE, has_touch=True) as page:
        pair(page, one)
        to_moving(session)
        page.wait_for_selector("#halt")
        one.page.close()
        page.wait_for_selector("body[data-link=stale]")
        page.touchscreen.tap(200, 500)
        shows(page, "#halt-said", "Kerfcall does not respond. Nothing was done.")
        shows(page, "#halt-how", "use the pedal or the motor's red switch")
        assert page.is_visible("#halt")


def test_the_carriage_is_followed_in_its_travel(browser: Any, one: Made) -> None:
    """No event comes while it moves; the share is where the mark is drawn."""
    session = PageSeat(one)
    at = [Fraction(10)]
    one.page.hub.position = lambda: at[0]
    share = """() => {
      const [track, car] = ["track", "car"].map((name) => document.querySelector(`#halt-travel .${name}`));
      const [a, b] = [track, car].map((one) => one.getBoundingClientRect());
      return (b.left + b.width / 2 - a.left) / a.width;
    }"""
    with device(browser, TABLET) as page:
        pair(page, one)
        to_moving(session)
        for mm in (50, 120, 295):
            at[0] = Fraction(mm)
            shows(page, "#halt-travel .place", f"now {mm}.00")
            assert page.evaluate(share) == pytest.approx((mm + 5) / 305, abs=0.02)
        session.answer()
        page.wait_for_selector("#halt", state="hidden")
        shows(page, "#reading", "STANDS AT 6.02")
        shows(page, "#travel .place", "at 6.02")
        page.wait_for_timeout(600)
        assert "295" not in page.inner_text("#travel"), "what was reported last"


def test_no_button_starts_a_move(browser: Any, one: Made) -> None:
    session = PageSeat(one)
    named = "(one) => one.id || one.dataset.do || one.dataset.tab || one.dataset.mishap || one.textContent"
    buttons = f"() => [...document.querySelectorAll('button, [role=button], a, input[type=submit]')].map({named})"
    tabs = {"now", "job", "log", "drawing", "sessions", "about"}
    known = {*tabs, "again", "stand by", "note-open", "cut", "halt", "back", "leave"}
    known |= {"wrong-open", "wrong-stand-by", "wrong-back", *Mishap}
    with device(browser) as page:
        pair(page, one)
        for number, _ in enumerate(every_turn(session)):
            if number > 30:
                break
            until(lambda: page.evaluate("seen.state.asked_id") == one.runner.state.generation)
            assert set(page.evaluate(buttons)) - {"Save it"} == known
            enabled: Callable[[], bool] = lambda: page.is_enabled("#cut")  # noqa: E731
            assert enabled() == (session.mode == "cutting" and session.runner.state.driving.known)
