"use strict";
// Draws the board's end as the operator sees it: end down, the stop on the side where the machine has it.

const SVG = "http://www.w3.org/2000/svg";

function svg(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  return made;
}

// Lets a picture's letters be as large as the page's small print, at every width. Returns their height in its units.
function lettered(picture) {
  const [, , width, height] = picture.getAttribute("viewBox").split(" ").map(Number);
  const box = picture.getBoundingClientRect();
  const scale = Math.min(box.width / width, box.height / height);
  if (scale > 0) picture.style.setProperty("--px", 1 / scale);
  const small = parseFloat(getComputedStyle(document.querySelector("#link")).fontSize);
  return scale > 0 ? small / scale : 3 * small;
}

// cut: hexadecimal; bit p - 1 is pass p.
function isCut(cut, pass) {
  const place = cut.length - 1 - ((pass - 1) >> 2);
  return place >= 0 && ((parseInt(cut[place], 16) >> ((pass - 1) & 3)) & 1) === 1;
}

function merged(spans) {
  const found = [];
  for (const [from, to] of spans.sort((a, b) => a[0] - b[0])) {
    const last = found[found.length - 1];
    if (last && from <= last[1] + 1e-6) last[1] = Math.max(last[1], to);
    else found.push([from, to]);
  }
  return found;
}

const BOARD = { width: 1000, height: 360, top: 14, end: 292, shoulder: 150, left: 92, right: 930 };

function boardScale(board) {
  const mirrored = board.stop_side === "right";
  const [left, right] = mirrored ? [BOARD.width - BOARD.right, BOARD.width - BOARD.left] : [BOARD.left, BOARD.right];
  const scale = (right - left) / board.width;
  const x = (mm) => (mirrored ? right - mm * scale : left + mm * scale);
  const within = (mm) => Math.min(board.width, Math.max(0, mm));
  const span = (from, to) => {
    const [a, b] = [x(within(from)), x(within(to))].sort((one, other) => one - other);
    return { x: a, width: Math.max(b - a, 1) };
  };
  return { mirrored, left, right, x, span };
}

function drawBoard(target, board, cut, now) {
  const { mirrored, left, right, x, span } = boardScale(board);
  const { top, end, shoulder, height } = BOARD;
  const parts = [];
  parts.push(svg("rect", { x: left, y: top, width: right - left, height: end - top, class: "wood" }));
  for (let y = top + 22; y < shoulder; y += 34) {
    parts.push(svg("path", { d: `M${left} ${y}C${left + 260} ${y - 12} ${right - 300} ${y + 12} ${right} ${y - 3}`, class: "grain" }));
  }
  for (const [from, to] of board.sockets) {
    parts.push(svg("rect", { ...span(from, to), y: shoulder, height: end - shoulder, class: "to-come" }));
  }
  const gone = board.gone.concat(board.passes.filter((_, n) => isCut(cut, n + 1)).map(([from, to]) => [from, to]));
  for (const [from, to] of merged(gone)) {
    parts.push(svg("rect", { ...span(from, to), y: shoulder, height: end - shoulder + 3, class: "gap" }));
  }
  const current = now > 0 ? board.passes[now - 1] : undefined;
  if (current) {
    const place = span(current[0], current[1]);
    const middle = place.x + place.width / 2;
    parts.push(svg("rect", { ...place, y: shoulder, height: end - shoulder, class: "blade" }));
    parts.push(svg("path", { d: `M${middle} ${end + 8}l26 44h-52z`, class: "here" }));
  }
  parts.push(svg("path", { d: `M${left} ${top}H${right}`, class: "broken" }));
  parts.push(svg("path", { d: `M${left} ${top}V${end}M${right} ${top}V${end}M${left} ${end}H${right}`, class: "edge" }));
  const stopLeft = mirrored ? right + 8 : left - 62;
  parts.push(svg("rect", { x: stopLeft, y: top + 20, width: 54, height: end - top - 20, class: "stop" }));
  const at = { x: stopLeft + 27, y: (top + end) / 2 + 10 };
  parts.push(svg("text", { ...at, class: "stop-word", transform: `rotate(-90 ${at.x} ${at.y - 6})` }, "STOP"));
  const zero = { x: x(0), y: height - 14 };
  parts.push(svg("text", { ...zero, class: "figure", "text-anchor": mirrored ? "end" : "start" }, "0"));
  const far = { x: x(board.width), y: height - 14, "text-anchor": mirrored ? "start" : "end" };
  parts.push(svg("text", { ...far, class: "figure" }, board.width_text));
  target.replaceChildren(...parts);
  const done = board.passes.filter((_, n) => isCut(cut, n + 1)).length;
  const here = current ? `, pass ${now} is called now` : "";
  target.setAttribute(
    "aria-label",
    `Board, end down, stop on the ${board.stop_side}: ${board.sockets.length} sockets, ${done} of ${board.passes.length} passes cut${here}`,
  );
}
