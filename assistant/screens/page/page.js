"use strict";
// The page reads one stream and sends a few short requests. Every message carries the whole state.

const at = (id) => document.getElementById(id);
const STALE_MS = 3000; // without a message; one comes every second
const PRESS_MS = 800; // as in doing.py
const RETRY_MS = [300, 600, 1200, 2500];
const AT_HOME = ["localhost", "127.0.0.1"].includes(location.hostname);

let seen = { seq: 0, run: "", may_record_cuts: false, state: {} };
let board = null;
let lastWord = 0;
let connection = null;
let failures = 0;
let pressed = null;
let lastLine = "";
let loggedFor;
let waits = { asked_id: -1, until: 0 };

function put(id, text) {
  const place = at(id);
  if (place.textContent !== text) place.textContent = text;
  place.hidden = !text;
}

// --- the stream

async function follow() {
  if (connection || document.hidden) return;
  const mine = (connection = new AbortController());
  try {
    const answer = await send("/stream", { method: "POST", signal: mine.signal });
    if (answer.status === 401) {
      location.replace("/");
      return;
    }
    if (!answer.ok) throw new Error(String(answer.status));
    await read(answer.body.getReader());
  } catch {
    // The page already shows that nothing has come.
  }
  if (connection === mine) connection = null;
  else return;
  showLink();
  setTimeout(follow, RETRY_MS[Math.min(failures++, RETRY_MS.length - 1)]);
}

async function read(reader) {
  const decoder = new TextDecoder();
  let text = "";
  for (;;) {
    const { done, value } = await reader.read();
    if (done) return;
    text += decoder.decode(value, { stream: true });
    for (let end = text.indexOf("\n\n"); end >= 0; end = text.indexOf("\n\n")) {
      receive(text.slice(0, end));
      text = text.slice(end + 2);
    }
  }
}

function receive(message) {
  const [first, second] = message.split("\n");
  const kind = first.slice("event: ".length);
  const body = JSON.parse(second.slice("data: ".length));
  lastWord = Date.now();
  failures = 0;
  if (kind === "all") {
    at("entries").replaceChildren();
    lastLine = "";
  }
  if (kind !== "tick") {
    if (body.board !== undefined) board = body.board;
    seen = body;
    log(body.log || [], body.state && body.state.asked_id);
    show();
  } else if (body.seq !== seen.seq || body.run !== seen.run) {
    connection?.abort(); // a message was missed: start again with the whole state
    connection = null;
    setTimeout(follow, 0);
  }
  showLink();
}

function showWait() {
  const left = Math.ceil((waits.until - Date.now()) / 1000);
  put("wait", left > 0 ? `Wait ${left} s` : "");
}

function showLink() {
  const quiet = Date.now() - lastWord;
  const live = lastWord > 0 && quiet < STALE_MS && connection;
  const link = at("link");
  const kind = live ? "live" : lastWord ? "stale" : "waiting";
  link.dataset.link = kind;
  document.body.dataset.link = kind;
  const since = Math.round(quiet / 1000);
  at("link-mark").textContent = { live: "●", stale: "▲", waiting: "◌" }[kind];
  const text = { live: "Live", stale: `Old: no news for ${since} s`, waiting: "Connecting" }[kind];
  if (at("link-text").textContent !== text) at("link-text").textContent = text;
}

document.addEventListener("visibilitychange", () => {
  if (document.hidden) {
    connection?.abort();
    connection = null;
  } else {
    failures = 0;
    follow();
  }
});
setInterval(showLink, 500);
setInterval(showWait, 250);

// --- what is shown

