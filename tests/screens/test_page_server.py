"""The page's server over real sockets: who is let in, what is refused, what is sent."""

from __future__ import annotations

import contextlib
import http.client
import json
import re
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

import pytest

from assistant.errors import CouldNotRun
from assistant.screens.page import pairing, room
from assistant.screens.page.bench import BenchPage
from assistant.screens.page.devices import MOST
from assistant.screens.page.gate import home_address
from assistant.screens.page.hub import MOST_STREAMS
from assistant.screens.page.room import MOST_PAIRED, MOST_UNPAIRED, UNPAIRED_OF_ONE
from assistant.screens.page.server import MOST_BODY
from assistant.session import facts as f
from assistant.session.events import CodeAsked, Gesture
from tests.runner.adapters import drain
from tests.screens.page_made import Answer, Made, Pages, ask, made, made_job

EVERYTHING = ("/sessions", "/session/2026-11-25-1", "/drawing.svg", "/stream", "/do", "/leave", "/page.js", "/..", "/x")
OF_THE_SESSION = (b"Small tray", b"long side", b"2026-", b"3.18")


@pytest.fixture
def one(tmp_path: Path) -> Iterator[Made]:
    with made(tmp_path, made_job(may_record_cuts=True)) as it:
        yield it


T = TypeVar("T")


def raw(port: int, data: bytes, wait_s: float = 3.0) -> bytes:
    """The answer to these bytes, until the server closes."""
    with socket.create_connection(("127.0.0.1", port), timeout=wait_s) as connection:
        got = b""
        with contextlib.suppress(OSError):  # the server refused early and closed
            connection.sendall(data)
        with contextlib.suppress(OSError):
            while part := connection.recv(65536):
                got += part
        return got


def until(holds: Callable[[], bool], timeout_s: float = 20.0) -> None:
    end = time.monotonic() + timeout_s
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.01)


def patiently(asked: Callable[[], T], timeout_s: float = 20.0) -> T:
    """Ask like the page: if the connection is ended, ask once more."""
    end = time.monotonic() + timeout_s
    while True:
        try:
            return asked()
        except (OSError, http.client.HTTPException):
            assert time.monotonic() < end
            time.sleep(0.05)


def status_of(reply: bytes) -> int:
    return int(reply.split(b" ", 2)[1])


def do(one: Made, token: str, body: object, **more: object) -> Answer:
    return ask(one.port, "POST", "/do", token=token, body=body, **more)  # type: ignore[arg-type]


# --- who is let in


def test_unpaired_nothing_is_shown_on_loopback_either(one: Made) -> None:
    for path in EVERYTHING:
        for method in ("GET", "POST"):
            answer = ask(one.port, method, path)
            assert (answer.status, answer.body) == (401, b""), path
            assert answer.headers["WWW-Authenticate"] == "Bearer"  # RFC 9110, 15.5.2


@pytest.mark.parametrize(
    "sent",
    [
        "",
        "x",
        "Bearer",
        "Bearer ",
        "Bearer wrong",
        "Bearer {hash}",
        "{token}",
        "Basic {token}",
        "Bearer {token},{token}",
    ],
)
def test_only_the_exact_token_opens(one: Made, sent: str) -> None:
    device, token = one.page.devices.pair("tablet")
    headers = {"Authorization": sent.format(hash=device.hash, token=token)}
    assert ask(one.port, "GET", "/sessions", headers=headers).status == 401
    assert ask(one.port, "GET", "/sessions", headers={"Authorization": f"bearer  {token}"}).status == 200


def test_a_token_sent_twice_or_in_a_cookie_opens_nothing(one: Made) -> None:
    token = one.pair()
    for sent in (2 * f"Authorization: Bearer {token}\r\n", f"Cookie: kerfcall-{one.port}={token}\r\n"):
        head = f"GET /sessions HTTP/1.1\r\nHost: 127.0.0.1:{one.port}\r\n{sent}Connection: close\r\n\r\n"
        assert status_of(raw(one.port, head.encode())) == 401


