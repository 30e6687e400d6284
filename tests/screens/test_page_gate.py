"""Who may use the page's server: hosts, origins, addresses, rates, the pairing code and the paired devices."""

from __future__ import annotations

import hashlib
import json
import socket
import stat
import sys
from pathlib import Path

import psutil
import pytest

from assistant.errors import CouldNotRun
from assistant.screens.page.devices import FILE_NAME, MOST, Devices, clean_name
from assistant.screens.page.gate import (
    Rates,
    home_addresses,
    is_at_home,
    is_home_address,
    is_own_host,
    is_own_origin,
    own_names,
)
from assistant.screens.page.pairing import LASTS_S, MOST_TRIES, TRIES, PairingCode, Try, grouped

NAMES = frozenset({"localhost", "bench.local"})


@pytest.mark.parametrize("host", ["localhost:8437", "LOCALHOST:8437", "bench.local:8437", "192.168.1.7:8437"])
def test_own_names_and_the_address_that_was_connected_to_are_hosts(host: str) -> None:
    assert is_own_host([host], NAMES, "192.168.1.7", 8437)


@pytest.mark.parametrize(
    "hosts",
    [
        [],
        [""],
        ["evil.example:8437"],
        ["192.168.1.8:8437"],
        ["localhost"],
        ["localhost:80"],
        ["localhost:8437", "localhost:8437"],
        ["localhost:8437.evil.example"],
        ["evil.example#localhost:8437"],
        ["user@localhost:8437"],
        ["localhost.:8437"],
    ],
)
def test_other_hosts_are_refused(hosts: list[str]) -> None:
    assert not is_own_host(hosts, NAMES, "192.168.1.7", 8437)


def test_the_usual_port_can_be_omitted() -> None:
    assert is_own_host(["localhost"], NAMES, "127.0.0.1", 80)


@pytest.mark.parametrize(
    ("origins", "right"),
    [
        (["http://localhost:8437"], True),
        ([], False),
        (["null"], False),
        (["https://localhost:8437"], False),
        (["http://localhost:8438"], False),
        (["http://evil.example:8437"], False),
        (["http://localhost:8437", "http://localhost:8437"], False),
        (["http://localhost:8437/"], False),
    ],
)
def test_the_origin_must_be_the_very_page_that_was_called(origins: list[str], right: bool) -> None:
    assert is_own_origin(origins, "localhost:8437") is right


def test_only_with_lan_has_the_machine_more_names_than_localhost() -> None:
    assert own_names(lan=False) == {"localhost"}
    assert own_names(lan=True) > {"localhost"}


@pytest.mark.parametrize(
    ("address", "home"),
    [
        # Private ranges: RFC 1918, RFC 4193; link-local: RFC 3927, RFC 4291.
        ("10.1.2.3", True),
        ("172.16.0.1", True),
        ("192.168.255.255", True),
        ("169.254.7.7", True),
        ("fd00::1", True),
        ("fe80::1%eth0", True),
        ("127.0.0.1", True),
        ("::1", True),
        ("::ffff:192.168.1.4", True),
        ("8.8.4.4", False),
        ("172.32.0.1", False),
        ("2a00::1", False),
        ("::ffff:8.8.4.4", False),
        ("nonsense", False),
    ],
)
def test_nobody_from_outside_the_home_network_is_answered(address: str, home: bool) -> None:
    assert is_at_home(address) is home


def test_this_machines_addresses_are_those_that_psutil_finds() -> None:
    found = {each.address for all_ in psutil.net_if_addrs().values() for each in all_ if each.family == socket.AF_INET}
    own = {address for address in found if not address.startswith("127.")}
    assert set(home_addresses()) <= own
    assert bool(home_addresses()) is bool(own)
    assert all(is_home_address(address) for address in own)


@pytest.mark.parametrize(
    "text",
    # Loopback, unspecified, limited broadcast: RFC 1122, 3.2.1.3; multicast: RFC 1112; RFC 5737 for documentation.
    [
        "127.0.0.1",
        "0.0.0.0",
        "255.255.255.255",
        "224.0.0.1",
        "198.51.100.7",
        "::1",
        "eth0",
        "",
        "192.168.1",
        "1.2.3.999",
    ],
)
def test_what_is_not_this_machines_address_in_its_network(text: str) -> None:
    assert not is_home_address(text)


def test_a_networks_broadcast_address_is_none_of_this_machines() -> None:
    found = [
        each.broadcast for all_ in psutil.net_if_addrs().values() for each in all_ if each.family == socket.AF_INET
    ]
    assert not any(is_home_address(address) for address in found if address)


