"""Writes one value into a shop file: comments are kept, the file is whole at every step, and it can be undone."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from assistant.errors import BadInput, CouldNotRun
from assistant.plans.shop_file import read_shop
from assistant.plans.shop_writer import EntryKind, history_path, in_force, read_history, record, undo, value_text
from tests.plans.files import DEMO, DEMO_SHOPS, write
from tests.sampling import every

UTC = "2026-11-25T10:00:00Z"
BY_HAND = """\
# Mine; the saw by the window.
unit   =   "mm"

[blade]   # the thin one
kerf = 3.18          # measured in May,
                     # with the old caliper
# overlap = 0.3
overlap=0.2
[carriage]
travel = [
  0,    # the stop
  400,
]

[[checks]]
name = "dust port"   # always forgotten
say = "dust port open?"
answer = "dust port is open now"
when = "session"
"""


def shop_at(folder: Path, text: str | bytes = BY_HAND) -> Path:
    return write(folder, text, "shop.toml")


def kerf(shop: Path, value: str = "3.176", utc: str = UTC) -> None:
    record(shop, "kerf", utc, "", {"u": 0.004}, key="blade.kerf", value=value)


def test_a_file_written_by_hand_differs_in_one_value_only(tmp_path: Path) -> None:
    shop = shop_at(tmp_path)
    kerf(shop)
    assert shop.read_text(encoding="utf-8") == BY_HAND.replace("3.18 ", "3.176 ", 1)


@pytest.mark.parametrize("path", DEMO_SHOPS, ids=lambda path: path.stem)
def test_every_demo_shop_keeps_all_but_the_kerf(path: Path, tmp_path: Path) -> None:
    shop = shop_at(tmp_path, path.read_bytes())
    kerf(shop, "0.5")
    old, new = (text.splitlines() for text in (path.read_text(encoding="utf-8"), shop.read_text(encoding="utf-8")))
    assert len(old) == len(new)
    assert [line for line, other in zip(new, old, strict=True) if line != other] == [
        line for line in new if line.startswith("kerf")
    ]
    assert tomllib.loads(shop.read_text(encoding="utf-8"))["blade"]["kerf"] == 0.5


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_line_ends_and_byte_order_mark_stay(mark: bytes, tmp_path: Path) -> None:
    data = mark + BY_HAND.replace("\n", "\r\n").encode()
    shop = shop_at(tmp_path, data)
    kerf(shop)
    assert shop.read_bytes() == data.replace(b"3.18 ", b"3.176 ", 1)


def test_a_key_that_was_not_there_is_added_and_goes_again(tmp_path: Path) -> None:
    shop = shop_at(tmp_path)
    record(shop, "backlash", UTC, "", {}, key="carriage.backlash", value="0.03")
    assert float(read_shop(shop).carriage.backlash) == 0.03
    undo(shop, "backlash", UTC)
    assert read_shop(shop).carriage.backlash == 0
    assert "backlash" not in shop.read_text(encoding="utf-8")


def test_a_table_that_was_not_there_is_added(tmp_path: Path) -> None:
    shop = shop_at(tmp_path, "[blade]\nkerf = 3\n")
    record(shop, "backlash", UTC, "", {}, key="carriage.backlash", value="0.03")
    assert float(read_shop(shop).carriage.backlash) == 0.03


def test_undoing_brings_the_text_back_as_it_was(tmp_path: Path) -> None:
    """Also a fraction with its unit, twice over."""
    data = (DEMO / "shop-handwheel-inch.toml").read_bytes()
    shop = shop_at(tmp_path, data)
    assert value_text(shop, "blade.kerf") == '"1/8 in"'
    kerf(shop, "0.1252")
    kerf(shop, "0.1255")
    assert undo(shop, "kerf", UTC).undoes == 2
    assert value_text(shop, "blade.kerf") == "0.1252"
    assert undo(shop, "kerf", UTC).undoes == 1
    assert shop.read_bytes() == data
    with pytest.raises(BadInput, match="there is no kerf calibration to take back"):
        undo(shop, "kerf", UTC)
    assert [(e.n, e.undoes) for e in read_history(shop)] == [(1, 0), (2, 0), (3, 2), (4, 1)]


def test_a_value_changed_by_hand_since_is_not_undone(tmp_path: Path) -> None:
    shop = shop_at(tmp_path)
    kerf(shop)
    shop.write_text(shop.read_text(encoding="utf-8").replace("3.176", "3.2"), encoding="utf-8")
    with pytest.raises(BadInput, match=r"is no longer 3\.176, the calibrated value \(got 3\.2\).*it was 3\.18"):
        undo(shop, "kerf", UTC)


def test_a_value_that_makes_the_shop_file_invalid_is_refused_and_not_noted(tmp_path: Path) -> None:
    shop = shop_at(tmp_path)
    with pytest.raises(BadInput, match=r"shop\.toml: blade\.kerf: must be over 0 mm"):
        kerf(shop, "-1")
    assert shop.read_text(encoding="utf-8") == BY_HAND
    assert read_history(shop) == []
    assert [path.name for path in tmp_path.iterdir()] == ["shop.toml"]


def test_a_shop_file_that_is_not_toml_is_refused(tmp_path: Path) -> None:
    shop = shop_at(tmp_path, "[blade\nkerf = 3\n")
    with pytest.raises(BadInput, match="is not valid TOML"):
        kerf(shop)


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    real = shop_at(tmp_path)
    link = tmp_path / "elsewhere.toml"
    link.symlink_to(real)
    kerf(link)
    assert link.is_symlink()
    assert "3.176" in real.read_text(encoding="utf-8")
    assert history_path(link) == history_path(real)


@pytest.mark.skipif(os.name == "nt", reason="file modes are POSIX")
def test_the_mode_stays(tmp_path: Path) -> None:
    shop = shop_at(tmp_path)
    shop.chmod(0o640)
    kerf(shop)
    assert shop.stat().st_mode & 0o777 == 0o640


def test_a_calibration_without_a_key_is_noted_only(tmp_path: Path) -> None:
    shop = shop_at(tmp_path)
    record(shop, "zero", UTC, "", {"value": 0.04})
    assert shop.read_text(encoding="utf-8") == BY_HAND
    assert read_history(shop)[0].data == {"value": 0.04}
    undo(shop, "zero", UTC)
    assert in_force(shop, read_history(shop)) == []


def test_kinds_of_entries_stay_as_histories_have_them(tmp_path: Path) -> None:
    words = ["kerf", "screw", "zero", "backlash", "joint", "blade", "square"]
    assert [kind.value for kind in EntryKind] == words
    shop = shop_at(tmp_path)
    for kind in EntryKind:
        record(shop, kind, UTC, "", {})
    assert [json.loads(line)["kind"] for line in history_path(shop).read_text(encoding="utf-8").splitlines()] == words
    assert [entry.kind for entry in read_history(shop)] == list(EntryKind)


def test_a_kind_of_entry_that_is_not_known_is_kept(tmp_path: Path) -> None:
    shop = shop_at(tmp_path)
    kerf(shop)
    line = history_path(shop).read_text(encoding="utf-8")
    history_path(shop).write_text(line.replace('"kind": "kerf"', '"kind": "tilt"'), encoding="utf-8")
    assert [entry.kind for entry in read_history(shop)] == ["tilt"]


def test_a_line_of_the_history_that_was_cut_short_spoils_no_other(tmp_path: Path) -> None:
    shop = shop_at(tmp_path)
    kerf(shop)
    whole = history_path(shop).read_bytes()
    history_path(shop).write_bytes(whole + whole[: len(whole) // 2])
    assert len(read_history(shop)) == 1
    kerf(shop, "3.175")
    assert [e.after for e in read_history(shop)] == ["3.176", "3.175"]


@pytest.mark.parametrize("line", [b'{"version": 99}', b"[]", b'{"version": 1, "n": 1}'])
def test_a_damaged_history_is_named(line: bytes, tmp_path: Path) -> None:
    shop = shop_at(tmp_path)
    kerf(shop)
    history_path(shop).write_bytes(line + b"\n" + history_path(shop).read_bytes())
    with pytest.raises(CouldNotRun, match=r"shop\.history\.jsonl, line 1 is damaged"):
        read_history(shop)


KILLER = """
import os, signal, sys
from pathlib import Path
from assistant import files
from assistant.plans import shop_writer