def test_pairing_gives_the_page_a_token_and_sets_no_cookie_that_other_ports_would_get(one: Made) -> None:
    code = one.page.codes.begin()
    answer = ask(one.port, "POST", "/pair", body={"code": code, "name": "my tablet"})
    assert (answer.status, set(answer.json)) == (200, {"token"})
    token = answer.json["token"]
    assert ask(one.port, "GET", "/sessions", token=token).status == 200
    assert ask(one.port, "GET", "/paired", token=token).json == {"paired": True}
    assert [device.name for device in one.page.devices.all()] == ["my tablet"]
    assert 'device 1, "my tablet"' in one.notes[-1]
    for path in ("/", "/bench", "/paired", "/sessions"):
        assert "Set-Cookie" not in ask(one.port, "GET", path, token=token).headers
    # Fetch Standard, CORS protocol: without this header another port's page can't read what it asked for.
    assert "Access-Control-Allow-Origin" not in answer.headers


def test_both_documents_are_the_same_for_everybody(one: Made) -> None:
    token = one.pair()
    one.to_first_pass()
    for path in ("/", "/bench"):
        stranger = ask(one.port, "GET", path)
        assert (stranger.status, stranger.body) == (200, ask(one.port, "GET", path, token=token).body)
        assert not any(word in stranger.body for word in OF_THE_SESSION)


def test_a_wrong_code_shows_how_many_tries_are_left_and_the_fifth_ends_it(one: Made) -> None:
    code = one.page.codes.begin()
    body = {"code": f"{(int(code) + 1) % 10**8:08d}", "name": "x"}
    told = [ask(one.port, "POST", "/pair", body=body).json["error"] for _ in range(6)]
    assert told[0].endswith("4 tries left.")
    assert told[3].endswith("One try left.")
    assert told[4:] == ["That is not the code, or it has expired. Ask for a new code at the bench."] * 2
    assert ask(one.port, "POST", "/pair", body={"code": code, "name": "x"}).status == 403
    assert one.page.devices.all() == ()


def tries(one: Made, code: str, source: str, times: int = 1) -> list[int]:
    body = {"code": code, "name": "x"}
    return [ask(one.port, "POST", "/pair", body=body, source=source).status for _ in range(times)]


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere a machine has no loopback address but 127.0.0.1")
def test_wrong_codes_are_reported_at_the_bench_with_their_address_and_take_no_tries_from_others(one: Made) -> None:
    code = one.page.invite()
    wrong = f"{(int(code) + 1) % 10**8:08d}"
    invited = len(one.notes)
    assert tries(one, wrong, "127.0.0.2", 6) == [403] * 6
    assert one.notes[invited] == "!! A wrong pairing code from 127.0.0.2; 4 tries left from there with this code."
    assert one.notes[invited + 3 :] == [
        "!! A wrong pairing code from 127.0.0.2; one try left from there with this code.",
        "!! A wrong pairing code from 127.0.0.2; no try left from there with this code.",
        "!! A pairing code from 127.0.0.2 was not checked: no code is valid now, or that address has no tries left.",
    ]
    assert tries(one, code, "127.0.0.2") == [403]
    assert tries(one, code, "127.0.0.3") == [200]


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere a machine has no loopback address but 127.0.0.1")
def test_twenty_wrong_codes_of_many_addresses_make_a_code_void_and_it_vanishes(one: Made) -> None:
    code = one.page.invite()
    wrong = f"{(int(code) + 1) % 10**8:08d}"
    for n in range(20):
        assert any("To pair a device" in note for note in one.notes)
        assert tries(one, wrong, f"127.0.1.{n + 1}") == [403]
    assert not any("To pair a device" in note for note in one.notes)
    assert one.notes[-1] == "!! A wrong pairing code from 127.0.1.20, the 20th of all: this code is void."
    assert tries(one, code, "127.0.2.1") == [403]
    assert one.page.devices.all() == ()


def test_tries_while_no_code_is_open_do_not_flood_the_bench(one: Made) -> None:
    for _ in range(10):
        tries(one, "00000000", "127.0.0.1")
    assert 1 <= len(one.notes) < 5


def test_a_used_code_vanishes_at_once(one: Made) -> None:
    code = one.page.invite()
    assert tries(one, code, "127.0.0.1") == [200]
    (note,) = one.notes
    assert note.startswith("-- Paired: device 1")


