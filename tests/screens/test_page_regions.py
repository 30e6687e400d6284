"""What the bench page shows from two metres, in a real browser: fixed places, contrast, reach, and what is old.

Sizes: a small phone upright and lying, a tablet upright, a laptop's window, as the page was judged at.
"""

from __future__ import annotations

import base64
import time
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from assistant.joinery.model import Carriage
from assistant.plans.mishaps import Mishap
from assistant.session import facts as f
from assistant.session.asked import card_prompt
from assistant.session.events import DeviceChanged, Heard, Resume
from assistant.wording.prompts import Words
from assistant.wording.quantities import bound
from tests.runner.adapters import drain
from tests.screens.page_made import Made, made, made_job
from tests.screens.test_page_chromium import CHROMIUM, device, pair, shows, until
from tests.session.jobs import HANDWHEEL, few_checks, job, plan, with_pass_time

pytestmark = [pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed")]
SIZES = [(360, 740), (740, 360), (820, 1180), (1440, 900)]
REGIONS = ("top", "call", "work", "progress", "last", "doing", "hint")
LEAST_CONTRAST = 7.0
"""WCAG 2.2, success criterion 1.4.6 (enhanced contrast), for text of any size."""

LOOK = """() => {
  const box = (one) => { const b = one.getBoundingClientRect(); return [b.x, b.y, b.width, b.height].map(Math.round); };
  const seen = (one) => one.offsetParent !== null && getComputedStyle(one).visibility === "visible";
  const regions = Object.fromEntries([...document.querySelectorAll("#now > section")].map((one) => [one.id, box(one)]));
  const over = ["call", "task", "card", "asked", "state", "progress", "hint", "doing", "work"]
    .map((id) => document.getElementById(id))
    .filter((one) => seen(one))
    .filter((one) => one.scrollHeight > one.clientHeight + 1 || one.scrollWidth > one.clientWidth + 1);
  const texts = [...document.querySelectorAll("#now *, header *")]
    .filter((one) => !one.closest("svg") && seen(one))
    .filter((one) => [...one.childNodes].some((node) => node.nodeType === 3 && node.data.trim()));
  const small = texts.map((one) => parseFloat(getComputedStyle(one).fontSize));
  return {
    regions,
    over: over.map((one) => `${one.id} ${one.scrollWidth - one.clientWidth} ${one.scrollHeight - one.clientHeight}`),
    least: Math.min(...small),
    small: parseFloat(getComputedStyle(document.getElementById("place")).fontSize),
    drawn: [...document.querySelectorAll("#board text")].filter((one) => one.getBoundingClientRect().width)
      .map((one) => parseFloat(getComputedStyle(one).fontSize) * one.getScreenCTM().a)
      .map(Math.abs).filter((size) => size > 0),
    question: parseFloat(getComputedStyle(document.getElementById("asked")).fontSize),
    numbers: [...document.querySelectorAll("#reading .number")].filter(seen).map(box),
    buttons: [...document.querySelectorAll("#doing > button")].filter(seen).map(box),
    page: [document.documentElement.scrollWidth - innerWidth, document.documentElement.scrollHeight - innerHeight],
  };
}"""

CONTRAST = """() => {
  const parsed = (colour) => colour.match(/[\\d.]+/g).map(Number);
  const light = (colour) => {
    const linear = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    const [r, g, b] = parsed(colour).map((v) => linear(v / 255));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const behind = (one) => {
    for (; one; one = one.parentElement) {
      const colour = getComputedStyle(one).backgroundColor;
      if (parsed(colour)[3] !== 0) return colour;
    }
  };
  const found = [];
  for (const one of document.querySelectorAll("#now *, header *")) {
    const style = getComputedStyle(one);
    if (!one.offsetParent || style.visibility !== "visible" || one.disabled || one.closest(":disabled, svg")) continue;
    if (![...one.childNodes].some((node) => node.nodeType === 3 && node.data.trim())) continue;
    const [a, b] = [light(style.color), light(behind(one))].sort((x, y) => y - x);
    found.push([(a + 0.05) / (b + 0.05), one.id || one.className || one.tagName]);
  }
  return found.sort((x, y) => x[0] - y[0])[0];
}"""


def _say(one: Made, intent: str, phrase: str) -> None:
    at = one.clock.at()
    one.turn(Heard(at, one.clock.utc(), intent, None, phrase, at, one.runner.state.generation))


def _lose(one: Made, name: str) -> None:
    text = f"The {name} is lost: it was unplugged. Plug it in again, or go on by keys."
    one.turn(DeviceChanged(one.clock.at(), one.clock.utc(), name, "lost", text))


def _lose_three(one: Made) -> None:
    for name in ("microphone", "loudspeaker", "pedal"):
        _lose(one, name)


def _cut_all(one: Made) -> None:
    while one.runner.state.mode == "cutting":
        one.gesture("tap")


def _to_the_end(one: Made) -> None:
    while one.runner.state.mode != "finished":
        one.to_first_pass()
        _cut_all(one)


# In order: how one state is reached from the one before, and the words of its header.
WALK: list[tuple[Callable[[Made], object], str]] = [
    (lambda one: None, "CHECK 1 OF 2"),
    (lambda one: one.gesture("hold"), "CHECK 2 OF 2"),
    (lambda one: (one.gesture("hold"), one.gesture("tap")), "CUTTING"),
    (lambda one: _say(one, "back", "marigold return to previous"), "QUESTION"),
    (lambda one: (one.gesture("double"), one.gesture("hold")), "STANDING BY"),
    (lambda one: one.turn(Resume(one.clock.at(), one.clock.utc())), "QUESTION"),
    (lambda one: (one.gesture("hold"), one.gesture("double")), "QUESTION"),  # the longest
    (lambda one: (one.gesture("hold"), one.to_first_pass(), _cut_all(one)), "SAW OFF"),
    (lambda one: (one.to_first_pass(), _cut_all(one), one.to_first_pass()), "CUTTING"),  # first down, then up
    (lambda one: _lose(one, "microphone"), "CUTTING"),
    (_lose_three, "CUTTING"),
    (_to_the_end, "ALL CUT"),
]
ONE_STEP, STANDING_BY, TWO_STEPS, THREE_LOST = 2, 4, 8, 10
READ = (ONE_STEP, STANDING_BY, TWO_STEPS, THREE_LOST)
"""Where in the walk a screen reader's tree is looked at."""


def _slack() -> Any:
    """A carriage with play, so that a setting below the last has two steps, and a plan with two warnings."""
    warnings = ("The last segment is 3.2 mm, less than a finger of 6 mm.", "It may break as the joint is put together.")
    carriage = Carriage(backlash=Fraction(1, 5), travel=(Fraction(-10), Fraction(400)))
    return replace(made_job(may_record_cuts=True, width=18), carriage=carriage, warnings=warnings)


def _fits_at_every_size(page: Any, one: Made, places: dict[tuple[int, int], dict[str, Any]], which: Any) -> None:
    """places: of the regions, for each size; filled in at the first look."""
    until(lambda: page.evaluate("seen.state.asked_id") == one.runner.state.generation)
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        page.evaluate("fit()")
        looked = page.evaluate(LOOK)
        where = (which, width)
        assert tuple(looked["regions"]) == REGIONS
        assert places.setdefault((width, height), looked["regions"]) == looked["regions"], where
        assert looked["over"] == [], where
        assert looked["page"] == [0, 0], where
        assert 11 <= looked["least"] <= 16 and 11 <= looked["small"] <= 16, where
        assert all(10.9 <= size <= 16.1 for size in looked["drawn"]), where
        assert looked["question"] >= 16, where
        if one.runner.state.effective_mode == "cutting":
            least = 60 if len(looked["numbers"]) == 1 else 45
            # Figures are about 0.72 of their line.
            assert all(high * 0.72 >= least for *_, high in looked["numbers"]), where
        assert len(looked["buttons"]) == 5
        for x, y, wide, high in looked["buttons"]:
            assert x >= 0 and y >= 0 and x + wide <= width and y + high <= height and high >= 36, where


def test_no_region_moves_and_what_is_in_it_fits_and_can_be_read(browser: Any, tmp_path: Path) -> None:
    """Every state at every size, in light and dark; by a screen reader's tree too.

    Read from two metres: figures of a two-hundredth of the distance, 10 mm (common practice, no source). A phone's 360
    CSS pixels are about 60 mm wide, so that is 60 pixels; a tablet's are larger. Of two steps each has 45.
    """
    places: dict[tuple[int, int], dict[str, Any]] = {}
    told: dict[int, str] = {}
    seen: set[str] = set()
    with made(tmp_path, _slack()) as one, device(browser) as page:
        pair(page, one)
        for number, (go, word) in enumerate(WALK):
            go(one)
            shows(page, "#mode", word)
            _fits_at_every_size(page, one, places, (number, word))
            for scheme in ("light", "dark") if number in READ or word not in seen else ():
                page.emulate_media(color_scheme=scheme)
                ratio, what = page.evaluate(CONTRAST)
                assert ratio >= LEAST_CONTRAST, (number, word, scheme, what, ratio)
            seen.add(word)
            if number in READ:
                told[number] = page.locator("#now").aria_snapshot().replace("\u00a0", " ")
        assert page.inner_text("#place").startswith("Setup 4 of 4")
    # By hand: segments of 6 mm, a kerf of 3.18, sockets 0.02 wider at each side: 6 + 0.02, then 12 - 0.02 + 3.18.
    for text in ("CUTTING", "Pass 2 of 4", "6.02 mm", "then 15.16", "long press: stand by"):
        assert text in told[ONE_STEP], told[ONE_STEP]
    for text in ("STANDING BY", "Pending: pass 2 of 4.", "ask first: saw, clamps and guard", "long press: carry on"):
        assert text in told[STANDING_BY], told[STANDING_BY]
    for text in ("1 DOWN TO", "2 UP TO"):
        assert text in told[TWO_STEPS], told[TWO_STEPS]
    assert "alert" in told[THREE_LOST] and told[THREE_LOST].count("is lost: it was unplugged") == 3


def _tell(one: Made, mishap: Mishap) -> None:
    at = one.clock.at()
    one.turn(Heard(at, one.clock.utc(), "mishap", str(mishap), "", at, one.runner.state.generation, "page"))


@pytest.mark.parametrize(
    "mishaps",
    [
        # Between them they have every kind of question, and the last one's card is read below.
        pytest.param((Mishap.JAMMED, Mishap.SLIPPED, Mishap.MISPLACED, Mishap.BREAK), id="some"),
        pytest.param(tuple(Mishap), id="all", marks=pytest.mark.long),
    ],
)
def test_all_that_can_go_wrong_fits_with_its_questions_and_what_to_do(
    mishaps: tuple[Mishap, ...], browser: Any, tmp_path: Path
) -> None:
    """Every question after each mishap at every size, and the card while standing by. Another kerf changes nothing."""
    places: dict[tuple[int, int], dict[str, Any]] = {}
    asked: set[str] = set()
    with made(tmp_path, _slack()) as one, device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        one.gesture("tap")
        one.gesture("hold")
        shows(page, "#mode", "STANDING BY")
        _fits_at_every_size(page, one, places, "standing by")
        for mishap in mishaps:
            _tell(one, mishap)
            while question := one.runner.state.question:
                shows(page, "#mode", "QUESTION")
                assert not page.is_visible("#card")
                asked.add(question.name)
                # Of another blade it is asked whether the old one is back, and then the old kerf given.
                no = (mishap, question.name) == (Mishap.KERF, "verdict")
                if mishap == Mishap.BLADE:
                    no = question.name == "old blade" or (question.name == "figure" and "old blade" not in asked)
                if question.name == "figure" and (no or mishap != Mishap.BLADE):
                    one.gesture("tap")
                _fits_at_every_size(page, one, places, (mishap, question.name))
                one.gesture("double" if no else "hold")
            shows(page, "#mode", "STANDING BY")
            card = card_prompt(one.runner.state)
            assert card is not None
            shows(page, "#card", bound(Words(one.runner.state.the_job, figures=True).one(card)))
            _fits_at_every_size(page, one, places, (mishap, "card"))
            size = "parseFloat(getComputedStyle(document.getElementById('card')).fontSize)"
            assert page.evaluate(size) >= 16, mishap
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            ratio, what = page.evaluate(CONTRAST)
            assert ratio >= LEAST_CONTRAST, (scheme, what, ratio)
        live = " ".join(page.locator("#task[aria-live=polite]").all_text_contents())
        assert "Leave zero and clamps alone" in live
        page.wait_for_timeout(1200)
        one.gesture("hold")
        shows(page, "#asked", "Was the blade's height changed meanwhile?")
        _fits_at_every_size(page, one, places, "lowered")
    assert asked >= {"safe", "sure", "which", "figure", "side", "verdict"}
    assert ("old blade" in asked) == (Mishap.BLADE in mishaps)


LIST = """() => [...document.querySelectorAll("#wrong-head > *, #mishaps > button")].map((one) => {
  const box = one.getBoundingClientRect();
  const whole = one.scrollHeight <= one.clientHeight && one.scrollWidth <= one.clientWidth;
  const inside = box.left >= 0 && box.top >= 0 && box.right <= innerWidth && box.bottom <= innerHeight;
  const size = parseFloat(getComputedStyle(one).fontSize);
  const place = [box.x, box.y, box.width];
  return { kind: one.tagName, text: one.textContent, whole, inside, size, high: box.height, box: place };
})"""


def test_what_can_go_wrong_is_one_touch_each_at_every_size_once_the_session_stands_by(
    browser: Any, tmp_path: Path
) -> None:
    with made(tmp_path, _slack()) as one, device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        page.click("#wrong-open")
        shows(page, "#wrong-how", "Stand by first.")
        places: dict[tuple[int, int], Any] = {}

        def look(can: bool) -> None:
            for width, height in SIZES:
                page.set_viewport_size({"width": width, "height": height})
                page.wait_for_timeout(50)
                looked = page.evaluate(LIST)
                buttons = [each for each in looked if each["kind"] == "BUTTON"][2:]
                assert [each["text"].lower() for each in buttons] == [mishap.means for mishap in Mishap]
                for each in looked:
                    assert each["whole"] and each["inside"] and each["size"] >= 12, (width, each)
                assert all(each["high"] >= 36 and each["box"][2] >= 150 for each in buttons), width
                here = [each["box"] for each in buttons]
                assert places.setdefault((width, height), here) == here, width
                assert page.evaluate(LOOK)["page"] == [0, 0]
            enabled = page.locator("#mishaps button:enabled").count()
            assert enabled == (len(Mishap) if can else 0)
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)
                ratio, what = page.evaluate(CONTRAST.replace("#now *", "#wrong *"))
                assert ratio >= LEAST_CONTRAST, (scheme, what, ratio)

        look(can=False)
        page.click("#wrong-stand-by")
        until(lambda: drain(one.runner) or one.runner.state.mode == "standing by")  # type: ignore[func-returns-value]
        shows(page, "#wrong-how", "It is then asked at the saw: answer it there.")
        look(can=True)
        page.set_viewport_size({"width": 360, "height": 740})
        page.get_by_role("button", name="The work has jammed on the blade").click()
        until(lambda: drain(one.runner) or one.runner.state.question is not None)  # type: ignore[func-returns-value]
        shows(page, "#message", "Asked at the saw. Answer it there.")
        shows(page, "#reading", "JAMMED?")
        assert page.is_visible("#now") and not page.is_visible("#wrong")
        assert page.evaluate(FOCUSED)[0] == "wrong-open"
        assert page.locator("[aria-current]").all_inner_texts() == ["Now"]
        assert [record.fact for record in one.journal.replay(one.session) if record.fact.kind == "went_wrong"] == []
        page.click("#wrong-open")
        shows(page, "#wrong-how", "A question is open: answer it at the saw.")
        assert page.locator("#mishaps button:enabled").count() == 0
        page.click("#wrong-back")
        one.gesture("hold")
        shows(page, "#card", "Plug still out, turn the blade backwards with a piece of wood")
        told = [record.fact for record in one.journal.replay(one.session) if record.fact.kind == "went_wrong"]
        assert told == [f.WentWrong(1, 1, "jammed")]
        page.click("#wrong-open")
        one.page.close()
        shows(page, "#wrong-how", "No news from Kerfcall: nothing can be reported from here.")
        assert page.locator("#wrong button:enabled").all_inner_texts() == ["Back"]
        page.click("#wrong-back")
        struck = "getComputedStyle(document.getElementById('card')).textDecorationLine"
        assert page.evaluate(struck) == "line-through"


