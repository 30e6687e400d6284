from __future__ import annotations

from pathlib import Path

import pytest

from assistant.hearing import sound_child
from tests.commands.program import Workshop


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    return Workshop(tmp_path)


@pytest.fixture
def no_sound(monkeypatch: pytest.MonkeyPatch) -> None:
    """No device is found, which takes a tenth of the time that looking for one takes."""
    monkeypatch.setattr(sound_child, "CHILD", 'print(\'{"outputs": [], "inputs": []}\')')