def test_a_used_code_vanishes_even_if_no_more_devices_can_be_paired(one: Made) -> None:
    for n in range(MOST):
        one.pair(str(n))
    code = one.page.invite()
    assert tries(one, code, "127.0.0.1") == [503]
    assert one.notes == []


def test_an_expired_code_vanishes(one: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pairing, "LASTS_S", 0.5)
    code = one.page.invite()
    until(lambda: one.notes == ["-- The pairing code has expired."])
    assert tries(one, code, "127.0.0.1") == [403]


def test_a_newer_code_stays_when_the_previous_code_expires(one: Made) -> None:
    before, code = one.page.invite(), one.page.invite()
    (shown,) = one.notes
    assert f"{code[:4]} {code[4:]}" in shown
    one.page._ran_out(before)
    assert one.notes == [shown]
    assert tries(one, code, "127.0.0.1") == [200]


def test_guessing_is_slowed_down(one: Made) -> None:
    body = {"code": "00000000", "name": "x"}
    assert 429 in [ask(one.port, "POST", "/pair", body=body).status for _ in range(14)]


@pytest.mark.parametrize(
    "body", [None, b"{", b"\xff", b"[" * 2000, b"[]", b"3", {"code": 1, "name": "x"}, {"code": "1"}]
)
def test_malformed_pairings_are_refused(one: Made, body: object) -> None:
    one.page.codes.begin()
    assert ask(one.port, "POST", "/pair", body=body, headers={}).status in (400, 415)


def test_a_revoked_device_is_refused_at_once_and_its_stream_ends_within_a_moment(one: Made) -> None:
    token = one.pair()
    page = Pages(one.port, token)
    page.wait(lambda kind, body: kind == "all")
    one.page.devices.revoke(None)
    assert ask(one.port, "GET", "/sessions", token=token).status == 401
    assert page.ended.wait(3.0)
    page.close()


def test_a_revoked_devices_stream_ends_though_its_number_is_given_again(one: Made) -> None:
    """The file is deleted, as its message says when it can't be read, and another device gets the number."""
    page = Pages(one.port, one.pair())
    page.wait(lambda kind, body: kind == "all")
    one.page.devices.path.unlink()
    one.pair("another")
    assert [device.id for device in one.page.devices.all()] == ["1"]
    assert page.ended.wait(20.0)
    page.close()


