"use strict";
// The token that this device got when it was paired. Only pages of this host and port can read it. It goes out in a
// header, because a browser would send a cookie to every port of this host.

const TOKEN = "kerfcall-token";

// If the browser is set to store nothing, even reading throws.
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

// Returns whether the token will still be there when the page is loaded again.
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