function show() {
  const s = seen.state;
  const open = Boolean(s.mode);
  at("none").hidden = open;
  for (const id of ["call", "work", "progress", "last", "doing"]) at(id).hidden = !open;
  at("now").dataset.mode = s.mode || "";
  at("now").toggleAttribute("data-zone", open && s.zone.length > 0);
  document.title = open && s.reading ? `${s.reading} – Kerfcall` : "Kerfcall";
  if (!open) return;
  put("place", `Setup ${s.setup} of ${s.setups}: ${s.board}${s.which ? ` ${s.which}` : ""}, part ${s.part}${s.end ? `, end ${s.end}` : ""}`);
  const calling = s.mode === "cutting";
  put("mode", calling ? "" : s.mode === "checks" ? `Check: ${s.check}` : s.mode_word);
  showReading(calling ? s.reading.replaceAll(" + ", "\n+ ").replaceAll(" - ", "\n- ").replaceAll(", ", "\n").split("\n") : s.zone);
  put("unit", calling ? s.unit : "");
  put("move", calling ? s.move : "");
  put("approach", calling ? s.approach : "");
  put("before", s.before);
  put("asked", s.asked);
  put("pass", calling ? `Pass ${s.pass} of ${s.passes}` : s.passes && s.mode !== "finished" ? `${s.cut_here} of ${s.passes} passes cut on this end` : "");
  if (waits.asked_id !== s.asked_id || !s.wait_s) waits = { asked_id: s.asked_id, until: Date.now() + 1000 * s.wait_s };
  showWait();
  showHint(s.hint);
  put("way", s.clamp || s.way);
  at("bar").max = s.passes_in_all;
  at("bar").value = s.cut_in_all;
  put("counts", `${s.cut_in_all} of ${s.passes_in_all} passes cut`);
  put("left", s.left);
  put("line", [s.heard.made, s.hands.made, ...s.faults].includes(lastLine) ? "" : lastLine);
  put("heard", s.heard.given ? `Heard: ${s.heard.given}${s.heard.made ? ` → ${s.heard.made}` : ""}` : "");
  put("hands", s.hands.given ? `By hand or foot: ${s.hands.given}${s.hands.made ? ` → ${s.hands.made}` : ""}` : "");
  at("faults").replaceChildren(...s.faults.map((text) => item(`▲ ${text}`)));
  at("faults").hidden = !s.faults.length;
  if (board) drawBoard(at("board"), board, s.cut, calling ? s.pass : 0);
  at("cut").hidden = !(seen.may_record_cuts && calling);
  if (pressed && pressed.asked_id !== s.asked_id) letGo();
  const fitted = JSON.stringify([calling ? [s.reading, s.move, s.approach] : s.zone, s.before, s.asked, s.faults]);
  if (at("now").dataset.fitted !== fitted) fit();
  at("now").dataset.fitted = fitted;
}

// A dial's turns and mark go on two lines, so that both can be big. What must be kept clear is split likewise.
function showReading(lines) {
  const place = at("reading");
  const text = lines.join("\n");
  place.hidden = !text;
  if (place.dataset.shown === text) return;
  place.dataset.shown = text;
  place.replaceChildren(...lines.map((line) => Object.assign(document.createElement("span"), { textContent: line })));
}

// What each gesture does now. No gesture is split over two lines.
function showHint(text) {
  const place = at("hint");
  place.hidden = !text;
  if (place.dataset.shown === text) return;
  place.dataset.shown = text;
  const parts = text ? ["Pedal", ...text.split("   ")] : [];
  place.replaceChildren(...parts.map((part) => Object.assign(document.createElement("span"), { textContent: part })));
}

function fit() {
  for (const id of ["move", "approach", "before"]) smaller(at(id), tooWide);
  at("asked").style.fontSize = "";
  fitReading();
  // A long question gets smaller until its end can be seen.
  smaller(at("asked"), (place) => tooWide(place) || endOfText() > innerHeight - 4);
  fitZone();
}

// Where the text below the figures ends on the page.
function endOfText() {
  return Math.max(...["asked", "hint"].map((id) => at(id).getBoundingClientRect().bottom)) + scrollY;
}

// Never split a quantity over two lines: make its text smaller instead.
const tooWide = (place) => place.scrollWidth > place.clientWidth;

function smaller(place, tooLarge) {
  place.style.fontSize = "";
  if (place.hidden || !place.offsetHeight) return;
  for (let size = parseFloat(getComputedStyle(place).fontSize); size > 16 && tooLarge(place); size -= 1) {
    place.style.fontSize = `${size - 1}px`;
  }
}

// The lines about what must be kept clear shrink first, because the question below has the same figures.
function fitZone() {
  const place = at("reading");
  if (place.hidden || seen.state.mode === "cutting") return;
  for (let size = parseFloat(place.style.fontSize); size > 24 && endOfText() > innerHeight - 4; size -= 1) {
    place.style.fontSize = `${size - 1}px`;
  }
}

