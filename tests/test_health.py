"""The words that findings share: errors, paths and commands as a reader can use them."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from assistant.health import one_line, pip, with_tilde


def test_an_error_is_told_in_one_line() -> None:
    assert one_line(ValueError("first\nsecond")) == "first"
    assert one_line(ValueError()) == "ValueError"
    assert one_line(OSError(28, "No space left on device", "/some/where")) == "No space left on device: /some/where"


@pytest.mark.skipif(sys.platform == "win32", reason="~ is the shell's on POSIX")
def test_paths_are_shortened_as_a_shell_takes_them(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    home, next_door = tmp_path / "carver", tmp_path / "carvers"
    monkeypatch.setenv("HOME", str(home))
    assert with_tilde(home / "shop.toml") == "~/shop.toml"
    assert with_tilde(str(home)) == "~"
    assert with_tilde(str(next_door / "shop.toml")) == str(next_door / "shop.toml")
    monkeypatch.setenv("HOME", "/")
    assert with_tilde("/etc/x") == "/etc/x"


def test_install_commands_can_be_pasted() -> None:
    assert pip("numpy>=1.26", "six") == "python -m pip install 'numpy>=1.26' six"