def test_the_longest_dial_setting_leaves_the_buttons_in_reach(browser: Any, tmp_path: Path) -> None:
    """The second end begins far below the first one's last pass: 338 turns down, past it, then up. Also at 200 %."""
    carriage = replace(HANDWHEEL, backlash=Fraction(1, 5), travel=(Fraction(-10), Fraction(700)))
    made_of = plan(width=600, finger=60, parts="A")
    wide = with_pass_time(job(made_of, few_checks(), carriage=carriage, kerf=Fraction(12)), 0.0)
    wide = replace(wide, page=replace(wide.page, may_record_cuts=True), run_down_s=0.0)
    with made(tmp_path, wide) as one, device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        _cut_all(one)
        one.to_first_pass()
        shows(page, "#reading", "2 UP TO")
        ways, numbers = page.locator("#reading .way").all_inner_texts(), page.locator("#reading .number")
        assert [way.strip() for way in ways] == ["1 DOWN TO", "2 UP TO"]
        assert page.locator("#dials svg").count() == 2
        # The last two are those of a phone at 200 %, where the page scrolls.
        for width, height in [*SIZES, (370, 180), (180, 370)]:
            page.set_viewport_size({"width": width, "height": height})
            page.evaluate("fit()")
            looked = page.evaluate(LOOK)
            assert looked["page"][0] == 0, width
            assert all(x >= 0 and x + w <= width and y + h <= height for x, y, w, h in looked["buttons"]), width
            first, second = (box["height"] for box in (line.bounding_box() for line in numbers.all()))
            assert first == pytest.approx(second, abs=0.5) and first >= 28, width
            for line in numbers.all():
                box = line.bounding_box()
                assert box["x"] >= 0 and box["x"] + box["width"] <= width
                if min(width, height) >= 320:
                    assert box["y"] + box["height"] <= height