def test_nothing_goes_to_a_stream_once_its_token_is_revoked(one: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """The moment right after: nothing has looked for revoked devices yet."""
    monkeypatch.setattr(one.page.server, "clear", lambda: None)
    page = Pages(one.port, one.pair())
    page.wait(lambda kind, body: kind == "all")
    one.page.devices.revoke(None)
    one.to_first_pass()
    assert page.ended.wait(20.0)
    assert "cutting" not in [body.get("state", {}).get("mode") for _, body in page.messages]
    page.close()


def test_a_revoked_devices_stream_is_ended_and_does_not_wait_for_news(
    one: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("assistant.screens.page.server.TICK_S", 1000.0)
    page, other = Pages(one.port, one.pair("phone")), Pages(one.port, one.pair("tablet"))
    for each in (page, other):
        each.wait(lambda kind, body: kind == "all")
    one.page.devices.revoke("1")
    assert page.ended.wait(20.0)
    until(lambda: one.page.hub.streams == 1)
    assert not other.ended.is_set()
    one.page.devices.revoke(None)
    for each in (page, other):
        assert each.ended.wait(20.0)
        each.close()


def test_a_device_can_end_its_own_pairing(one: Made) -> None:
    token = one.pair()
    page = Pages(one.port, token)
    assert ask(one.port, "POST", "/leave", token=token).status == 204
    assert page.ended.wait(20.0)
    page.close()
    assert ask(one.port, "GET", "/sessions", token=token).status == 401


def test_a_pairing_outlives_the_program(tmp_path: Path) -> None:
    with made(tmp_path) as before:
        port, token = before.port, before.pair()
    with made(tmp_path, port=port) as after:
        assert ask(after.port, "GET", "/sessions", token=token).status == 200


# --- hosts, origins, kinds of request


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.2:{port}", "[::1]:{port}"]
)
@pytest.mark.parametrize("path", ["/", "/sessions", "/stream"])
def test_a_wrong_host_is_refused_even_with_the_token(one: Made, host: str, path: str) -> None:
    sent = host.format(port=one.port)
    method = "POST" if path == "/stream" else "GET"
    answer = ask(one.port, method, path, token=one.pair(), host=sent, origin=f"http://{sent}")
    assert (answer.status, answer.body) == (421, b"")


@pytest.mark.parametrize("path", ["/stream", "/do", "/leave", "/pair"])
@pytest.mark.parametrize(
    "origin", [None, "null", "http://evil.example", "http://127.0.0.1", "https://127.0.0.1:{port}"]
)
def test_a_wrong_origin_or_none_is_refused_even_with_the_token(one: Made, path: str, origin: str | None) -> None:
    sent = origin and origin.format(port=one.port)
    answer = ask(one.port, "POST", path, token=one.pair(), body={"do": "again"}, origin=sent)
    assert answer.status == 403
    assert len(one.page.devices.all()) == 1


def test_a_request_that_the_browser_calls_foreign_is_refused(one: Made) -> None:
    token = one.pair()
    for site, status in (("cross-site", 403), ("same-site", 403), ("same-origin", 200), ("none", 200)):
        assert ask(one.port, "GET", "/sessions", token=token, headers={"Sec-Fetch-Site": site}).status == status


def test_no_get_changes_anything(one: Made) -> None:
    token = one.pair()
    one.to_first_pass()
    before = one.runner.state
    for path in ("/", "/bench", "/paired", *EVERYTHING, "/do?do=cut", "/pair?code=1", "/leave?x=1"):
        ask(one.port, "GET", path, token=token)
    drain(one.runner)
    assert one.runner.state == before
    assert len(one.page.devices.all()) == 1
    assert ask(one.port, "GET", "/sessions", token=token).status == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "HEAD", "OPTIONS", "TRACE", "CONNECT", "x"])
def test_other_methods_are_refused(one: Made, method: str) -> None:
    request = f"{method} / HTTP/1.1\r\nHost: 127.0.0.1:{one.port}\r\n\r\n".encode()
    assert status_of(raw(one.port, request)) == 501


@pytest.mark.parametrize(
    ("path", "status"), [("/nothing", 404), ("/session/../x", 404), ("/session/", 404), ("/do", 405)]
)
def test_a_paired_device_sees_what_is_not_there(one: Made, path: str, status: int) -> None:
    assert ask(one.port, "GET", path, token=one.pair()).status == status


@pytest.mark.parametrize(
    "path", ["/session/2026-11-25-1/x", "/session/%2e%2e", "/session/1' OR 1=1", "/session/" + "1" * 99]
)
def test_a_session_is_found_by_its_id_only(one: Made, path: str) -> None:
    head = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{one.port}\r\nAuthorization: Bearer {one.pair()}\r\n"
    assert status_of(raw(one.port, f"{head}Connection: close\r\n\r\n".encode())) in (400, 404)


def test_nothing_may_be_framed_sniffed_stored_or_run_but_the_pages_own(one: Made) -> None:
    token = one.pair()
    for path in ("/", "/bench"):
        answer = ask(one.port, "GET", path)
        policy = dict(part.strip().split(" ", 1) for part in answer.headers["Content-Security-Policy"].split(";"))
        assert policy["default-src"] == "'none'"
        assert policy["frame-ancestors"] == policy["base-uri"] == policy["form-action"] == "'none'"
        assert "unsafe" not in str(policy) and policy["img-src"] == "data:" and policy["connect-src"] == "'self'"
        assert re.fullmatch(r"'sha256-[\w+/=]{44}'", policy["script-src"])
        assert re.fullmatch(r"'sha256-[\w+/=]{44}'", policy["style-src"])
        # An outside address in it would be a request to the internet; those of XML namespaces are names.
        assert not re.findall(rb"(?:src|href)=\"(?:https?:)?//", answer.body)
        assert set(re.findall(rb"https?://[\w./-]+", answer.body)) <= {b"http://www.w3.org/2000/svg"}
    for path in ("/sessions", "/nothing", "/", "/bench"):
        headers = ask(one.port, "GET", path, token=token).headers
        assert headers["Cache-Control"] == "no-store"
        assert headers["Referrer-Policy"] == "no-referrer"
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["X-Frame-Options"] == "DENY"
        assert "Server" not in headers


