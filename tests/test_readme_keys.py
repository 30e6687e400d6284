"""The README's tables name every key of plan and shop files, with the unit and the default that the readers give it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from inspect import signature
from pathlib import Path
from typing import Any

import pytest

from assistant.advice.prediction import ASSUMED
from assistant.plans.plan_file import try_plan
from assistant.plans.reader import Table
from assistant.plans.shop_file import try_shop
from tests.plans.files import DEMO_PLANS, DEMO_SHOPS
from tests.test_readme import README

PLAN, SHOP = "Keys of a plan", "Keys of a shop file"
NEEDED, NONE = "needed", "none"
OLD_NAMES = {"pedal.long_press_s": "pedal.hold_s"}
"""Keys with an older name that is still read; the tables show the new one."""
ANY_WORD = "pronunciations.WORD"
"""In this table the keys are the user's words."""

# The least that can be read, with every table that a key could be missing from. A key's default is tried in each.
SHOPS = {
    "readout": "[blade]\nkerf = 3\n[carriage]\n[pedal]\n[voice]\n[guard]\n[page]\n",
    "readout, inches": 'unit = "in"\n[blade]\nkerf = "1/8"\n[carriage]\n',
    "handwheel": '[blade]\nkerf = 3\n[carriage]\nkind = "handwheel"\npitch = 2\ndivisions = 100\n',
    "threads": '[blade]\nkerf = 3\n[carriage]\nkind = "handwheel"\nthreads_per_inch = 16\ndivisions = 125\n',
    "steps": '[blade]\nkerf = 3\n[carriage]\nkind = "steps"\nsteps_per_mm = 400\n',
    "driven": '[blade]\nkerf = 3\n[carriage.drive]\nport = "/dev/ttyUSB0"\nhome_reads = -3\n',
    "own words": '[blade]\nkerf = 3\n[[checks]]\nname = "dust"\nsay = "dust port open?"\n'
    'answer = "dust port is open now"\n[[phrases]]\nintent = "cut"\nadd = ["wilco that one is finished"]\n',
    "other words": '[blade]\nkerf = 3\n[[phrases]]\nintent = "cut"\nsay = ["wilco that one is finished"]\n',
}
BOARD = '[[boards]]\nname = "side"\npart = "A"\n'
STOCK = 'unit = "mm"\n[stock]\nwidth = 84\nthickness = 12\n'
EVEN = STOCK + '[joint]\nlayout = "even"\nfinger = 6\n' + BOARD
SLOTS = STOCK + '[joint]\nlayout = "slots"\n' + BOARD
AIR = "[climate.cutting]\nhumidity = 40\n[climate.glue_up]\nhumidity = 50\n"
METER = "[climate.cutting]\nmoisture = 8\n[climate.glue_up]\nmoisture = 9\n"
PLANS = {
    "even": EVEN,
    "listed": STOCK + '[joint]\nlayout = "listed"\nwidths = [42, 42]\n'
    "[joint.repeat]\nfrom = 1\nto = 2\ntimes = 1\n" + BOARD,
    "slots": SLOTS + "[[slots]]\nat = 20\nwidth = 6\ndepth = 4\n",
    "spaced": SLOTS + "[spaced]\ncount = 2\nwidth = 6\ndepth = 4\n",
    "lined": STOCK + '[joint]\nlayout = "lined"\nfinger = 12\n' + BOARD + '[lining]\nparts = ["A"]\nthickness = 1.5\n',
    "outside": EVEN + "[size]\noutside = [240, 160, 84]\n",
    "inside": EVEN + "[size]\ninside = [240, 160, 84]\n",
    "uncertain": EVEN + "[uncertainty]\n",
    "of two woods": 'unit = "mm"\n[stock]\nwidth = 84\n[stock.A]\nthickness = 12\n[stock.B]\nthickness = 10\n'
    '[joint]\nlayout = "even"\nfinger = 6\n' + BOARD,
    "air": EVEN + AIR,
    "meter": EVEN + METER,
    "air of each": EVEN
    + "".join(f"[climate.{when}.{part}]\nhumidity = 40\n" for when in ("cutting", "glue_up") for part in "AB"),
}
UNITS = {
    "length": "length",
    "lengths": "lengths",
    "integer": "whole number",
    "text": "text",
    "flag": "true or false",
    "integers": "list",
    "names": "list",
}
"""How the column begins for each kind of read; for a number it is the unit, for a choice its words."""
PARTS = re.compile(r"\.[AB](?=\.)")
"""A part's own table, [stock.A], takes keys of the table that it belongs to: they have one row."""