DIFFERING = """async (addresses) => {
  const [first, second] = await Promise.all(addresses.map(async (address) => {
    const picture = new Image();
    picture.src = address;
    await picture.decode();
    const canvas = Object.assign(document.createElement("canvas"), { width: picture.width, height: picture.height });
    const context = canvas.getContext("2d");
    context.drawImage(picture, 0, 0);
    return context.getImageData(0, 0, picture.width, picture.height).data;
  }));
  const grey = (data, n) => 0.299 * data[n] + 0.587 * data[n + 1] + 0.114 * data[n + 2];
  let differing = first.length === second.length ? 0 : NaN;
  for (let n = 0; n < first.length; n += 4) differing += Math.abs(grey(first, n) - grey(second, n)) > 96;
  return differing / (first.length / 4);
}"""
"""For a browser: the share of points whose shades of grey (ITU-R BT.601 luma) differ by more than 96 of 255."""


def _shot(page: Any, selector: str) -> str:
    return f"data:image/png;base64,{base64.b64encode(page.locator(selector).screenshot()).decode()}"


def test_what_is_old_is_struck_out_and_looks_old_without_colour(browser: Any, tmp_path: Path) -> None:
    with made(tmp_path, made_job()) as one, device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        one.gesture("tap")
        shows(page, "#reading", "6.02")
        size = {"width": 740, "height": 360}
        page.set_viewport_size(size)
        page.evaluate("fit()")
        before = page.evaluate(LOOK)["regions"]
        live = {name: _shot(page, f"#{name}") for name in ("top", "call", "hint")}
        alive = page.evaluate(CONTRAST)
        one.page.close()
        page.wait_for_selector("body[data-link=stale]")
        assert page.locator("#reading .number").all_inner_texts() == ["OLD"]
        assert page.inner_text("#mode") == "OLD"
        assert "6.02" not in page.inner_text("#reading")
        struck = "getComputedStyle(document.getElementById('{}')).textDecorationLine"
        for name in ("was", "then", "pass", "place"):
            assert page.evaluate(struck.format(name)) == "line-through", name
        assert page.inner_text("#was") == "6.02"
        assert not page.is_visible("#hint .meaning")
        # It is struck out, not dimmed: what is still legible has its full contrast.
        assert min(alive[0], page.evaluate(CONTRAST)[0]) >= LEAST_CONTRAST
        assert page.evaluate(LOOK)["regions"] == before
        page.set_viewport_size({"width": 360, "height": 740})
        for tab in page.locator("nav button").all():
            box = tab.bounding_box()
            assert box["x"] >= 0 and box["x"] + box["width"] <= 360
        page.set_viewport_size(size)
        page.evaluate("fit()")
        for name, shot in live.items():
            share = page.evaluate(DIFFERING, [shot, _shot(page, f"#{name}")])
            assert share > (0.02 if name == "hint" else 0.1), (name, share)