# --- oversized, malformed, slow and many


def test_an_oversized_body_is_refused_unread(one: Made) -> None:
    token = one.pair()
    own = f"127.0.0.1:{one.port}"
    head = f"POST /do HTTP/1.1\r\nHost: {own}\r\nOrigin: http://{own}\r\nAuthorization: Bearer {token}\r\n"
    head += "Content-Type: application/json\r\n"
    for length in (str(MOST_BODY + 1), "99999999999999999999"):
        assert status_of(raw(one.port, f"{head}Content-Length: {length}\r\n\r\n".encode() + b"x" * 100)) == 413
    for length in ("-1", "1e3", "0x10", "٣"):
        assert status_of(raw(one.port, f"{head}Content-Length: {length}\r\n\r\n".encode())) == 400
    assert status_of(raw(one.port, f"{head}Content-Length: 2\r\nContent-Length: 2\r\n\r\n{{}}".encode())) == 411
    assert status_of(raw(one.port, f"{head}Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n".encode())) == 411


@pytest.mark.parametrize(
    ("request_", "status"),
    [
        (b"\x00\x01\x02\r\n\r\n", 400),
        (b"GET\r\n\r\n", 400),
        (b"GET / HTTP/9.9\r\n\r\n", 505),
        (b"GET / HTTP/1.1\r\n\r\n", 421),
        (b"GET /" + b"x" * 70_000 + b" HTTP/1.1\r\n\r\n", 414),
        (b"GET / HTTP/1.1\r\n" + b"A: b\r\n" * 200 + b"\r\n", 431),
        (b"GET / HTTP/1.1\r\nA: " + b"x" * 70_000 + b"\r\n\r\n", 431),
        (b"\x16\x03\x01\x02\x00\x01\x00", 400),
    ],
)
def test_malformed_requests_end_with_a_bare_status(one: Made, request_: bytes, status: int) -> None:
    reply = raw(one.port, request_ + b"\r\n\r\n")
    assert status_of(reply) == status
    assert reply.split(b"\r\n\r\n", 1)[1] == b""
    assert ask(one.port, "GET", "/").status == 200


def test_a_body_left_unread_is_not_taken_for_a_request(one: Made) -> None:
    """Request smuggling: the refused request's body holds a second one."""
    inner = f"GET /paired HTTP/1.1\r\nHost: 127.0.0.1:{one.port}\r\n\r\n"
    outer = f"POST /do HTTP/1.1\r\nHost: 127.0.0.1:{one.port}\r\nContent-Length: {len(inner)}\r\n\r\n{inner}"
    assert raw(one.port, outer.encode()).count(b"HTTP/1.1 ") == 1


def test_too_many_requests_of_one_address_are_refused_for_a_while(one: Made) -> None:
    one.page.server.requests._burst = 10.0
    request = f"GET /paired HTTP/1.1\r\nHost: 127.0.0.1:{one.port}\r\n\r\n".encode()
    replies = raw(one.port, request * 60 + request.replace(b"\r\n\r\n", b"\r\nConnection: close\r\n\r\n"))
    assert replies.count(b"HTTP/1.1 429") > 10
    time.sleep(0.3)
    assert ask(one.port, "GET", "/paired").status == 200


def idle(port: int, source: str = "127.0.0.1") -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), source_address=(source, 0))


def is_ended(connection: socket.socket) -> bool:
    connection.settimeout(20.0)
    try:
        return connection.recv(100) == b""
    except ConnectionError:
        return True


