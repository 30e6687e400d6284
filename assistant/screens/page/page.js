"use strict";
// The page reads one stream and sends a few short requests. Every message carries the whole state.

const at = (id) => document.getElementById(id);
const STALE_MS = 3000; // without a message; one comes every second
const PRESS_MS = 800; // as in doing.py
const ANSWER_MS = 3000; // within which a refusal belongs to a press here
const RETRY_MS = [300, 600, 1200, 2500];
const AT_HOME = ["localhost", "127.0.0.1"].includes(location.hostname);

let seen = { seq: 0, run: "", may_record_cuts: false, state: {} };
let [board, held, dials, job] = [null, null, null, null];
let lastWord = 0;
let connection = null;
let failures = 0;
let pressed = null;
let loggedFor;
let sentAt = -Infinity;
let refusedAt = -Infinity;
let waits = { asked_id: -1, until: 0 };

function put(id, text) {
  const place = at(id);
  if (place.textContent !== text) place.textContent = text;
  place.hidden = !text;
}

// What each place shows, so that nothing is made again, nor announced again, that is there already.
const shownIn = new Map();
function unchanged(place, what) {
  if (shownIn.get(place) === what) return true;
  shownIn.set(place, what);
  return false;
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
  }
  if (kind !== "tick") {
    if (body.board !== undefined) board = body.board;
    if (body.held !== undefined) held = body.held;
    if (body.dials !== undefined) dials = body.dials;
    if (body.job !== undefined) job = body.job;
    seen = body;
    log(body.log || [], body.state && body.state.asked_id);
    show();
  } else if (body.seq !== seen.seq || body.run !== seen.run) {
    connection?.abort(); // a message was missed: start again with the whole state
    connection = null;
    setTimeout(follow, 0);
  } else if (body.carriage && moves()) {
    Object.assign(seen.state.carriage, body.carriage);
    showTravel();
  }
  showLink();
}

const waiting = () => Math.max(0, Math.ceil((waits.until - Date.now()) / 1000));

function showWait() {
  put("wait", waiting() ? `Wait ${waiting()} s` : "");
  if (seen.state.mode) showGestures();
}

function showLink() {
  const quiet = Date.now() - lastWord;
  const live = lastWord > 0 && quiet < STALE_MS && connection;
  const link = at("link");
  const kind = live ? "live" : lastWord ? "stale" : "waiting";
  const changed = document.body.dataset.link !== kind;
  link.dataset.link = kind;
  document.body.dataset.link = kind;
  const since = Math.round(quiet / 1000);
  at("link-mark").textContent = { live: "●", stale: "▲", waiting: "◌" }[kind];
  const text = { live: "Live", stale: `Old: no news for ${since} s`, waiting: "Connecting" }[kind];
  if (at("link-text").textContent !== text) at("link-text").textContent = text;
  if (changed) show();
}