def test_a_second_press_too_soon_is_answered_on_the_page(browser: Any, tmp_path: Path) -> None:
    """Nothing is said for it, because somebody may be cutting: so the page itself has to answer."""
    with made(tmp_path, with_pass_time(made_job(may_record_cuts=True), 1.5)) as one, device(browser) as page:
        pair(page, one)
        one.to_first_pass()
        page.wait_for_selector("#cut:enabled")
        time.sleep(1.6)

        def press(milliseconds: int) -> None:
            place = page.locator("#cut").bounding_box()
            page.mouse.move(place["x"] + 20, place["y"] + 20)
            page.mouse.down()
            page.wait_for_timeout(milliseconds)
            page.mouse.up()

        press(950)
        until(lambda: drain(one.runner) or one.runner.state.cut_in_all == 1)  # type: ignore[func-returns-value]
        shows(page, "#pass", "Pass 2 of 14")
        press(300)
        shows(page, "#message", "Not sent: keep the button pressed until it is full.")
        press(950)
        until(lambda: drain(one.runner) or "Too soon" in page.inner_text("#message"))  # type: ignore[func-returns-value]
        assert one.runner.state.cut_in_all == 1
        for _ in range(2):  # an equal answer has another time
            before = page.inner_text("#message")
            time.sleep(1.0)
            page.click('[data-do="again"]')
            until(lambda: page.inner_text("#message") not in ("", before))  # noqa: B023
            shows(page, "#message", "Asked: say again.")
        cut = [record.fact for record in one.journal.replay(one.session) if isinstance(record.fact, f.PassCut)]
        assert [fact.pass_ for fact in cut] == [1]