function fitReading() {
  const place = at("reading");
  if (place.hidden) return;
  const lines = [...place.children];
  place.style.fontSize = "100px";
  const widest = Math.max(...lines.map((line) => line.getBoundingClientRect().width));
  const wide = (100 * place.parentElement.clientWidth) / widest;
  const high = (innerHeight * (innerWidth > innerHeight ? 0.42 : 0.24)) / lines.length;
  // A setting must be readable from across the room. What to keep clear is also in the question, so it can be smaller.
  const calling = seen.state.mode === "cutting";
  const most = Math.max(calling ? 40 : 20, Math.floor(Math.min(wide, high)));
  const set = (size) => (place.style.fontSize = `${size}px`);
  set(most);
  if (innerWidth < innerHeight) return;
  // In landscape, lines about lost parts take their space from the figures, if that keeps everything in sight. A setting
  // loses a third of its size at most.
  const least = calling ? Math.max(40, (most * 2) / 3) : 24;
  const over = () => document.documentElement.scrollHeight > innerHeight;
  let size = most;
  while (over() && size - 2 >= least) set((size -= 2));
  if (over()) set(most);
}
addEventListener("resize", fit);

function item(text) {
  return Object.assign(document.createElement("li"), { textContent: text });
}

function log(entries, asked) {
  const list = at("entries");
  if (asked !== loggedFor) {
    // Something else is open now, and an old refusal would seem to be about it.
    for (const row of list.querySelectorAll('[data-klass="refused"]')) {
      if (row.lastChild.textContent === lastLine) lastLine = "";
      row.remove();
    }
    loggedFor = asked;
  }
  for (const entry of entries) {
    const row = item("");
    row.dataset.klass = entry.klass;
    row.dataset.n = entry.n;
    if (list.firstChild?.dataset.n === row.dataset.n) list.firstChild.remove();
    for (const [name, text] of [["at", entry.at], ["mark", entry.mark], ["text", entry.text]]) {
      row.append(Object.assign(document.createElement("span"), { className: name, textContent: text }));
    }
    list.prepend(row);
  }
  while (list.children.length > 200) list.lastChild.remove();
  const line = entries.filter((entry) => ["line", "answer", "notice", "refused"].includes(entry.klass)).pop();
  if (line) lastLine = line.text;
}

// --- what the operator can do here

function showMessage(text) {
  put("message", text);
  clearTimeout(showMessage.timer);
  showMessage.timer = setTimeout(() => put("message", ""), 6000);
}

async function ask(body, done) {
  try {
    const answer = await send("/do", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(body),
    });
    if (answer.status === 401) location.replace("/");
    const answered = await answer.json().catch(() => ({}));
    showMessage(answer.ok ? done : answered.error || `Refused (${answer.status}).`);
    return answer.ok;
  } catch {
    showMessage("Kerfcall does not respond. Nothing was done.");
    return false;
  }
}

for (const button of document.querySelectorAll("[data-do]")) {
  button.addEventListener("click", () => ask({ do: button.dataset.do }, `Asked: ${button.textContent.toLowerCase()}.`));
}

at("note-open").addEventListener("click", () => {
  const open = at("note").hidden;
  at("note").hidden = !open;
  at("note-open").setAttribute("aria-expanded", String(open));
  if (open) at("note-text").focus();
});
at("note").addEventListener("submit", async (event) => {
  event.preventDefault();
  const text = at("note-text").value.trim();
  if (!text || !(await ask({ do: "note", text }, "Noted."))) return;
  at("note-text").value = "";
  at("note").hidden = true;
  at("note-open").setAttribute("aria-expanded", "false");
});

// Records a cut. The request names what the page showed when the press began.
function press() {
  if (pressed || at("cut").hidden) return;
  pressed = { asked_id: seen.state.asked_id, seq: seen.seq, since: performance.now() };
  at("cut").classList.add("pressed");
  pressed.timer = setTimeout(sendCut, PRESS_MS);
}

function letGo() {
  if (!pressed) return;
  clearTimeout(pressed.timer);
  pressed = null;
  at("cut").classList.remove("pressed");
}

function sendCut() {
  const { asked_id, seq, since } = pressed;
  const held_ms = Math.max(PRESS_MS, Math.round(performance.now() - since));
  at("cut").classList.remove("pressed");
  ask({ do: "cut", asked_id, seq, held_ms }, "Sent. You will hear it said when it counts.");
}