shop, undoing, step = Path(sys.argv[1]), sys.argv[2] == "undo", 0

def count(limit):
    def trace(frame, event, argument):
        global step
        if frame.f_code.co_filename not in (shop_writer.__file__, files.__file__):
            return None
        step += 1
        if step == limit:
            os.kill(os.getpid(), signal.SIGKILL)
        return trace
    return trace

def change():
    if undoing:
        shop_writer.undo(shop, "kerf", "later")
    else:
        shop_writer.record(shop, "kerf", "now", "", {}, key="blade.kerf", value="3.176")

limit, each = 0, int(sys.argv[3])
before = {path.name: path.read_bytes() for path in shop.parent.iterdir()}
while True:
    limit += each
    for path in shop.parent.iterdir():
        path.unlink()
    for name, data in before.items():
        (shop.parent / name).write_bytes(data)
    child = os.fork()
    if not child:
        sys.settrace(count(limit))
        change()
        sys.settrace(None)
        os._exit(0)
    killed = os.WIFSIGNALED(os.waitpid(child, 0)[1])
    text = shop.read_text()
    entries = shop_writer.read_history(shop)
    print(limit, killed, text.count("3.18 "), text.count("3.176 "), len(text), len(entries),
          len(shop_writer.in_force(shop, entries)), flush=True)
    if not killed:
        break
