"""What `ready` finds out about the shop file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from assistant.health import BROKEN, WORKS
from assistant.plans.health import shop_file


def test_a_shop_file_that_can_be_read_is_named_with_its_kerf(tmp_path: Path) -> None:
    path = tmp_path / "shop.toml"
    path.write_text('unit = "mm"\n[blade]\nkerf = 3.18\n', encoding="utf-8")
    line, shop = shop_file(path)
    assert shop is not None and float(shop.blade.kerf) == 3.18
    assert (line.state, line.data) == (WORKS, {"path": str(path), "kerf_mm": 3.18})
    assert line.text.endswith("shop.toml, kerf 3.18 mm")


def test_each_fault_comes_with_its_fix_and_the_caller_can_give_another(tmp_path: Path) -> None:
    path = tmp_path / "shop.toml"
    path.write_text('[blade]\nkerf = -1\n[pedal]\nkeey = "b"\n', encoding="utf-8")
    line, shop = shop_file(path)
    assert shop is None and line.state == BROKEN
    assert [fault["mend"] for fault in line.data["faults"]] == ["give a larger length", "did you mean key?"]
    assert line.mend == "give a larger length; did you mean key?"
    line, _ = shop_file(path, lambda faults: [replace(fault, mend="look it up") for fault in faults])
    assert line.mend == "look it up"


def test_a_file_without_read_permission_is_broken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(path: Path | None) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr("assistant.plans.shop_file.try_shop", refused)
    line, shop = shop_file(tmp_path / "shop.toml")
    assert (line.state, shop) == (BROKEN, None) and line.text.startswith("Permission denied")