at("cut").addEventListener("pointerdown", (event) => event.button === 0 && press());
for (const kind of ["pointerup", "pointercancel", "pointerleave", "blur"]) at("cut").addEventListener(kind, letGo);
at("cut").addEventListener("keydown", (event) => {
  if (event.key === " " || event.key === "Enter") {
    event.preventDefault();
    if (!event.repeat) press();
  }
});
at("cut").addEventListener("keyup", letGo);
at("cut").addEventListener("contextmenu", (event) => event.preventDefault());

// --- the other parts

const TABS = ["now", "log", "drawing", "sessions", "about"];
for (const button of document.querySelectorAll("[data-tab]")) {
  button.addEventListener("click", () => {
    for (const tab of TABS) at(tab).hidden = tab !== button.dataset.tab;
    for (const other of document.querySelectorAll("[data-tab]")) other.removeAttribute("aria-current");
    button.setAttribute("aria-current", "page");
    if (button.dataset.tab === "sessions") sessions();
    if (button.dataset.tab === "drawing") drawing();
    fit();
  });
}

async function drawing() {
  if (at("sheets").children.length) return;
  at("no-drawing").hidden = true;
  try {
    const answer = await send("/drawing.svg");
    if (!answer.ok) throw new Error(String(answer.status));
    // An image runs no script. An address as its source would be requested without the token.
    const src = `data:image/svg+xml,${encodeURIComponent(await answer.text())}`;
    const picture = Object.assign(new Image(), { alt: "Both parts, the joint and the cut sheet for this plan", src });
    await picture.decode();
    at("sheets").replaceChildren(picture);
  } catch {
    at("no-drawing").hidden = false;
  }
}

async function get(path) {
  const answer = await send(path);
  if (answer.status === 401) location.replace("/");
  const body = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(body.error || `Refused (${answer.status}).`);
  return body;
}

async function sessions() {
  at("session").hidden = true;
  at("rows").hidden = false;
  try {
    const { sessions: rows, in_all } = await get("/sessions");
    put("sessions-message", rows.length ? (in_all > rows.length ? `The newest ${rows.length} of ${in_all}.` : "") : "No sessions yet.");
    at("rows").replaceChildren(...rows.map(row));
  } catch (error) {
    put("sessions-message", error.message);
  }
}

function row(one) {
  const made = item("");
  const button = Object.assign(document.createElement("button"), { type: "button" });
  const kind = one.rehearsed ? `${one.state}, rehearsed` : one.state;
  for (const [name, text] of [["title", one.title], ["when", one.started], ["sums", `${kind}; ${one.passes_cut} passes cut; ${one.took}`]]) {
    button.append(Object.assign(document.createElement("span"), { className: name, textContent: text }));
  }
  button.addEventListener("click", () => session(one.id));
  made.append(button);
  return made;
}

async function session(id) {
  put("sessions-message", "Reading …");
  try {
    const one = await get(`/session/${id}`);
    put("sessions-message", "");
    put("session-title", one.title);
    put("session-sums", `${one.started}: ${one.state}${one.rehearsed ? ", rehearsed" : ""}; ${one.passes_cut} of ${one.of} passes cut in ${one.took}.`);
    drawPace(at("pace"), at("pace-summary"), one.pace);
    at("boards").replaceChildren(...one.boards.map(figure));
    at("account").textContent = one.account.join("\n");
    at("rows").hidden = true;
    at("session").hidden = false;
    at("back").focus();
  } catch (error) {
    put("sessions-message", error.message);
  }
}

function figure(one) {
  const made = document.createElement("figure");
  const picture = svg("svg", { viewBox: `0 0 ${BOARD.width} ${BOARD.height}`, role: "img", class: "board" });
  const all = "f".repeat((one.passes.length >> 2) + 1);
  drawBoard(picture, one, all, 0);
  const text = `Part ${one.part}: ${one.sockets.length} sockets in ${one.passes.length} passes, ${one.depth_text} deep, ${one.width_text} wide`;
  made.append(picture, Object.assign(document.createElement("figcaption"), { textContent: text }));
  return made;
}

at("back").addEventListener("click", sessions);
at("leave").addEventListener("click", async () => {
  await send("/leave", { method: "POST" }).catch(() => {});
  forget();
  location.replace("/");
});
at("plain-http").textContent = AT_HOME
  ? "This page and Kerfcall are on the same machine; nothing goes over a network."
  : "This connection is plain HTTP, not encrypted: anyone who can listen on this network can read it and could act as this device. Use it on a network that you trust.";

if (token()) {
  show();
  follow();
} else {
  location.replace("/");
}