document.addEventListener("visibilitychange", () => {
  if (document.hidden) {
    connection?.abort();
    connection = null;
    showLink(); // the first thing to be seen when the page is looked at again
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
  const old = document.body.dataset.link === "stale";
  at("none").hidden = open;
  for (const id of ["top", "call", "work", "progress", "last", "doing", "hint"]) at(id).hidden = !open;
  at("now").dataset.mode = s.mode || "";
  at("now").dataset.tone = s.tone || "";
  showJob(open);
  showWrong(open && !old);
  showHalt(old);
  document.title = !open ? "Kerfcall" : old ? "OLD – Kerfcall" : `${s.reading || s.state} – Kerfcall`;
  if (!open) return;
  at("about-drive").hidden = !s.carriage;
  const calling = s.mode === "cutting" && !s.carriage?.lost;
  showTravel();
  put("mode", old ? "OLD" : s.state);
  put("chip", old ? "" : s.lost);
  put("pass", s.beside);
  put("place", `Setup ${s.setup_of}: ${s.board}${s.which ? ` ${s.which}` : ""}, part ${s.part}${s.end ? `, end ${s.end}` : ""}${s.half ? `, ${s.half}` : ""}`);
  showReading(old ? [["", "OLD"]] : s.big, old ? "" : s.unit);
  put("was", old ? s.big.map(([way, figure]) => `${way} ${figure}`.trim()).join(", ") : "");
  put("before", s.before);
  put("card", s.card);
  put("asked", s.asked);
  put("then", s.then);
  if (waits.asked_id !== s.asked_id || !s.wait_s) waits = { asked_id: s.asked_id, until: Date.now() + 1000 * s.wait_s };
  showWait();
  showPictures(s);
  put("way", s.clamp || s.way);
  at("bar").max = s.passes_in_all;
  at("bar").value = s.cut_in_all;
  put("counts", `${s.cut_in_all} of ${s.passes_in_all} passes cut in all`);
  showTimes();
  // Before the first move of a motor its cautions come before the board, which isn't clamped yet.
  const first = Boolean(s.carriage && !s.carriage.free && s.opening.length);
  at("pictures").hidden = first;
  showItems("first", first ? s.opening : []);
  showItems("opening", first ? [] : s.opening);
  showItems("warnings", s.warnings);
  at("warned").hidden = !s.warnings.length;
  put("heard", s.heard.given ? `Last heard: ${s.heard.given}${s.heard.made ? ` → ${s.heard.made}` : ""}` : "");
  put("hands", s.hands.given ? `Last by hand or foot: ${s.hands.given}${s.hands.made ? ` → ${s.hands.made}` : ""}` : "");
  showItems("faults", s.faults.map((text) => `▲ ${text}`));
  if (board) drawBoard(at("board"), board, s.cut, calling ? s.pass : 0);
  at("cut").hidden = !seen.may_record_cuts;
  at("cut").disabled = !calling || old;
  if (pressed && (old || pressed.asked_id !== s.asked_id)) letGo();
  // All figures are equally wide, so other figures of the same length fit as well.
  const fitted = JSON.stringify([old, s.big, s.before, s.card, s.asked, s.then, s.wait_s > 0, s.faults, s.state, s.beside, s.lost, s.opening, s.unit, Boolean(s.carriage?.high), first, at("place").textContent]).replace(/\d/g, "0");
  if (unchanged(at("now"), fitted)) showLatest();
  else fit();
}

// What to do, a line each: where to, and the figure. All lines are equally big.
function showReading(lines, unit) {
  const place = at("reading");
  const shown = JSON.stringify([lines, unit]);
  if (unchanged(place, shown)) return;
  place.hidden = !lines.length;
  place.classList.toggle("steps", lines.length > 0 && lines.every(([way]) => way));
  place.replaceChildren(...lines.map(([way, figure], n) => {
    const line = Object.assign(document.createElement("p"), { className: "step" });
    const last = n === lines.length - 1;
    // A space at the figures' size would be as wide as a figure, so it goes with the small words.
    for (const [name, text] of [["way", way && `${way} `], ["number", figure], ["unit", last && unit && ` ${unit.replace(" + ", " +\n ")}`]]) {
      if (text || (name === "unit" && way)) line.append(Object.assign(document.createElement("span"), { className: name, textContent: text || "" }));
    }
    return line;
  }));
}

// What each gesture does now: always three places.
function showGestures() {
  const s = seen.state;
  const place = at("hint");
  const gestures = Object.entries(s.gestures).map(([name, meaning]) => [name, name === "long press" && waiting() ? "not yet" : meaning]);
  const shown = JSON.stringify(gestures);
  if (unchanged(place, shown)) return;
  place.replaceChildren(...gestures.map(([gesture, meaning]) => {
    const cell = Object.assign(document.createElement("div"), { className: gesture.split(" ")[0] });
    cell.classList.toggle("idle", meaning === s.nothing);
    for (const [name, words] of [["gesture", `${gesture}:`], ["meaning", meaning]]) {
      cell.append(Object.assign(document.createElement("span"), { className: name, textContent: words }), " ");
    }
    return cell;
  }));
}

// Every setup of the job: to be read, never to be changed from here.
function showJob(open) {
  const rows = open && job ? job.rows : [];
  at("no-job").hidden = rows.length > 0;
  at("setups").hidden = at("job-how").hidden = !rows.length;
  if (unchanged(at("setups"), JSON.stringify(job)) || !rows.length) return;
  const columns = [["Setup", "setup"], ["Board", "board"], ["Part", "part"], ...(job.slots ? [] : [["End", "end"]])];
  if (job.stages > 1) columns.push(["Stage", "stage"]);
  columns.push(["Cut", "cut"], [job.slots ? "Slots" : "Sockets", "sockets"], ["Status", "status"]);
  const cell = (kind, name, text) => Object.assign(document.createElement(kind), { textContent: text, className: `of-${name}` });
  const head = (title, name) => Object.assign(cell("th", name, title), { scope: "col" });
  at("setups-head").replaceChildren(...columns.map(([title, name]) => head(title, name)));
  at("setups-rows").replaceChildren(...rows.map((one) => {
    const line = document.createElement("tr");
    const place = one.clamped ? "in the clamps" : one.next ? "next" : "";
    line.dataset.place = place;
    line.classList.toggle("gone", ["spoilt", "replaced"].includes(one.status));
    const shown = {
      ...one,
      board: one.copies ? `${one.board}, ${one.copies}` : one.board,
      cut: `${one.cut} of ${one.passes}`,
      status: place ? `${one.status}, ${place}` : one.status,
    };
    line.append(...columns.map(([, name]) => cell("td", name, shown[name])));
    return line;
  }));
}

// A figure is there only with the state that it belongs to.
function showPictures(s) {
  // Nobody is to reach for the clamps before the carriage stands where they are set.
  const free = !s.carriage || s.carriage.free;
  showFigures("held", free && held && held.setup === s.setup ? [held.svg] : []);
  showFigures("dials", dials && dials.asked_id === s.asked_id ? dials.svgs : []);
}

function showFigures(id, svgs) {
  const place = at(id);
  place.hidden = !svgs.length;
  if (unchanged(place, svgs.join())) return;
  place.replaceChildren(...svgs.map((text) => document.importNode(new DOMParser().parseFromString(text, "image/svg+xml").documentElement, true)));
}

// Where the time went and, from now on, when it will be done.
function showTimes() {
  const s = seen.state;
  const done = s.left_s === null ? "" : new Date(Date.now() + 1000 * s.left_s).toTimeString().slice(0, 5);
  showItems("times", [...(done ? [`${s.left}: done about ${done} if it goes on now`] : []), ...s.times]);
}
setInterval(() => seen.state.mode && showTimes(), 5000);

function showItems(id, texts) {
  if (unchanged(at(id), texts.join("\n"))) return;
  at(id).hidden = !texts.length;
  at(id).replaceChildren(...texts.map(item));
}

// The newest lines of the log that fit whole, but for what is asked or called: that has its own place. So has what the
// lines above say.
function showLatest() {
  const s = seen.state;
  const elsewhere = [s.heard.made, s.hands.made, ...s.faults, ...s.opening].filter(Boolean);
  const rows = [...at("entries").children].filter((row) => {
    const text = row.lastElementChild.textContent;
    const known = elsewhere.some((one) => text === one || text.startsWith(`${one} (`));
    return !known && !["setting", "check", "move", "question"].includes(row.dataset.klass);
  });
  const [last, latest] = ["last", "latest"].map(at);
  latest.replaceChildren(...rows.slice(0, 14).map((row) => row.cloneNode(true)));
  const end = last.getBoundingClientRect().bottom;
  const ends = [...latest.children].map((row) => row.getBoundingClientRect().bottom);
  const whole = ends.findIndex((one) => one > end + 1);
  if (whole >= 0) latest.replaceChildren(...[...latest.children].slice(0, whole));
}

// Everything is made to fit its region: what is read from afar as big as it goes, the rest smaller until it is whole.
function fit() {
  if (at("now").hidden || at("top").hidden) return;
  fitTop();
  fitCall();
  fitFirst();
  fitLast();
  showLatest();
  lettered(at("board"));
}

const LEAST = 11; // px; nothing is smaller

// The largest of the whole sizes (px) from least to most that fits, or the least. It is set when this returns.
function setLargest(least, most, set, fits) {
  let [low, high] = [Math.ceil(least), Math.floor(most)];
  for (set(high); low < high && !fits(); set(high)) {
    const middle = (low + high) >> 1;
    set(middle);
    if (!fits()) high = middle;
    else if (middle === low) high = low;
    else [low, high] = [middle, high - 1];
  }
}

function fitTop() {
  const [top, state, lost] = ["top", "state", "lost"].map(at);
  const mode = (size) => top.style.setProperty("--mode-size", `${size}px`);
  const fault = (size) => top.style.setProperty("--fault-size", `${size}px`);
  const fits = () => top.scrollHeight <= top.clientHeight + 1 && state.scrollWidth <= state.clientWidth + 1;
  at("now").style.setProperty("--spill", "0px");
  fault(parseFloat(getComputedStyle(at("place")).fontSize));
  setLargest(20, top.clientHeight * 0.7, mode, fits);
  if (!fits()) setLargest(LEAST, 16, fault, fits);
  if (!fits()) setLargest(15, 20, mode, fits);
  const spill = Math.max(0, Math.ceil(lost.getBoundingClientRect().bottom - top.getBoundingClientRect().bottom));
  at("now").style.setProperty("--spill", `${spill}px`);
}

function fitCall() {
  const [task, reading, asked] = ["task", "reading", "asked"].map(at);
  const room = Math.min(innerWidth, innerHeight);
  const below = (size) => task.style.setProperty("--words", `${size}px`);
  if (reading.hidden) {
    // The state is in the header already: what is left to do has all the room.
    setLargest(14, room * 0.13, below, () => task.scrollHeight <= task.clientHeight && asked.scrollWidth <= asked.clientWidth);
    return;
  }
  // The text below the figures gets smaller first, then the figures.
  const most = Math.min(Math.max(room * 0.052, 18), 44);
  if (!asked.hidden) {
    setLargest(16, most, below, () => largest(task, reading).share >= 0.75);
    // What lets a motor move must be read before anything else.
    const least = seen.state.carriage ? 40 : 24;
    if (largest(task, reading).size < least) setLargest(12, 16, below, () => largest(task, reading).size >= least);
  }
  const { size } = largest(task, reading);
  // The unit has a least size, so it takes more of a smaller line.
  setLargest(18, Math.max(18, size), (px) => (reading.style.fontSize = `${px}px`), () => reading.offsetWidth <= task.clientWidth);
}

function fitFirst() {
  const first = at("first");
  if (first.hidden) return;
  const fits = () => first.scrollHeight <= first.clientHeight;
  first.classList.remove("tight");
  setLargest(LEAST, 24, (size) => (first.style.fontSize = `${size}px`), fits);
  first.classList.toggle("tight", !fits());
}

// What happened, to 11 px: the plan's warnings are read before the first cut.
function fitLast() {
  const [last, opening] = ["last", "opening"].map(at);
  last.style.fontSize = "";
  if (opening.hidden) return;
  const set = (size) => (last.style.fontSize = `${size}px`);
  const most = parseFloat(getComputedStyle(last).fontSize);
  setLargest(LEAST, most, set, () => opening.getBoundingClientRect().bottom <= last.getBoundingClientRect().bottom);
}

// How big the lines can be (px) with what is below them, and as a share of what the width alone would allow.
// Each way is before its figure or above it, whichever is larger.
function largest(task, reading) {
  const others = [...task.children].filter((one) => one !== reading && !one.hidden);
  const scrolls = getComputedStyle(at("now")).display === "block";
  const high = scrolls ? innerHeight * 0.4 : task.clientHeight - others.reduce((sum, one) => sum + one.offsetHeight, 0) - 2;
  let best = { size: 1, share: 0, long: false };
  reading.style.fontSize = "100px";
  for (const long of reading.classList.contains("steps") ? [false, true] : [false]) {
    reading.classList.toggle("long", long);
    const box = reading.getBoundingClientRect();
    const wide = (100 * task.clientWidth) / Math.max(1, box.width);
    const size = Math.min(wide, (100 * high) / Math.max(1, box.height));
    if (size > best.size) best = { size, share: size / wide, long };
  }
  reading.classList.toggle("long", best.long);
  return best;
}
addEventListener("resize", fit);

function item(text) {
  return Object.assign(document.createElement("li"), { textContent: text });
}

function log(entries, asked) {
  const list = at("entries");
  if (asked !== loggedFor) {
    // Something else is open now, and an old refusal would seem to be about it.
    for (const row of list.querySelectorAll('[data-klass="refused"]')) row.remove();
    loggedFor = asked;
  }
  for (const entry of entries) {
    const row = item("");
    row.dataset.klass = entry.klass;
    row.dataset.n = entry.n;
    if (list.firstChild?.dataset.n === row.dataset.n) list.firstChild.remove();
    for (const [name, text] of [["at", entry.at], ["mark", entry.mark], ["text", entry.text]]) {
      row.append(Object.assign(document.createElement("span"), { className: name, textContent: text }), " ");
    }
    list.prepend(row);
  }
  while (list.children.length > 200) list.lastChild.remove();
  // What the session made of a press here: the press alone says only that it was sent.
  const refusal = entries.filter((entry) => entry.klass === "refused").pop();
  if (refusal && Date.now() - sentAt < ANSWER_MS) {
    refusedAt = Date.now();
    showMessage(refusal.text);
  }
}

// --- what the operator can do here

// With the time, so that a second equal answer is seen as one.
function showMessage(text) {
  const place = (words) => {
    put("message", words);
    put("halt-said", words);
    if (seen.state.mode) showLatest();
  };
  place(`${new Date().toTimeString().slice(0, 8)} ${text}`);
  clearTimeout(showMessage.timer);
  showMessage.timer = setTimeout(place, 6000, "");
}

async function ask(body, done) {
  const begun = (sentAt = Date.now());
  try {
    const answer = await send("/do", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(body),
    });
    if (answer.status === 401) location.replace("/");
    const answered = await answer.json().catch(() => ({}));
    if (!answer.ok) showMessage(answered.error || `Refused (${answer.status}).`);
    else if (refusedAt < begun) showMessage(done);
    return answer.ok;
  } catch {
    showMessage("Kerfcall does not respond. Nothing was done.");
    return false;
  }
}

for (const button of document.querySelectorAll("[data-do]")) {
  button.addEventListener("click", () => ask({ do: button.dataset.do }, `Asked: ${button.textContent.toLowerCase()}.`));
}

// --- what went wrong

// Only while standing by; what is asked then is answered at the saw.
function showWrong(live) {
  const mode = seen.state.mode;
  const stands = live && mode === "standing by";
  const can = stands && seen.state.gestures.tap !== seen.state.nothing;
  const asked = live && mode === "question";
  let how = "Stand by first.";
  if (!live) how = "No news from Kerfcall: nothing can be reported from here.";
  else if (can) how = "Touch what happened. It is then asked at the saw: answer it there.";
  else if (stands) how = "This board is on its way out: nothing that goes wrong now changes what is cut.";
  else if (asked) how = "A question is open: answer it at the saw.";
  put("wrong-how", how);
  at("wrong-stand-by").disabled = !live || stands || asked;
  for (const button of document.querySelectorAll("[data-mishap]")) button.disabled = !can;
}

for (const button of document.querySelectorAll("[data-mishap]")) {
  button.addEventListener("click", async () => {
    await ask({ do: "mishap", mishap: button.dataset.mishap }, "Asked at the saw. Answer it there.");
    showPart("now");
    at("wrong-open").focus();
  });
}
at("wrong-open").addEventListener("click", () => {
  showPart("wrong");
  document.querySelector("#wrong h1").focus();
});
at("wrong-back").addEventListener("click", () => {
  showPart("now");
  at("wrong-open").focus();
});

// --- a driven carriage

const STANDS_MS = 800; // a touch so soon after it stands was meant to halt it, and does nothing else
let stoodAt = -Infinity;
const moves = () => Boolean(seen.state.carriage?.moves);

// Where the carriage is in its travel, and where it is to go.
function showTravel() {
  const one = seen.state.carriage;
  for (const place of ["travel", "halt-travel"].map(at)) {
    place.hidden = !one?.high;
    if (unchanged(place, JSON.stringify(one ?? null)) || !one?.high) continue;
    const span = (name, text = "") => Object.assign(document.createElement("span"), { className: name, textContent: text });
    const track = span("track");
    for (const [name, share] of [["target", one.target], ["car", one.at]]) {
      if (share === null) continue;
      const mark = span(name);
      mark.style.left = `${100 * share}%`;
      track.append(mark);
    }
    place.replaceChildren(span("end", one.low), track, span("end", one.high), span("place", one.place || "…"));
  }
}

// While it moves, the whole window halts it: also if what is shown is old, since the request may still get through.
function showHalt(old) {
  const place = at("halt");
  if (place.hidden === moves()) {
    place.hidden = !moves();
    if (moves()) {
      put("halt-said", "");
      place.focus({ preventScroll: true });
    } else stoodAt = performance.now();
  }
  if (!moves()) return;
  const s = seen.state;
  put("halt-state", old ? "OLD: no news from Kerfcall" : [s.state, s.lost].filter(Boolean).join(", "));
  put("halt-way", s.carriage.way.join(" "));
  put("halt-how", old ? "Touch to halt, and use the pedal or the motor's red switch too" : "Touch anywhere");
}

function halt(event) {
  event.preventDefault();
  event.stopPropagation();
  ask({ do: "halt" }, "Sent.");
}

at("halt").addEventListener("pointerdown", halt);
at("halt").addEventListener("contextmenu", (event) => event.preventDefault());
// A screen reader's press comes without a pointer.
at("halt").addEventListener("click", (event) => event.detail === 0 && halt(event));
for (const kind of ["pointerdown", "pointerup", "click", "keydown", "keyup"]) {
  addEventListener(
    kind,
    (event) => {
      if (moves()) {
        if (kind === "keydown" && !event.repeat) halt(event);
        else if (kind.startsWith("key")) event.preventDefault();
      } else if (performance.now() - stoodAt < STANDS_MS) {
        event.preventDefault();
        event.stopPropagation();
      }
    },
    true,
  );
}

at("note-open").addEventListener("click", () => {
  const open = at("note").hidden;
  at("note").hidden = !open;
  at("note-open").setAttribute("aria-expanded", String(open));
  if (open) at("note-text").focus();
});
at("note").addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  at("note-open").click();
  at("note-open").focus();
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
  if (pressed || at("cut").hidden || at("cut").disabled) return;
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
function letGoEarly() {
  if (pressed) showMessage("Not sent: keep the button pressed until it is full.");
  letGo();
}
for (const kind of ["pointerup", "pointercancel", "pointerleave", "blur"]) at("cut").addEventListener(kind, letGoEarly);
at("cut").addEventListener("keydown", (event) => {
  if (event.key === " " || event.key === "Enter") {
    event.preventDefault();
    if (!event.repeat) press();
  }
});
at("cut").addEventListener("keyup", letGoEarly);
at("cut").addEventListener("contextmenu", (event) => event.preventDefault());

// --- the other parts

const PARTS = ["now", "wrong", "job", "log", "drawing", "sessions", "about"];
function showPart(shown) {
  for (const part of PARTS) at(part).hidden = part !== shown;
  document.body.dataset.shown = shown;
  for (const button of document.querySelectorAll("[data-tab]")) {
    button.removeAttribute("aria-current");
    // What went wrong belongs to what is now.
    if (button.dataset.tab === (shown === "wrong" ? "now" : shown)) button.setAttribute("aria-current", "page");
  }
  if (shown === "sessions") sessions();
  if (shown === "drawing") drawing();
  fit();
}
for (const button of document.querySelectorAll("[data-tab]")) button.addEventListener("click", () => showPart(button.dataset.tab));

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
    const ended = one.ended ? `, done at ${one.ended}` : "";
    put("session-sums", `${one.started}: ${one.state}${one.rehearsed ? ", rehearsed" : ""}; ${one.passes_cut} of ${one.of} passes cut in ${one.took}${ended}.`);
    at("minutes").replaceChildren(...one.times.map(item));
    at("boards").replaceChildren(...one.boards.map(figure));
    at("account").textContent = one.account.join("\n");
    at("rows").hidden = true;
    at("session").hidden = false;
    paced = one.pace;
    showPace();
    at("back").focus();
  } catch (error) {
    put("sessions-message", error.message);
  }
}

let paced = null;
function showPace() {
  if (paced === null || at("session").hidden) return;
  drawPace(at("pace"), at("pace-summary"), paced);
  at("boards").querySelectorAll(".board").forEach(lettered);
}
addEventListener("resize", showPace);

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
