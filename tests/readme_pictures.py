"""The README's pictures, drawn by the program from a demo plan: `python -m tests.readme_pictures` writes them.

demo_plans/board.svg comes from the writer that `draw --svg` uses. demo_plans/page.svg is the bench page over a real
session: Chromium lays it out, and each box and line of text is then copied to where the browser has put it.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from assistant.drawings import parts
from assistant.drawings.picture import Page
from assistant.drawings.svg import write_svg
from assistant.journal.store import Journal
from assistant.plans.job import build_job
from assistant.plans.model import Job
from assistant.plans.plan_file import read_both
from assistant.runner.clock import SetClock
from assistant.runner.loop import Outputs, Runner
from assistant.screens.page.bench import BenchPage
from assistant.session.events import Gesture, Start
from assistant.session.kinds import Press
from assistant.session.state import CHECKS
from assistant.speaking.speaker import SilentSpeaker
from tests.runner.adapters import drain

DEMO = Path(__file__).parent.parent / "demo_plans"
BOARD, PAGE = DEMO / "board.svg", DEMO / "page.svg"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
PAPER, MARGIN, BETWEEN = 188.0, 6.0, 8.0  # mm

TABLET = {"width": 1024, "height": 600}
FONT = "'Liberation Sans', Arial, Helvetica, sans-serif"
CUT, SECONDS_A_PASS, SECONDS_A_CHECK = 8, 21.0, 30.0
"""Passes cut before the picture is taken, and the pace of it."""
ANSWER = Press.LONG  # the gesture that confirms a check


@cache
def demo_job() -> Job:
    plan, shop = read_both(DEMO / "tea-trays.toml", DEMO / "shop-readout.toml")
    return build_job(plan, shop)


def board() -> bytes:
    """Part A's end, its dimensions over its passes, as `draw` draws them."""
    job = demo_job()
    pattern = job.patterns[0]
    size = parts.fitting(pattern, PAPER - 2 * MARGIN)
    upper, lower = parts.dimensions(job, pattern, size), parts.passes(job, pattern, size)
    height = upper.height + lower.height + BETWEEN + 2 * MARGIN
    items = (*upper.at(MARGIN, MARGIN + lower.height + BETWEEN), *lower.at(MARGIN, MARGIN))
    return write_svg([Page("Part A", PAPER, height, items)], job.title)


@contextmanager
def bench_page(folder: Path) -> Iterator[BenchPage]:
    """The demo plan's session with its page, some passes into the first board."""
    clock = SetClock()
    with Journal.open(folder) as journal:
        job = demo_job()
        session = journal.new_session(job.title, "", "", clock.utc())
        outputs = Outputs()
        runner = Runner(lambda records: journal.append(session, records), outputs, clock)
        outputs.speaker = SilentSpeaker(clock, runner.post)
        page = BenchPage(folder, clock, lambda note: None, post=runner.post, session=session, port=0)
        try:
            outputs.screens.append(page.hub)
            outputs.watchers.append(page.hub)
            runner.handle(Start(clock.at(), clock.utc(), job))
            drain(runner)
            while runner.state.mode == CHECKS:
                _answer(runner, clock, ANSWER, SECONDS_A_CHECK)
            for _ in range(CUT):
                _answer(runner, clock, Press.TAP, SECONDS_A_PASS)
            yield page
        finally:
            page.close()


def _answer(runner: Runner, clock: SetClock, press: Press, after_s: float) -> None:
    clock.set(clock.at() + after_s)
    runner.handle(Gesture(clock.at(), clock.utc(), press, clock.at()))
    drain(runner)


def pair(browser_page: Any, bench: BenchPage) -> None:
    browser_page.goto(bench.address)
    browser_page.fill("#code", bench.codes.begin())
    browser_page.click("#pair button")
    browser_page.wait_for_selector("[data-link=live]")
    browser_page.wait_for_function(f"document.getElementById('counts').textContent.startsWith('{CUT} of')")