def test_a_rate_is_a_bucket_that_fills_again() -> None:
    now = [0.0]
    rates = Rates(2.0, 3.0, lambda: now[0])
    assert [rates.allow("a") for _ in range(4)] == [True, True, True, False]
    assert rates.allow("b")
    now[0] = 0.5
    assert [rates.allow("a"), rates.allow("a")] == [True, False]


def test_addresses_not_seen_for_a_long_time_are_forgotten() -> None:
    rates = Rates(0.0, 1.0, lambda: 0.0)
    for n in range(1000):
        assert rates.allow(str(n))
    assert not rates.allow("999")
    assert len(rates._buckets) <= 256


def wrong(code: str) -> str:
    return f"{(int(code) + 1) % 10**8:08d}"


HERE = "192.168.1.9"


def lefts(codes: PairingCode, code: str, address: str, times: int) -> list[int]:
    return [codes.take(code, address).left for _ in range(times)]


def test_a_code_has_eight_digits_and_works_once() -> None:
    codes = PairingCode()
    code = codes.begin()
    assert len(code) == 8 and code.isdigit()
    assert codes.take(code, HERE) == Try(right=True, counted=True, ended=True)
    assert codes.take(code, HERE) == Try()


def test_a_code_allows_five_tries_from_one_address() -> None:
    codes = PairingCode()
    code = codes.begin()
    assert lefts(codes, wrong(code), HERE, TRIES + 1) == [4, 3, 2, 1, 0, 0]
    assert codes.take(code, HERE) == Try()


def test_what_one_address_tries_takes_nothing_from_another() -> None:
    codes = PairingCode()
    code = codes.begin()
    lefts(codes, wrong(code), "10.0.0.1", 100)
    assert codes.take(wrong(code), HERE).left == 4
    assert codes.take(code, HERE).right


def test_many_addresses_have_twenty_tries_together_and_no_more_are_remembered() -> None:
    codes = PairingCode()
    code = codes.begin()
    tries = [codes.take(wrong(code), f"10.0.{n % 250}.{n // 250}") for n in range(1000)]
    assert [n for n, one in enumerate(tries) if one.ended] == [MOST_TRIES - 1]
    assert [one.counted for one in tries].count(True) == len(codes._tries) == MOST_TRIES
    assert codes.take(code, HERE) == Try()
    assert codes.take(codes.begin(), "10.0.0.0").right


def test_the_fifth_try_can_still_be_right() -> None:
    codes = PairingCode()
    code = codes.begin()
    lefts(codes, wrong(code), HERE, TRIES - 1)
    assert codes.take(code, HERE).right


@pytest.mark.parametrize(("after_s", "good"), [(LASTS_S - 0.1, True), (LASTS_S, False)])
def test_a_code_is_valid_for_two_minutes(after_s: float, good: bool) -> None:
    now = [0.0]
    codes = PairingCode(lambda: now[0])
    code = codes.begin()
    now[0] = after_s
    assert codes.take(code, HERE).right is good


def test_a_new_code_makes_the_previous_code_void() -> None:
    codes = PairingCode()
    first = codes.begin()
    codes.begin()
    assert codes.take(first, HERE).left == 4
    assert not codes.end(first)


def test_a_code_that_was_ended_opens_nothing() -> None:
    codes = PairingCode()
    code = codes.begin()
    assert not codes.end("") and not codes.end(wrong(code))
    assert codes.end(code) and not codes.end(code)
    assert codes.take(code, HERE) == Try()


def test_nothing_pairs_before_a_code_is_shown() -> None:
    codes = PairingCode()
    assert codes.take("", HERE) == codes.take("00000000", HERE) == Try()


def test_only_a_code_with_time_left_is_spoken() -> None:
    now = [0.0]
    codes = PairingCode(lambda: now[0])
    code = codes.begin()
    assert codes.current(40) == code
    now[0] = LASTS_S - 39
    assert codes.current(40) == ""


def test_codes_differ() -> None:
    codes = PairingCode()
    assert len({codes.begin() for _ in range(50)}) > 45


def test_a_code_is_shown_in_two_groups() -> None:
    assert grouped("12345678") == "1234 5678"


def devices(folder: Path) -> Devices:
    return Devices(folder, lambda: "2026-03-02T09:00:00.000Z")


def test_a_token_has_256_bits_and_only_its_hash_is_kept(tmp_path: Path) -> None:
    store = devices(tmp_path)
    device, token = store.pair("tablet")
    text = (tmp_path / FILE_NAME).read_text(encoding="utf-8")
    assert len(token) == 43  # 32 bytes in base64 without padding, RFC 4648 section 5
    assert token not in text
    assert device.hash == hashlib.sha256(token.encode()).hexdigest()
    assert device.hash in text