def test_the_oldest_idle_connection_makes_room(one: Made) -> None:
    silent = [idle(one.port) for _ in range(UNPAIRED_OF_ONE + 1)]
    try:
        assert is_ended(silent[0])
        until(lambda: one.page.server.connections == UNPAIRED_OF_ONE)
        assert ask(one.port, "GET", "/").status == 200
        assert is_ended(silent[1])
    finally:
        for connection in silent:
            connection.close()
    until(lambda: one.page.server.connections == 0)


@pytest.mark.parametrize(
    "begun",
    [b"", b"GET / HTTP/1.1\r\nHost: x", b"POST /pair HTTP/1.1\r\nHost: {own}\r\nOrigin: http://{own}\r\n"
     b"Content-Type: application/json\r\nContent-Length: 2000\r\n\r\n["],
    ids=["silent", "head", "body"],
)  # fmt: skip
def test_a_request_must_arrive_whole_in_time_however_steadily_it_drips(
    one: Made, monkeypatch: pytest.MonkeyPatch, begun: bytes
) -> None:
    monkeypatch.setattr(room, "WHOLE_S", 1.0)
    with idle(one.port) as slow:
        slow.sendall(begun.replace(b"{own}", f"127.0.0.1:{one.port}".encode()))
        slow.settimeout(0.1)
        for _ in range(200):
            with contextlib.suppress(TimeoutError, BrokenPipeError, ConnectionError):
                slow.sendall(b" " if begun else b"")
                if slow.recv(1000) == b"":
                    break
        else:
            pytest.fail("it was never ended")
    assert patiently(lambda: ask(one.port, "GET", "/")).status == 200


