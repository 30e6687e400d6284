from __future__ import annotations

from pathlib import Path

import pytest

from tests.commands.program import Workshop


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    return Workshop(tmp_path)