@dataclass(frozen=True)
class Row:
    key: str
    meaning: str
    unit: str
    default: str

    @property
    def literals(self) -> list[str]:
        """The defaults, as a file would have them."""
        return re.findall(r"`([^`]+)`", self.default)


def section(heading: str) -> str:
    return README.split(f"## {heading}\n")[1].split("\n## ")[0]


def rows_of(heading: str) -> dict[str, Row]:
    """The table under this heading, by key: two keys in one row are two rows that say the same."""
    found: dict[str, Row] = {}
    for line in section(heading).splitlines():
        cells = [cell.strip() for cell in line.strip("|").split(" | ")]
        if line.startswith("| `"):
            assert len(cells) == 4, line
            for key in re.findall(r"`([^`]+)`", cells[0]):
                assert key not in found, f"{key} has two rows"
                found[key] = Row(key, *cells[1:])
    assert found
    return found


@dataclass(frozen=True)
class Read:
    """One read of a key. how: the method of `Table`. options: of a choice. unit: of a number. default: None: no."""

    how: str
    options: tuple[str, ...] = ()
    unit: str = ""
    default: object = None


class Recorder:
    """Which keys the readers know, by table, and how they read them; a key without a read is only known."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.known: dict[str, list[Read]] = {}
        self._patch = patch
        for how in ("length", "lengths", "number", "integer", "integers", "text", "choice", "flag", "names"):
            self._watch(how)
        for how in ("table", "tables"):
            self._watch_table(how)
        for how in ("allow", "refuse"):
            self._watch_known(how)

    def _watch(self, how: str) -> None:
        read = getattr(Table, how)

        def watched(table: Table, key: str, *args: Any, **more: Any) -> Any:
            given = signature(read).bind(table, key, *args, **more).arguments
            unit = given.get("unit", "") if how == "number" else ""
            options = tuple(given.get("options", ()))
            self._note(table, key).append(Read(how, options, unit, given.get("default")))
            return read(table, key, *args, **more)

        self._patch.setattr(Table, how, watched)

    def _watch_table(self, how: str) -> None:
        read = getattr(Table, how)

        def watched(table: Table, key: str, *args: Any, **more: Any) -> Any:
            self._note(table, key).append(Read(how))
            return read(table, key, *args, **more)

        self._patch.setattr(Table, how, watched)

    def _watch_known(self, how: str) -> None:
        known = getattr(Table, how)

        def watched(table: Table, keys: Any, *args: Any) -> None:
            keys = list(keys)
            for key in keys:
                self._note(table, key)
            known(table, keys, *args)

        self._patch.setattr(Table, how, watched)

    def _note(self, table: Table, key: str) -> list[Read]:
        return self.known.setdefault(re.sub(r"\[\d+\]", "", table.path(key)), [])

    def asked(self) -> set[str]:
        """Without the tables themselves: a table is one that has been opened, or whose keys are known."""
        tables = {key for key, reads in self.known.items() if any(read.how in ("table", "tables") for read in reads)}
        return {key for key in self.known if key not in tables}


def shop_read(text: str, folder: Path) -> tuple[Any, list[Any]]:
    path = folder / "tried.toml"
    path.write_text(text, encoding="utf-8")
    return try_shop(path)


def plan_read(text: str, folder: Path) -> tuple[Any, list[Any]]:
    path = folder / "tried.toml"
    path.write_text(text, encoding="utf-8")
    plan, faults = try_plan(path)
    return (None if plan is None else replace(plan, digest="")), faults


KINDS = {SHOP: (SHOPS, DEMO_SHOPS, shop_read), PLAN: (PLANS, DEMO_PLANS, plan_read)}


@pytest.fixture(scope="module", params=KINDS)
def read(request: Any, tmp_path_factory: Any) -> Iterator[tuple[str, Recorder]]:
    """Every demo file and every one above, read; and what the readers asked for meanwhile."""
    texts, demos, reader = KINDS[request.param]
    folder = tmp_path_factory.mktemp("read")
    with pytest.MonkeyPatch.context() as patch:
        recorder = Recorder(patch)
        for text in (*texts.values(), *(path.read_text(encoding="utf-8") for path in demos)):
            assert reader(text, folder)[1] == []
    yield request.param, recorder


def test_each_key_that_is_read_has_a_row_and_no_other(read: tuple[str, Recorder]) -> None:
    heading, recorder = read
    keys = {PARTS.sub("", key) for key in recorder.asked()}
    for new, old in OLD_NAMES.items():
        if old in keys:
            keys = keys - {old} | {new}
    if "pronunciations" in recorder.known:
        keys.add(ANY_WORD)
    assert keys == set(rows_of(heading))


def test_the_tables_of_one_part_are_named(read: tuple[str, Recorder]) -> None:
    heading, recorder = read
    for table in {key.rpartition(".")[0] for key in recorder.asked() if PARTS.search(key)}:
        assert f"`[{table}]`" in section(heading)


def test_the_unit_column_says_what_is_read(read: tuple[str, Recorder]) -> None:
    heading, recorder = read
    for key, row in rows_of(heading).items():
        for how in recorder.known.get(key, recorder.known.get(OLD_NAMES.get(key, ""), [])):
            if how.how in UNITS:
                assert row.unit.startswith(UNITS[how.how]), f"{key}: {row.unit}"
            if how.unit:
                assert row.unit == how.unit, f"{key}: {row.unit}, not {how.unit}"
            for option in how.options:
                assert f'"{option}"' in row.unit, f"{key} can also be {option}"


def test_what_has_no_default_has_none(read: tuple[str, Recorder]) -> None:
    heading, recorder = read
    for key, row in rows_of(heading).items():
        if row.default == NONE:
            assert [how for how in recorder.known.get(key, []) if how.default is not None] == [], key


def test_what_fit_assumes() -> None:
    rows = rows_of(PLAN)
    for name, figure in ASSUMED.items():
        assert rows[f"uncertainty.{name}"].default == f"none: {figure:g} mm is assumed"


@pytest.mark.parametrize("heading", KINDS)
def test_the_defaults_are_the_readers_own(heading: str, tmp_path: Path) -> None:
    """A file with the default written into it says the same as one without."""
    texts, _, reader = KINDS[heading]
    for row in rows_of(heading).values():
        right = set()
        for key in {row.key, OLD_NAMES.get(row.key, row.key)}:
            for text in texts.values():
                if given(text, key):
                    continue
                tried = {literal: reader(put(text, key, literal), tmp_path) for literal in row.literals}
                sound = {literal for literal, (_, faults) in tried.items() if not faults}
                same = {literal for literal in sound if tried[literal][0] == reader(text, tmp_path)[0]}
                assert same or not sound, f"{row.key} = {row.default} is not what the reader takes in\n{text}"
                right |= same
        assert right == set(row.literals), f"{row.key}: {row.default}"


@pytest.mark.parametrize("heading", KINDS)
def test_what_is_needed_is_asked_for_and_nothing_else(heading: str, tmp_path: Path) -> None:
    texts, _, reader = KINDS[heading]
    for row in rows_of(heading).values():
        having = [text for text in texts.values() if given(text, row.key)]
        if not row.default.startswith(NEEDED):
            assert row.literals or row.default.startswith(NONE), f"{row.key} has no default"
            continue
        assert having, row.key
        for text in having:
            faults = reader(without(text, row.key), tmp_path)[1]
            at = [re.sub(r"\[\d+\]", "", fault.where.partition(": ")[2]) for fault in faults]
            assert row.key in at, f"{row.key} is not needed in\n{text}"


def lines_of(text: str) -> Iterator[tuple[str, str]]:
    """Each line with the table that it belongs to."""
    table = ""
    for line in text.splitlines():
        if line.startswith("["):
            table = line.strip("[]")
        yield table, line


def split(key: str) -> tuple[str, str]:
    table, _, name = key.rpartition(".")
    return table, name


def given(text: str, key: str) -> bool:
    return without(text, key) != text


def without(text: str, key: str) -> str:
    table, name = split(key)
    kept = [line for at, line in lines_of(text) if at != table or not line.startswith(f"{name} =")]
    return "\n".join(kept) + "\n"


def put(text: str, key: str, literal: str) -> str:
    """With `key` set, in its table, which is begun where there is none."""
    table, name = split(key)
    line = f"{name} = {literal}"
    if not table:
        return f"{line}\n{text}"
    lines = text.splitlines()
    for bracketed in (f"[{table}]", f"[[{table}]]"):
        if bracketed in lines:
            lines.insert(lines.index(bracketed) + 1, line)
            return "\n".join(lines) + "\n"
    return f"{text}[{table}]\n{line}\n"