FOCUSED = """() => {
  const one = document.activeElement;
  const style = getComputedStyle(one);
  const box = one.getBoundingClientRect();
  const inside = box.left >= 0 && box.top >= 0 && box.right <= innerWidth && box.bottom <= innerHeight;
  return [one.id || one.dataset.tab || one.dataset.do || one.tagName, style.outlineStyle !== "none", inside];
}"""


def test_the_keyboard_reaches_everything_in_the_order_in_which_it_is_seen(browser: Any, tmp_path: Path) -> None:
    with made(tmp_path, made_job(may_record_cuts=True)) as one, device(browser, {"width": 740, "height": 360}) as page:
        pair(page, one)
        one.to_first_pass()
        page.wait_for_selector("#cut:enabled")
        page.evaluate("document.activeElement.blur()")
        met = []
        for _ in range(12):
            page.keyboard.press("Tab")
            met.append(page.evaluate(FOCUSED))
        names = [name for name, *_ in met]
        tabs = ["now", "job", "log", "drawing", "sessions", "about"]
        assert names == [*tabs, "last", "again", "stand by", "note-open", "wrong-open", "cut"]
        assert all(marked and inside for _, marked, inside in met), met
        page.wait_for_timeout(900)  # a press that began before the setting had gone out does not count
        page.keyboard.down("Space")
        page.wait_for_timeout(1000)
        page.keyboard.up("Space")
        until(lambda: drain(one.runner) or one.runner.state.cut_in_all == 1)  # type: ignore[func-returns-value]
        page.focus("#note-open")
        page.keyboard.press("Enter")
        page.keyboard.type("knot at pass 2")
        for words in ("Stand by", "Save it"):  # the note leaves the buttons where they are
            page.get_by_role("button", name=words).click(trial=True)
        page.focus("#note-text")
        page.keyboard.press("Escape")
        assert not page.is_visible("#note") and page.evaluate(FOCUSED)[0] == "note-open"
        assert page.locator("[aria-current]").all_inner_texts() == ["Now"]
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Enter")
        until(lambda: drain(one.runner) or one.runner.state.mode == "standing by")  # type: ignore[func-returns-value]
        shows(page, "#mode", "STANDING BY")
        live = " ".join(page.locator("[aria-live=polite]").all_text_contents()).replace("\u00a0", " ")
        assert all(words in live for words in ("STANDING BY", "1 of 14 cut", "Pending: pass 2", "long press: carry on"))