COPY = """() => {
  const found = [];
  const seen = (colour) => colour !== "rgba(0, 0, 0, 0)" && colour !== "transparent";
  const box = (r) => ({ x: r.left, y: r.top, width: r.width, height: r.height });
  const shownText = (node) => {
    const style = getComputedStyle(node.parentElement);
    const range = document.createRange();
    const lines = [];
    for (const word of node.textContent.matchAll(/[^ \\n\\t]+/g)) {
      range.setStart(node, word.index);
      range.setEnd(node, word.index + word[0].length);
      const r = range.getBoundingClientRect();
      const last = lines[lines.length - 1];
      if (last && Math.abs(last.y - r.top) < 2) {
        last.text += " " + word[0];
        last.width = r.right - last.x;
      } else lines.push({ text: word[0], ...box(r) });
    }
    for (const line of lines) {
      const look = { size: parseFloat(style.fontSize), weight: style.fontWeight, fill: style.color };
      found.push({ kind: "text", ...line, ...look });
    }
  };
  const drawn = (svg) => {
    const copy = svg.cloneNode(true);
    const keys = ["fill", "stroke", "stroke-width", "stroke-dasharray", "font-size", "font-weight", "letter-spacing",
      "text-anchor"];
    [...svg.children].forEach((part, n) => {
      const style = getComputedStyle(part);
      for (const key of keys) {
        const value = style.getPropertyValue(key);
        const only_text = key.startsWith("font") || key.startsWith("text") || key.startsWith("letter");
        if (value && value !== "normal" && (part.tagName === "text" || !only_text)) {
          if (!(key === "stroke-dasharray" && value === "none")) copy.children[n].setAttribute(key, value);
        }
      }
      copy.children[n].removeAttribute("class");
    });
    found.push({ kind: "svg", ...box(svg.getBoundingClientRect()), view: svg.getAttribute("viewBox"),
      parts: [...copy.children].map((part) => part.outerHTML.replace(' xmlns="http://www.w3.org/2000/svg"', "")) });
  };
  const walk = (element) => {
    const style = getComputedStyle(element);
    const r = element.getBoundingClientRect();
    if (style.display === "none" || style.visibility === "hidden" || element.classList.contains("unseen")) return;
    if (element.tagName === "svg") return drawn(element);
    const sides = ["top", "right", "bottom", "left"].map((side) => ({
      width: parseFloat(style[`border-${side}-width`]), colour: style[`border-${side}-color`],
      style: style[`border-${side}-style`] }));
    const framed = sides.map((one) => one.width > 0 && one.style !== "none" && seen(one.colour));
    if (r.width && r.height && (seen(style.backgroundColor) || framed.some(Boolean))) {
      found.push({ kind: "box", ...box(r), fill: seen(style.backgroundColor) ? style.backgroundColor : "none",
        radius: parseFloat(style.borderTopLeftRadius) || 0, sides, framed });
    }
    if (element.tagName === "PROGRESS") {
      const width = (r.width - 4) * element.value / element.max;
      const fill = getComputedStyle(document.documentElement).getPropertyValue("--strong");
      found.push({ kind: "box", x: r.left + 2, y: r.top + 2, width, height: r.height - 4, fill, radius: 0, sides: [],
        framed: [] });
      return;
    }
    for (const node of element.childNodes) {
      if (node.nodeType === Node.TEXT_NODE) shownText(node);
      else if (node.nodeType === Node.ELEMENT_NODE) walk(node);
    }
  };
  walk(document.body);
  return found;
}"""
"""For a browser: every box, line of text and drawing of the page, in the order they are painted, in CSS px."""


def page() -> bytes:
    """The bench page as a tablet on its side shows it. Needs Playwright and Chromium."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, bench_page(Path(folder)) as bench, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        tablet = browser.new_page(viewport=TABLET, color_scheme="light")
        pair(tablet, bench)
        # Of one width on most machines, so that no letters are stretched to the place the browser gave them.
        tablet.evaluate(f"document.body.style.fontFamily = {FONT!r}; fit()")
        # The log has the time of day.
        tablet.evaluate("document.getElementById('latest').replaceChildren()")
        items = tablet.evaluate(COPY)
        browser.close()
    return "\n".join(_svg(items)).encode("utf-8")


def _svg(items: list[dict[str, Any]]) -> Iterator[str]:
    size = f"{TABLET['width']} {TABLET['height']}"
    yield f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}" width="{TABLET["width"]}">'
    yield "<title>The bench page on a tablet: pass 9 of 14 is called</title>"
    yield f'<g font-family="{FONT}" xml:space="preserve">'
    for item in items:
        yield from _item(item)
    yield "</g></svg>\n"


def _item(item: dict[str, Any]) -> Iterator[str]:
    x, y, width, height = (round(item[key], 1) for key in ("x", "y", "width", "height"))
    if item["kind"] == "text":
        # The baseline, about: four fifths down a line's letters, whatever the font.
        baseline = round(item["y"] + item["height"] / 2 + item["size"] * 0.345, 1)
        look = f'font-size="{item["size"]:g}" font-weight="{item["weight"]}" fill={quoteattr(item["fill"])}'
        fit = f'textLength="{width:g}" lengthAdjust="spacingAndGlyphs"'
        yield f'<text x="{x:g}" y="{baseline:g}" {look} {fit}>{escape(item["text"])}</text>'
    elif item["kind"] == "svg":
        yield f'<svg x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" viewBox="{item["view"]}">'
        yield from item["parts"]
        yield "</svg>"
    elif all(item["framed"]) or not any(item["framed"]):
        side = item["sides"][0] if any(item["framed"]) else {"width": 0, "colour": "none", "style": ""}
        half = side["width"] / 2
        place = f'x="{x + half:g}" y="{y + half:g}" width="{width - 2 * half:g}" height="{height - 2 * half:g}"'
        dashes = ' stroke-dasharray="5 4"' if side["style"] == "dashed" else ""
        line = f'stroke="{side["colour"]}" stroke-width="{side["width"]:g}"{dashes}' if half else ""
        yield f'<rect {place} rx="{item["radius"]:g}" fill="{item["fill"]}" {line}/>'
    else:
        thick, colour = item["sides"][2]["width"], item["sides"][2]["colour"]
        yield f'<rect x="{x:g}" y="{y + height - thick:g}" width="{width:g}" height="{thick:g}" fill="{colour}"/>'


def main() -> None:
    for path, made in ((BOARD, board()), (PAGE, page())):
        path.write_bytes(made)
        print(f"{path.name}: {len(made):,} bytes")


if __name__ == "__main__":
    main()
