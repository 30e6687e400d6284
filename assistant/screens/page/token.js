"use strict";
// What this device was given when it was paired. It is kept where pages of this very host and port can read it and
// nobody else, and goes out in a header; a browser would send a cookie to every port of this host.

const TOKEN = "kerfcall-token";

// Where the browser is set to keep nothing, even asking throws.
function storage() {
  try {
    return localStorage;
  } catch {
    return null;
  }
}

function token() {
  return storage()?.getItem(TOKEN) || "";
}

// Whether it will still be there when the page is loaded again.
function keep(text) {
  try {
    storage().setItem(TOKEN, text);
    return token() === text;
  } catch {
    return false;
  }
}

function forget() {
  storage()?.removeItem(TOKEN);
}

// A request to Kerfcall, from this device.
function send(path, more = {}) {
  return fetch(path, { ...more, headers: { ...more.headers, Authorization: `Bearer ${token()}` } });
}