def test_two_hundred_slow_strangers_lock_no_paired_page_out(one: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each sends a byte of its head now and then, from the page's own address and from others.

    Each one that is ended comes back, and none is ended for its slowness. Meanwhile an open page goes on, others are
    loaded and opened, and do what pages do.
    """
    monkeypatch.setattr(room, "WHOLE_S", 1000.0)
    sources = ["127.0.0.1", *(f"127.0.0.{n}" for n in range(2, 12))] if sys.platform == "linux" else ["127.0.0.1"]
    page = Pages(one.port, token := one.pair())
    over = threading.Event()
    slow = [idle(one.port, sources[n % len(sources)]) for n in range(200)]
    came_back = []

    def drip() -> None:
        while not over.wait(0.05):
            for n, connection in enumerate(slow):
                try:
                    connection.sendall(b"G")
                except OSError:
                    connection.close()
                    slow[n] = idle(one.port, sources[n % len(sources)])
                    came_back.append(n)

    dripping = threading.Thread(target=drip)
    dripping.start()
    try:
        until(lambda: len(came_back) > 200)
        one.to_first_pass()
        for n in range(5):
            assert patiently(lambda: ask(one.port, "GET", "/")).status == 200
            assert patiently(lambda: ask(one.port, "GET", "/sessions", token=token)).status == 200
            again = patiently(lambda: Pages(one.port, token))
            one.gesture("tap")
            for each in (page, again):
                each.wait(lambda kind, body, cut=n + 1: body.get("state", {}).get("cut_here") == cut, 20.0)
            again.close()
        assert patiently(lambda: do(one, token, {"do": "stand by"})).status == 202
        assert one.page.server.connections <= MOST_UNPAIRED + MOST_PAIRED
        assert not page.ended.is_set()
    finally:
        over.set()
        dripping.join()
        for connection in slow:
            connection.close()
        page.close()


def test_the_streams_are_limited(one: Made) -> None:
    token = one.pair()
    pages = [Pages(one.port, token) for _ in range(MOST_STREAMS)]
    try:
        assert ask(one.port, "POST", "/stream", token=token).status == 503
    finally:
        for page in pages:
            page.close()


# --- what is sent


def test_a_page_gets_the_whole_state_and_then_each_change_in_order(one: Made) -> None:
    page = Pages(one.port, one.pair())
    first = page.wait(lambda kind, body: kind == "all")
    assert (first["state"]["mode"], first["board"]["width"], first["session"]) == ("checks", 84.0, one.session)
    one.to_first_pass()
    for _ in range(3):
        one.gesture("tap")
    last = page.wait(lambda kind, body: body.get("state", {}).get("cut_here") == 3)
    state = last["state"]
    assert (state["pass"], state["reading"], state["unit"], state["cut"]) == (4, "18.02", "mm", "7")
    numbers = [body["seq"] for kind, body in page.messages if kind != "tick"]
    assert numbers == sorted(numbers)
    page.close()


def test_two_devices_see_the_same(one: Made) -> None:
    pages = [Pages(one.port, one.pair(name)) for name in ("phone", "tablet")]
    one.to_first_pass()
    one.gesture("tap")
    seen = [page.wait(lambda kind, body: body.get("state", {}).get("cut_here") == 1) for page in pages]
    assert seen[0]["state"] == seen[1]["state"]
    for page in pages:
        page.close()


def test_a_quiet_session_still_sends_a_tick_each_second(one: Made) -> None:
    page = Pages(one.port, one.pair())
    page.wait(lambda kind, body: kind == "tick")
    page.close()


def test_a_new_board_comes_with_the_setup_that_cuts_it(one: Made) -> None:
    page = Pages(one.port, one.pair())
    for _ in range(2):
        one.to_first_pass()
        for _ in range(one.runner.state.passes):
            one.gesture("tap")
    one.to_first_pass()
    body = page.wait(lambda kind, body: kind == "change" and body.get("board"))
    assert body["board"]["part"] == body["state"]["part"]
    page.close()


def test_a_page_that_does_not_read_is_dropped_and_delays_nobody(one: Made) -> None:
    stream = one.page.hub.open("1")
    assert stream is not None
    one.to_first_pass()
    for _ in range(300):
        one.gesture("double")
        time.sleep(0.001)
    end = time.monotonic() + 5
    while not stream.closed and time.monotonic() < end:
        time.sleep(0.01)
    assert stream.closed


def test_the_pairing_code_never_goes_to_a_page(one: Made) -> None:
    page = Pages(one.port, one.pair())
    one.turn(CodeAsked(one.clock.at(), one.clock.utc(), "12345678"))
    one.to_first_pass()
    page.wait(lambda kind, body: body.get("state", {}).get("mode") == "cutting")
    assert "airing code" not in json.dumps(page.messages)
    page.close()


def test_the_drawing_is_sent_as_an_image_that_runs_nothing(tmp_path: Path) -> None:
    with made(tmp_path, drawing=b"<svg/>") as one:
        answer = ask(one.port, "GET", "/drawing.svg", token=one.pair())
    assert (answer.status, answer.body) == (200, b"<svg/>")
    assert answer.headers["Content-Type"] == "image/svg+xml; charset=utf-8"
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")


# --- what is done


def test_say_again_stand_by_and_a_note_reach_the_session(one: Made) -> None:
    token = one.pair()
    one.to_first_pass()
    assert do(one, token, {"do": "note", "text": "knot"}).status == 202
    assert do(one, token, {"do": "stand by"}).status == 202
    drain(one.runner)
    facts = [record.fact for record in one.journal.replay(one.session)]
    assert facts[-2:] == [f.Noted(1, 1, "knot"), f.StoodBy("page")]


def test_a_long_press_records_the_pass_as_by_page(one: Made) -> None:
    page = Pages(one.port, token := one.pair())
    one.to_first_pass()
    seen = page.wait(lambda kind, body: body.get("state", {}).get("mode") == "cutting")
    time.sleep(0.9)
    press = {"do": "cut", "asked_id": seen["state"]["asked_id"], "seq": seen["seq"], "held_ms": 810}
    assert do(one, token, press).status == 202
    drain(one.runner)
    assert f.PassCut(1, 1, "page") in [record.fact for record in one.journal.replay(one.session)]
    again = page.wait(lambda kind, body: body.get("state", {}).get("cut_here") == 1)
    assert again["log"][-1]["text"].split("   ")[-1].startswith("Advanced from the page.")
    assert do(one, token, press).status == 409
    page.close()


def test_a_device_is_not_obeyed_ten_times_a_second(one: Made) -> None:
    token = one.pair()
    assert 429 in [do(one, token, {"do": "again"}).status for _ in range(15)]


# --- opening, closing, asking for a code


def test_loopback_is_the_default_and_lan_comes_with_its_warning(tmp_path: Path) -> None:
    with made(tmp_path / "a") as here:
        here.page.invite()
        assert here.page.server.server_address[0] == "127.0.0.1"
        assert "plain HTTP" not in here.notes[-1]
    with made(tmp_path / "b", lan="") as home:
        home.page.invite()
        assert home.page.server.server_address[0] == "0.0.0.0"
        assert "plain HTTP, not encrypted" in " ".join(home.notes[-1].split())
        assert "█" in home.notes[-1]
        home.page.invite(to_scan=False)
        assert "█" not in home.notes[-1] and "Key p" in home.notes[-1]


def test_an_invitation_names_the_address_and_the_code(one: Made) -> None:
    code = one.page.invite()
    assert f"http://127.0.0.1:{one.port}/" in one.notes[-1]
    assert f"{code[:4]} {code[4:]}" in one.notes[-1]


def test_a_taken_port_is_reported(one: Made, tmp_path: Path) -> None:
    with pytest.raises(CouldNotRun, match=f"the page can't use port {one.port} .*--port N"):
        BenchPage(tmp_path, one.clock, one.notes.append, port=one.port)


def test_two_double_taps_while_standing_by_ask_for_the_code(one: Made) -> None:
    posted: list[object] = []
    watched = one.page.watching(posted.append)
    one.to_first_pass()
    one.gesture("hold")
    end = time.monotonic() + 3
    while one.page.hub.standing.mode != "standing by" and time.monotonic() < end:
        time.sleep(0.01)

    def double(at: float) -> None:
        watched(Gesture(at, "", "double", at))

    double(100.0)
    double(120.0)  # too long after
    assert one.runner.next_event(0) is None
    double(124.0)
    asked = one.runner.next_event(1)
    assert isinstance(asked, CodeAsked) and asked.code == one.page.codes.current(0)
    assert len(posted) == 3
    double(125.0)
    assert one.runner.next_event(0) is None


def test_closing_ends_streams_and_threads(tmp_path: Path) -> None:
    before = set(threading.enumerate())
    with made(tmp_path) as one:
        page = Pages(one.port, one.pair())
        page.wait(lambda kind, body: kind == "all")
    assert page.ended.wait(3.0)
    page.close()
    end = time.monotonic() + 3
    while (left := set(threading.enumerate()) - before) and time.monotonic() < end:
        time.sleep(0.02)
    assert not left


def test_from_the_home_network_the_machines_own_address_and_name_are_hosts_and_no_other(tmp_path: Path) -> None:
    address = home_address()
    if address.startswith("127."):
        pytest.skip("this machine has no network")
    with made(tmp_path, lan="") as one:
        for host, status in ((address, 200), (socket.gethostname(), 200), ("127.0.0.1", 421), ("evil.example", 421)):
            with socket.create_connection((address, one.port), timeout=20) as connection:
                request = f"GET / HTTP/1.1\r\nHost: {host}:{one.port}\r\nConnection: close\r\n\r\n"
                connection.sendall(request.encode())
                assert status_of(connection.recv(4096)) == status, host


def test_one_address_can_be_chosen_and_no_other_reaches_the_page(tmp_path: Path) -> None:
    address = home_address()
    if address.startswith("127."):
        pytest.skip("this machine has no network")
    with made(tmp_path, lan=address) as one:
        assert one.page.address == f"http://{address}:{one.port}/"
        assert one.page.server.server_address[0] == address
        one.page.invite()
        assert "plain HTTP, not encrypted" in " ".join(one.notes[-1].split())
        with socket.create_connection((address, one.port), timeout=20) as connection:
            request = f"GET / HTTP/1.1\r\nHost: {address}:{one.port}\r\nConnection: close\r\n\r\n"
            connection.sendall(request.encode())
            assert status_of(connection.recv(4096)) == 200
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", one.port), timeout=3)


def test_without_lan_nobody_from_the_network_gets_through(one: Made) -> None:
    address = home_address()
    if address.startswith("127."):
        pytest.skip("this machine has no network")
    with pytest.raises(OSError):
        socket.create_connection((address, one.port), timeout=3)
