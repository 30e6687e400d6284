"use strict";
const at = (id) => document.getElementById(id);
const AT_HOME = ["localhost", "127.0.0.1"].includes(location.hostname);

// A paired device goes on to the page. All others stay, also a device whose pairing was revoked.
if (token()) {
  send("/paired").then((answer) => answer.json()).then(({ paired }) => {
    if (paired) location.replace("/bench");
  }).catch(() => {});
}

at("plain-http").textContent = AT_HOME
  ? "This page and Kerfcall are on the same machine; nothing goes over a network."
  : "This connection is plain HTTP, not encrypted: anyone who can listen on this network can read it and could act as this device. Use it on a network that you trust.";

function nameOfDevice() {
  if (!matchMedia("(pointer: coarse)").matches) return "computer";
  return Math.min(screen.width, screen.height) < 600 ? "phone" : "tablet";
}

async function pair() {
  const code = at("code").value.replace(/\s/g, "");
  if (!/^\d{8}$/.test(code)) {
    at("message").textContent = "The code has 8 digits.";
    return;
  }
  // Check this first: the code can be used only once.
  if (!keep(token())) {
    at("message").textContent = "This browser stores nothing for this page, so it can't stay paired. Allow it to store site data, then try again.";
    return;
  }
  at("message").textContent = "Asking …";
  try {
    const answer = await fetch("/pair", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ code, name: at("name").value.trim() || "a device" }),
    });
    const body = await answer.json().catch(() => ({}));
    if (answer.ok) {
      keep(body.token);
      location.replace("/bench");
      return;
    }
    at("message").textContent = body.error || `Refused (${answer.status}).`;
  } catch {
    at("message").textContent = "Kerfcall does not respond.";
  }
}

at("name").value = nameOfDevice();
at("pair").addEventListener("submit", (event) => {
  event.preventDefault();
  pair();
});

// A QR code carries the pairing code in the fragment, which no browser sends to a server. Remove it from the history.
const inLink = location.hash.slice(1);
if (inLink) history.replaceState(null, "", "/");
if (/^\d{8}$/.test(inLink)) {
  at("code").value = inLink;
  pair();
}