def test_a_device_is_known_by_its_token_alone(tmp_path: Path) -> None:
    store = devices(tmp_path)
    one, token = store.pair("tablet")
    store.pair("phone")
    assert store.of_token(token) == one
    assert store.of_token(token[:-1]) is None
    assert store.of_token("") is None
    assert store.of_token(one.hash) is None
    assert store.of_token("\udcff") is None


def test_what_one_process_revokes_is_revoked_in_another(tmp_path: Path) -> None:
    here, there = devices(tmp_path), devices(tmp_path)
    device, token = here.pair("tablet")
    assert there.of_token(token) is not None
    assert there.revoke(device.id) == (device,)
    assert here.of_token(token) is None
    assert not here.holds(device)


def test_revoking_all_and_revoking_nobody(tmp_path: Path) -> None:
    store = devices(tmp_path)
    store.pair("a")
    store.pair("b")
    assert store.revoke("7") == ()
    assert [device.name for device in store.revoke(None)] == ["a", "b"]
    assert store.all() == ()


@pytest.mark.parametrize("gone", ["1", "2", None])
def test_a_number_is_never_given_to_a_second_device(tmp_path: Path, gone: str | None) -> None:
    store = devices(tmp_path)
    store.pair("a")
    store.pair("b")
    store.revoke(gone)
    assert store.pair("c")[0].id == "3"
    assert devices(tmp_path).pair("d")[0].id == "4"


def test_a_number_alone_holds_nothing(tmp_path: Path) -> None:
    """If the file was deleted, numbers begin again, but the tokens given with them open nothing."""
    store = devices(tmp_path)
    before, _ = store.pair("a")
    (tmp_path / FILE_NAME).unlink()
    after, _ = store.pair("b")
    assert after.id == before.id
    assert store.holds(after) and not store.holds(before)
    store.seen(before)
    assert store.all() == (after,)


def test_the_number_of_paired_devices_is_limited(tmp_path: Path) -> None:
    store = devices(tmp_path)
    for n in range(MOST):
        store.pair(str(n))
    with pytest.raises(CouldNotRun, match="20 devices are paired already; remove one with: kerfcall page revoke"):
        store.pair("one more")


@pytest.mark.skipif(sys.platform == "win32", reason="file modes are POSIX")
def test_only_its_owner_can_read_the_file(tmp_path: Path) -> None:
    devices(tmp_path).pair("tablet")
    assert stat.S_IMODE((tmp_path / FILE_NAME).stat().st_mode) == 0o600


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        '{"version": 3, "devices": [], "last": 0}',
        '{"version": 2, "devices": []}',
        '{"version": 2, "devices": [], "last": "1"}',
        '{"version": 2, "devices": [{}], "last": 1}',
        '{"version": 2, "devices": 3, "last": 1}',
    ],
)
def test_a_damaged_file_lets_nobody_in_and_is_named(tmp_path: Path, text: str) -> None:
    store = devices(tmp_path)
    _, token = store.pair("tablet")
    (tmp_path / FILE_NAME).write_text(text, encoding="utf-8")
    assert store.of_token(token) is None
    with pytest.raises(CouldNotRun, match=r"page-devices\.json can't be read .*; delete it"):
        store.all()


def test_devices_whose_tokens_were_in_cookies_are_out_and_their_numbers_stay_theirs(tmp_path: Path) -> None:
    before = {"id": "4", "name": "tablet", "hash": hashlib.sha256(b"token").hexdigest(), "paired": "", "seen": ""}
    (tmp_path / FILE_NAME).write_text(json.dumps({"version": 1, "devices": [before]}), encoding="utf-8")
    store = devices(tmp_path)
    assert store.of_token("token") is None
    assert store.all() == ()
    assert store.pair("tablet")[0].id == "5"


def test_last_seen_is_noted(tmp_path: Path) -> None:
    times = iter(["2026-03-02T09:00:00.000Z", "2026-03-03T09:00:00.000Z"])
    store = Devices(tmp_path, lambda: next(times))
    device, _ = store.pair("tablet")
    store.seen(device)
    (data,) = json.loads((tmp_path / FILE_NAME).read_text(encoding="utf-8"))["devices"]
    assert (data["paired"], data["seen"]) == ("2026-03-02T09:00:00.000Z", "2026-03-03T09:00:00.000Z")


@pytest.mark.parametrize(
    ("given", "kept"), [("  my\n tablet\x1b[2J", "my tablet [2J"), ("", "a device"), ("x" * 99, "x" * 40)]
)
def test_names_are_one_line(given: str, kept: str) -> None:
    assert clean_name(given) == kept
