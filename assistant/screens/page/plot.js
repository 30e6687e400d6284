"use strict";
// Draws seconds per pass, in the order of cutting.

const PLOT = { width: 1000, height: 320, right: 984, top: 16, foot: 262 };

function median(values) {
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length >> 1;
  return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
}

// A round step that divides the height into three to six parts.
function stepFor(most) {
  const steps = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600, 7200, 36000];
  return steps.find((step) => most / step <= 6) || most;
}

function seconds(value) {
  if (value < 60) return `${Math.round(value * 10) / 10} s`;
  const whole = Math.round(value);
  return whole < 3600 ? `${Math.floor(whole / 60)} min ${whole % 60} s` : `${Math.floor(whole / 3600)} h ${Math.round((whole % 3600) / 60)} min`;
}

function drawPace(target, summary, pace) {
  if (!pace.length) {
    target.replaceChildren();
    target.setAttribute("aria-label", "No pass has a time.");
    target.hidden = true;
    summary.textContent = "No pass has a time.";
    return;
  }
  target.hidden = false;
  const values = pace.map((one) => one.took_s);
  const middle = median(values);
  // One pass with a lunch break in it must not flatten all the others.
  const most = Math.max(1, Math.min(Math.max(...values), Math.max(middle * 5, 5)));
  const step = stepFor(most);
  const top = Math.ceil(most / step) * step;
  const y = (value) => PLOT.foot - ((PLOT.foot - PLOT.top) * Math.min(value, top)) / top;
  // Beside the longest number; a figure is at most 0.64 of its height wide.
  const left = 20 + 0.64 * lettered(target) * `${top} s`.length;
  const room = (PLOT.right - left) / values.length;
  const parts = [];
  for (let line = 0; line <= top + 1e-9; line += step) {
    parts.push(svg("path", { d: `M${left} ${y(line)}H${PLOT.right}`, class: "rule" }));
    parts.push(svg("text", { x: left - 10, y: y(line) + 9, class: "figure", "text-anchor": "end" }, `${line} s`));
  }
  pace.forEach((one, n) => {
    const place = { x: left + n * room + room * 0.12, width: Math.max(room * 0.76, 0.6) };
    parts.push(svg("rect", { ...place, y: y(one.took_s), height: Math.max(PLOT.foot - y(one.took_s), 1), class: "take" }));
    if (one.took_s > top) {
      const x = place.x + place.width / 2;
      parts.push(svg("path", { d: `M${x} ${PLOT.top - 12}l9 14h-18z`, class: "beyond" }));
    }
    if (n > 0 && one.setup !== pace[n - 1].setup && room > 3) {
      const x = left + n * room;
      parts.push(svg("path", { d: `M${x} ${PLOT.top}V${PLOT.foot + 10}`, class: "setup-mark" }));
    }
  });
  parts.push(svg("path", { d: `M${left} ${y(middle)}H${PLOT.right}`, class: "middle" }));
  parts.push(svg("text", { x: left, y: PLOT.height - 18, class: "figure" }, "first"));
  parts.push(svg("text", { x: PLOT.right, y: PLOT.height - 18, class: "figure", "text-anchor": "end" }, `pass ${values.length}`));
  target.replaceChildren(...parts);
  const sums = `Middle of ${values.length}: ${seconds(middle)} a pass (dashed line); quickest ${seconds(Math.min(...values))}, slowest ${seconds(Math.max(...values))}.`;
  target.setAttribute("aria-label", `Pace, a bar for each pass. ${sums}`);
  summary.textContent = `${sums} From the call to the pass being cut; a dotted line begins each setup${values.some((one) => one > top) ? "; a triangle stands on what is longer than the scale" : ""}.`;
}