"""


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL and fork are POSIX")
@pytest.mark.parametrize(("what", "each"), every(3, [("write", 4), ("write", 1), ("undo", 1)]))
def test_killed_at_each_step_the_file_is_the_old_one_or_the_new_one(what: str, each: int, tmp_path: Path) -> None:
    """SIGKILL before every line of the writer in turn, or each fourth. Afterwards history and file agree."""
    shop = shop_at(tmp_path)
    if what == "undo":
        kerf(shop)
    done = subprocess.run(
        [sys.executable, "-c", KILLER, str(shop), what, str(each)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    rows = [line.split() for line in done.stdout.splitlines()]
    killed = [row for row in rows if row[1] == "True"]
    assert len(killed) == len(rows) - 1
    assert len(killed) * each > 60
    sizes = {True: len(BY_HAND), False: len(BY_HAND) + 1}
    for _, _, old, new, size, _, force in rows:
        assert {old, new} == {"0", "1"}
        assert int(size) == sizes[old == "1"]
        assert force == new, "what is in force is what the file holds"
    assert {row[2] for row in killed} == {"0", "1"}, "both sides of the rename were tried"
    # Nothing prevents the next calibration.
    kerf(shop, "3.17")
    assert value_text(shop, "blade.kerf") == "3.17"


def test_an_entry_never_written_is_not_in_force_nor_undone(tmp_path: Path) -> None:
    shop = shop_at(tmp_path)
    kerf(shop)
    shop.write_text(BY_HAND, encoding="utf-8")
    assert in_force(shop, read_history(shop)) == []
    kerf(shop, "3.17")
    assert [e.n for e in in_force(shop, read_history(shop))] == [2]
    undo(shop, "kerf", UTC)
    assert shop.read_text(encoding="utf-8") == BY_HAND


def test_a_folder_that_cant_be_written_is_reported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = shop_at(tmp_path)

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("tempfile.mkstemp", full)
    with pytest.raises(CouldNotRun, match=r"shop\.toml can't be written: No space left on device; it was not changed"):
        kerf(shop)
    assert read_history(shop) == []


def test_the_history_is_one_json_object_a_line(tmp_path: Path) -> None:
    shop = shop_at(tmp_path)
    kerf(shop)
    (line,) = history_path(shop).read_text(encoding="utf-8").splitlines()
    assert json.loads(line) == dict(
        version=1,
        n=1,
        utc=UTC,
        kind="kerf",
        blade="",
        key="blade.kerf",
        before="3.18",
        after="3.176",
        undoes=0,
        data={"u": 0.004},
    )
