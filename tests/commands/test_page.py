"""`kerfcall page`, and the page of `cut` as a user opens it."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from assistant.commands.page_parts import lan_alone
from assistant.screens.page.devices import Devices
from assistant.screens.page.gate import home_addresses
from tests.commands.program import Workshop
from tests.screens.page_made import Pages, ask

OWN = f"give {' or '.join(home_addresses())}, or --lan alone" if home_addresses() else "join a network"


@contextmanager
def serving(workshop: Workshop, *words: str) -> Iterator[tuple[subprocess.Popen[str], int, str]]:
    """The running program, the port and the pairing code that it has printed."""
    command = [sys.executable, "-m", "assistant", *words]
    process = subprocess.Popen(
        command,
        cwd=workshop.folder,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    text = ""
    try:
        while not (found := re.search(r"http://[\d.]+:(\d+)/[\s\S]*code (\d{4}) (\d{4})", text)):
            line = process.stdout.readline()
            assert line, text
            text += line
        yield process, int(found[1]), found[2] + found[3]
    finally:
        process.kill()
        process.communicate()


def free_port() -> str:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return str(probe.getsockname()[1])


def paired(port: int, code: str) -> str:
    answer = ask(port, "POST", "/pair", body={"code": code, "name": "tablet"})
    assert answer.status == 200, answer.body
    return str(answer.json["token"])


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGINT")
def test_the_journal_is_served_and_devices_are_listed_and_revoked(workshop: Workshop) -> None:
    workshop.cut("1 heard marigold all clamps are secure\n")
    with serving(workshop, "page", "--state", "state", "--port", free_port()) as (process, port, code):
        token = paired(port, code)
        sessions = ask(port, "GET", "/sessions", token=token).json["sessions"]
        assert [(one["title"], one["rehearsed"]) for one in sessions] == [("Small tray", True)]
        assert ask(port, "POST", "/do", token=token, body={"do": "again"}).status == 409
        page = Pages(port, token)
        assert page.wait(lambda kind, body: kind == "all")["state"] == {}
        listed = json.loads(workshop.run("page", "devices", "--state", "state", "--json").out)
        assert [(one["id"], one["name"]) for one in listed] == [("1", "tablet")]
        assert "hash" not in listed[0]
        assert re.search(r"^ +1  tablet +paired", workshop.run("page", "devices", "--state", "state").out)
        done = workshop.run("page", "revoke", "1", "--state", "state")
        assert (done.code, done.out) == (0, "Device 1, tablet, is unpaired. Any page it has open closes now.\n")
        assert page.ended.wait(4)
        page.close()
        assert ask(port, "GET", "/sessions", token=token).status == 401
        process.send_signal(signal.SIGINT)
        assert process.wait(10) == 0
    assert workshop.run("page", "devices", "--state", "state").out.startswith("No device is paired.")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_a_session_is_followed_and_driven_as_far_as_a_page_may(workshop: Workshop) -> None:
    pexpect = pytest.importorskip("pexpect", reason="pexpect is not installed")
    words = ["cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--no-voice", "--no-pedal", "--plain"]
    words += ["--page", "--port", free_port()]
    command = [sys.executable, "-m", "assistant", *words]
    child = pexpect.spawn(command[0], command[1:], cwd=workshop.folder, encoding="utf-8", timeout=20)
    try:
        child.expect(r":(\d+)/[\s\S]*?code (\d{4}) (\d{4})")
        port, code = int(child.match[1]), child.match[2] + child.match[3]
        page = Pages(port, token := paired(port, code))
        told = ['Paired: device 1, "tablet"', "check: clamps"]  # in either order
        while told:
            told.pop(child.expect(told))
        page.wait(lambda kind, body: body.get("state", {}).get("check") == "clamps")
        assert ask(port, "POST", "/do", token=token, body={"do": "note", "text": "knot"}).status == 202
        child.expect("Problem marked")
        assert ask(port, "POST", "/do", token=token, body={"do": "stand by"}).status == 202
        page.wait(lambda kind, body: body.get("state", {}).get("mode") == "standing by")
        svg = ask(port, "GET", "/drawing.svg", token=token)
        assert svg.status == 200 and b"Small tray" in svg.body
        child.send("p")
        child.expect(r"code (\d{4}) (\d{4})")
        assert child.match[1] + child.match[2] != code
        child.send("v")
        child.expect("Pairing code: ")
        child.send("q")
        child.expect(pexpect.EOF)
        page.close()
    finally:
        child.close(force=True)
    records = workshop.export()["records"]
    assert [record["kind"] for record in records][-2:] == ["noted", "stood_by"]
    assert (records[-2]["text"], records[-1]["by"]) == ("knot", "page")


def in_a_terminal(workshop: Workshop, *words: str) -> Any:
    rigs = pytest.importorskip("tests.screens.view_rig", reason="pyte is not installed")
    at = [arg.replace("DIR", str(workshop.folder)) for arg in words]
    return rigs.Rig([sys.executable, "-m", "assistant", *at, "--state", str(workshop.folder / "state")], 100, 40)


def code_on(text: str) -> str:
    found = re.search(r"code (\d{4}) (\d{4})", text)
    return found[1] + found[2] if found else ""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.parametrize(
    "words", [("page",), ("cut", "DIR/plan.toml", "--shop", "DIR/shop.toml", "--no-voice", "--no-pedal", "--page")]
)
def test_a_code_that_was_used_is_gone_from_the_terminal(workshop: Workshop, words: tuple[str, ...]) -> None:
    port = int(free_port())
    rig = in_a_terminal(workshop, *words, "--port", str(port))
    try:
        code = code_on(rig.until(lambda text: code_on(text) != ""))
        wrong = {"code": f"{(int(code) + 1) % 10**8:08d}", "name": "x"}
        assert ask(port, "POST", "/pair", body=wrong).status == 403
        rig.until("A wrong pairing code from 127.0.0.1; 4 tries left", lambda text: code_on(text) == code)
        paired(port, code)
        rig.until('Paired: device 1, "tablet"')
        rig.until(lambda text: not code_on(text) and "To pair a device" not in text, "4 tries left")
        rig.send("\n" if words == ("page",) else "p")
        assert code_on(rig.until(lambda text: code_on(text) != "")) != code
    finally:
        rig.close()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("page", "revoke"), "page revoke: no device is given; give its number, or all"),
        (
            ("page", "revoke", "9", "--state", "s"),
            "page revoke: there is no such device (got 9); `kerfcall page devices`",
        ),
        (("page", "devices", "1"), 'page devices: there is no place for this (got "1"); leave it out'),
        (("page", "--json"), "page serve: --json: means nothing here; use it with page devices"),
        (("page", "--port", "80"), "--port: must be from 1024 to 65535 (got 80)"),
        (
            ("page", "--lan", "198.51.100.7"),
            f"--lan: is not an address of this computer on its network (got 198.51.100.7); {OWN}",
        ),
        (("page", "--lan=eth0"), f"--lan: is not an address of this computer on its network (got eth0); {OWN}"),
        (("cut", "--page", "--lan", "1.2.3.4", "plan.toml", "--shop", "shop.toml"), "(got 1.2.3.4)"),
        (("cut", "--lan", "plan.toml", "--shop", "shop.toml"), "--lan: does nothing without --page"),
        (("cut", "plan.toml", "--shop", "shop.toml", "--lan"), "--lan: does nothing without --page"),
        (("cut", "plan.toml", "--shop", "shop.toml", "--port", "9000"), "--port: does nothing without --page"),
        (
            ("cut", "plan.toml", "--shop", "shop.toml", "--page", "--rehearse", "s.txt"),
            "--page: works in a live session only, not in a rehearsal",
        ),
    ],
)
def test_faults_are_told_with_their_mends(workshop: Workshop, words: tuple[str, ...], told: str) -> None:
    workshop.write("s.txt", "1 pedal tap\n")
    done = workshop.run(*words)
    assert done.code == 2
    assert told in done.err


@pytest.mark.parametrize(
    ("words", "alone"),
    [
        ("cut --page --lan plan.toml --port 9000", "cut --page --lan= plan.toml --port 9000"),
        ("cut plan.toml --page --lan", "cut plan.toml --page --lan="),
        ("cut plan.toml --lan --page", "cut plan.toml --lan= --page"),
        ("resume --lan 2026-11-25-1 --page", "resume --lan= 2026-11-25-1 --page"),
        ("page --lan devices", "page --lan= devices"),
        ("page --lan 192.168.1.7 serve", "page --lan 192.168.1.7 serve"),
        ("page --lan 192.168.1.777", "page --lan 192.168.1.777"),
        ("page --lan fe80::1%eth0", "page --lan fe80::1%eth0"),
        ("page --lan=192.168.1.7", "page --lan=192.168.1.7"),
    ],
)
def test_lan_takes_an_address_that_follows_and_nothing_else(words: str, alone: str) -> None:
    assert lan_alone(words.split()) == alone.split()


@pytest.mark.skipif(not home_addresses(), reason="this machine has no network")
def test_the_page_is_opened_by_one_address_that_was_picked(workshop: Workshop) -> None:
    address = home_addresses()[0]
    with serving(workshop, "page", "--state", "state", "--port", free_port(), "--lan", address) as (_, port, code):
        answer = ask(port, "GET", "/", at=address, source="")
        assert answer.status == 200
        with pytest.raises(ConnectionRefusedError):
            ask(port, "GET", "/")


def test_a_taken_port_is_told_before_anything_is_cut(workshop: Workshop) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1])
        done = workshop.run("page", "--state", "state", "--port", port)
    assert done.code == 3
    assert f"the page can't use port {port}" in done.err


def test_revoking_all(workshop: Workshop) -> None:
    folder = workshop.folder / "state"
    Path(folder).mkdir()
    store = Devices(folder, lambda: "2026-03-02T09:00:00.000Z")
    store.pair("phone")
    store.pair("tablet")
    assert workshop.run("page", "revoke", "all", "--state", "state").out.count("is unpaired.") == 2
    assert workshop.run("page", "revoke", "all", "--state", "state").out == "No device was paired.\n"
