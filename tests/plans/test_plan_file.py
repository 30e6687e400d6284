"""The plan file: exact figures, defaults, and every fault with its text, all reported at once."""

from __future__ import annotations

import csv
import re
import string
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.errors import BadInput
from assistant.plans.job import build_job
from assistant.plans.model import BoardPlan, JointPlan, Repeat, Uncertainty
from assistant.plans.plan_file import read_both, read_plan
from assistant.plans.shop_file import read_shop
from tests.plans.files import DEMO_PLANS, DEMO_SHOPS, LISTED, PLAN, SHOP, plan_faults, plan_of, write

FRACTIONS = Path(__file__).parents[1] / "references" / "fractions.csv"


def test_defaults(tmp_path: Path) -> None:
    plan = plan_of(tmp_path)
    assert plan.title == "Trays"
    assert plan.thickness == {"A": 12, "B": 12}
    assert plan.joint == JointPlan("even", Fraction(6), "finger", "far edge")
    assert plan.joint.clearance == Fraction(1, 10)
    assert plan.joint.sand_allowance == Fraction(3, 10)
    assert plan.boards == (BoardPlan("long side", "A", 1, 1, 1), BoardPlan("short side", "B", 1, 1, 1))
    assert plan.uncertainty is None and plan.species is None
    assert len(plan.digest) == 64


def test_everything_stated_is_kept(tmp_path: Path) -> None:
    text = PLAN.replace("thickness = 12", 'thickness = 12\nspecies = "black cherry"\n[stock.B]\nthickness = 9.5')
    text = text.replace(
        "finger = 6", 'finger = 6\nclearance = 0.08\nsand_allowance = 0\nstarts_with = "socket"\nremainder = "stretch"'
    )
    text = text.replace('part = "A"', 'part = "A"\ncount = 5\nends = 2\nstack = 2')
    plan = plan_of(tmp_path, text + "[uncertainty]\nsetting = 0.01\nreference = 0.03\n")
    assert plan.species == "black cherry"
    assert plan.thickness == {"A": 12, "B": Fraction("9.5")}
    assert plan.joint == JointPlan(
        "even", Fraction(6), "socket", "stretch", clearance=Fraction("0.08"), sand_allowance=Fraction(0)
    )
    assert plan.boards[0] == BoardPlan("long side", "A", 5, 2, 2)
    assert plan.uncertainty == Uncertainty(Fraction("0.01"), None, Fraction("0.03"))


def test_both_thicknesses_may_be_given_apart(tmp_path: Path) -> None:
    text = PLAN.replace("thickness = 12", "[stock.A]\nthickness = 10\n[stock.B]\nthickness = 8")
    assert plan_of(tmp_path, text).thickness == {"A": 10, "B": 8}


def test_listed_with_repeat_and_mirror(tmp_path: Path) -> None:
    listed = "widths = [6, 12, 6, 24]\nrepeat = {from = 2, to = 3, times = 1}\nmirror = true"
    text = LISTED.replace("widths = [20, 44, 20]", listed).replace("width = 84", "width = 72")
    joint = plan_of(tmp_path, text).joint
    assert joint.widths == (6, 12, 6, 24)
    assert joint.repeat == Repeat(2, 3, 1)
    assert joint.mirror


def test_a_title_is_not_needed_and_loses_control_characters(tmp_path: Path) -> None:
    assert plan_of(tmp_path, PLAN.replace('title = "Trays"', "")).title == "trays"
    assert plan_of(tmp_path, PLAN.replace("Trays", "\\u0000Tea\\u001b\\n trays\\u202e")).title == "Tea trays"


def test_inch_widths_agree_with_the_table_of_64ths(tmp_path: Path) -> None:
    """Outside reference: tests/references/fractions.csv (the international inch, NIST SP 811 App. B.8)."""
    with FRACTIONS.open() as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    assert len(rows) >= 64
    for row in rows:
        text = PLAN.replace('unit = "mm"', 'unit = "in"').replace("width = 84", "width = 20")
        for written in (f'"{row["fraction"]}"', f'"{row["fraction"]} in"', row["inch_exact"]):
            plan = plan_of(tmp_path, text.replace("thickness = 12", f"thickness = {written}"))
            assert plan.thickness["A"] == Fraction(row["mm_exact"])


@pytest.mark.parametrize("written", ["'3-1/2\"'", '"3½ in"', '"3½″"', '"3 1⁄2 in"', '"3–1/2”"'])
def test_a_length_may_be_written_as_on_a_ruler(tmp_path: Path, written: str) -> None:
    assert plan_of(tmp_path, PLAN.replace("width = 84", f"width = {written}")).width == Fraction("88.9")


def test_decimals_stay_exact(tmp_path: Path) -> None:
    """In binary floats 114.3 / 12.7 is not 9."""
    plan = plan_of(tmp_path, PLAN.replace("width = 84", "width = 114.3").replace("finger = 6", "finger = 12.7"))
    assert plan.joint.finger is not None
    assert plan.width / plan.joint.finger == 9


W, F, P = "width = 84", "finger = 6", 'part = "A"'
FAULTS = [
    (W, "width = 0", "stock.width: must be over 0 mm (got 0 mm); give a larger length"),
    (W, "width = -3", "stock.width: must be over 0 mm (got -3 mm)"),
    (W, "width = true", "stock.width: must be a length (got true); write it like 12.7"),
    (W, "width = nan", "stock.width: the length is not a finite number (got NaN mm)"),
    (W, "width = inf", "stock.width: the length is not a finite number (got Infinity mm)"),
    (W, 'width = "84 cm"', 'stock.width: this is not a length (got "84 cm"); give it in mm or in'),
    (W, "width = 10000.1", "stock.width: the length is over 10 m (got 10000.1 mm); check the unit"),
    (W, "width = 1e13", "stock.width: "),
    (W, "width = " + "9" * 3000, "stock.width: the number is too long"),
    (W, "width = 0x" + "f" * 5000, "stock.width: the number is too long"),
    (W, "width = [84]", "stock.width: must be a length (got a list of 1)"),
    (W, "width = 1979-05-27", "stock.width: must be a length (got 1979-05-27)"),
    (F, "finger = 84", "joint.finger: a finger must be over 0 and under the board's width of 84 mm (got 84 mm)"),
    (F, "finger = 0.001", "joint.finger: a board may have at most 1,000 fingers and sockets"),
    (
        F,
        "finger = 6\nclearance = -0.1",
        "joint.clearance: can't be below zero: each finger would be wider than its socket",
    ),
    (F, "finger = 6\nclearance = 10.1", "joint.clearance: must be 10 mm or less (got 10.1 mm)"),
    (F, "finger = 2\nclearance = 4", "joint.clearance: is at least half the width of a finger, 2 mm (got 4 mm)"),
    (F, "finger = 6\nsand_allowance = -1", "joint.sand_allowance: must be 0 mm or more (got -1 mm)"),
    (
        F,
        'finger = 6\nremainder = "strech"',
        'joint.remainder: must be "far edge", "both edges" or "stretch" (got "strech"); did',
    ),
    (
        F,
        "finger = 6\nstarts_with = 3",
        'joint.starts_with: must be "finger" or "socket" (got 3); write it exactly like that, in quotes',
    ),
    (F, "finger = 6\nwidths = [1]", 'joint.widths: means nothing with layout = "even" (got a list of 1); leave it out'),
    (F, "finger = 6\nmirror = true", 'joint.mirror: means nothing with layout = "even" (got true)'),
    ('"even"', '"lined"', "lining: is missing; add a [lining] table"),
    (
        '"even"',
        '"evan"',
        'joint.layout: must be "even", "listed", "slots" or "lined" (got "evan"); did you mean "even"?',
    ),
    (
        '"even"',
        "3",
        'joint.layout: must be "even", "listed", "slots" or "lined" (got 3); write it exactly like that, in quotes',
    ),
    ("[joint]", "[[joint]]", "joint: must be a table (got a list of 1); write [joint] and its keys below"),
    (P, P + "\ncount = 1001", "boards[1].count: must be a whole number from 1 to 1,000 (got 1001)"),
    (P, P + "\ncount = 0", "boards[1].count: must be a whole number from 1 to 1,000 (got 0)"),
    (P, P + "\ncount = true", "boards[1].count: must be a whole number from 1 to 1,000 (got true)"),
    (P, P + "\ncount = 2.0", "boards[1].count: must be a whole number from 1 to 1,000 (got 2.0)"),
    (P, P + "\ncount = 0x" + "f" * 5000, "boards[1].count: must be a whole number from 1 to 1,000 (got a whole number"),
    (P, P + "\nends = 3", "boards[1].ends: must be a whole number from 1 to 2 (got 3)"),
    (
        P,
        P + "\nstack = 2",
        "boards[1].stack: must not be more than count, which is 1 (got 2); clamp at most 1 together",
    ),
    (P, P + "\ncount = 3\nstack = 4", "boards[1].stack: must not be more than count, which is 3 (got 4)"),
    (P, 'part = "a"', 'boards[1].part: must be "A" or "B" (got "a"); did you mean "A"?'),
    (P, "", 'boards[1].part: is missing; give "A" or "B"'),
    (P, P + "\nlength = 300", "boards[1].length: is not a key that Kerfcall knows; use one of:"),
    ('"long side"', '"short side"', 'boards[2].name: is used for another board already (got "short side"); give each'),
    ('"long side"', '"\\u0007"', 'boards[1].name: must be text of 1 to 40 characters (got ""); give it in quotes'),
    ('"Trays"', '"' + "x" * 81 + '"', "title: must be text of 1 to 80 characters"),
    ('"Trays"', "7", "title: must be text of 1 to 80 characters (got 7); give it in quotes"),
    ('unit = "mm"', "", 'unit: is missing; give "mm" or "in"'),
    ('unit = "mm"', 'unit = "cm"', 'unit: must be "mm" or "in" (got "cm"); write it exactly like that, in quotes'),
    ("thickness = 12", "", "stock.thickness: is missing; give it in mm"),
    ("thickness = 12", "thickness = 12\nspecies = 3", "stock.species: must be text of 1 to 80 characters (got 3)"),
    ("thickness = 12", "thickness = 12\n[stock.B]", "stock.B.thickness: is missing"),
    ("thickness = 12", "thickness = 12\n[stock.C]\nthickness = 3", "stock.C: is not a table that Kerfcall knows;"),
    ("[joint]", '[lining]\nparts = ["A"]\n[joint]', "lining: means nothing with layout ="),
    ("[joint]", "[size]\noutside = [1, 2]\n[joint]", "size.outside: must be three lengths (got"),
    ("[joint]", "[[slots]]\nat = 3\n[joint]", 'slots: means nothing with layout = "even" (got a list of 1)'),
    ("[joint]", "[uncertainty]\nkerf = -1\n[joint]", "uncertainty.kerf: must be 0 mm or more (got -1 mm)"),
    (
        "[joint]",
        "[uncertainty]\nkurf = 1\n[joint]",
        "uncertainty.kurf: is not a key that Kerfcall knows; did you mean kerf?",
    ),
    ("[joint]", "[blade]\nkerf = 3\n[joint]", "blade: is not a table that Kerfcall knows;"),
]
LISTED_FAULTS = [
    ("[20, 44, 21]", "joint.widths: the widths together are 1 mm over the board's width of 84 mm (got 85 mm in all)"),
    ("[20, 44, 0]", "joint.widths[3]: must be over 0 mm (got 0 mm)"),
    ('[20, "x", 20]', 'joint.widths[2]: this is not a length (got "x")'),
    ("[]", "joint.widths: must be a list of lengths (got a list of 0); give 1 to 1000 lengths in [ ]"),
    ("[84]", "joint.widths: a joint needs at least one finger and one socket"),
    ("84", "joint.widths: must be a list of lengths (got 84)"),
    ("[20, 44, 20]\nfinger = 6", 'joint.finger: means nothing with layout = "listed" (got 6); leave it out'),
    ('[20, 44, 20]\nmirror = "yes"', 'joint.mirror: must be true or false (got "yes"); write true or false'),
    ("[20, 44, 20]\nrepeat = 3", "joint.repeat: must be a table (got 3)"),
    (
        "[20, 44, 20]\nrepeat = {from = 2, to = 1, times = 2}",
        "joint.repeat.to: must be a whole number from 2 to 3 (got 1)",
    ),
    (
        "[20, 44, 20]\nrepeat = {from = 2, to = 4, times = 2}",
        "joint.repeat.to: must be a whole number from 2 to 3 (got 4)",
    ),
    ("[20, 44, 20]\nrepeat = {from = 2, to = 3}", "joint.repeat.times: is missing;"),
    ("[20, 44, 20]\nrepeat = {from = 2, to = 3, times = 1001}", "joint.repeat.times: must be a whole number from 1 to"),
]


@pytest.mark.parametrize(("old", "new", "expected"), FAULTS)
def test_each_fault_has_key_value_and_fix(tmp_path: Path, old: str, new: str, expected: str) -> None:
    assert PLAN.count(old) == 1
    faults = plan_faults(tmp_path, PLAN.replace(old, new))
    assert len(faults) == 1
    assert faults[0].startswith(f"trays.toml: {expected}")
    assert "; " in faults[0]


@pytest.mark.parametrize(("widths", "expected"), LISTED_FAULTS)
def test_each_fault_of_listed_widths(tmp_path: Path, widths: str, expected: str) -> None:
    faults = plan_faults(tmp_path, LISTED.replace("[20, 44, 20]", widths))
    assert len(faults) == 1
    assert faults[0].startswith(f"trays.toml: {expected}")


def test_without_a_known_layout_every_other_key_is_still_checked(tmp_path: Path) -> None:
    """All faults at once: a wrong layout must not hide the next five faults from the user."""
    joint = 'layout = "evn"\nfinger = -6\nremainder = "strech"\nclearance = 99\nstarts_with = 1\nfingr = 3\nmirror = 2'
    tables = '[[slots]]\nat = -1\nwidth = 5\ndepth = 5\n[lining]\nparts = ["Q"]\nthickness = 1\n'
    faults = plan_faults(tmp_path, PLAN.replace('layout = "even"\nfinger = 6', joint) + tables)
    assert sorted(fault.split(": ")[1] for fault in faults) == [
        "joint.clearance",
        "joint.finger",
        "joint.fingr",
        "joint.layout",
        "joint.mirror",
        "joint.remainder",
        "joint.starts_with",
        "lining.parts",
        "slots[1].at",
    ]
    listed = 'layout = "evn"\nwidths = [3, 0]\nrepeat = {from = 2, to = 3, times = 0}'
    assert len(plan_faults(tmp_path, PLAN.replace('layout = "even"\nfinger = 6', listed))) == 2
    assert len(plan_faults(tmp_path, PLAN.replace('layout = "even"\nfinger = 6', "finger = 6"))) == 1


def test_a_misspelt_key_is_reported_with_what_is_missing_for_it(tmp_path: Path) -> None:
    assert plan_faults(tmp_path, PLAN.replace("finger = 6", "fingers = 6")) == [
        "trays.toml: joint.finger: is missing; give it in mm, e.g. finger = 6",
        "trays.toml: joint.fingers: is not a key that Kerfcall knows; did you mean finger?",
    ]


def test_a_plan_needs_a_board(tmp_path: Path) -> None:
    head = PLAN[: PLAN.index("[[boards]]")]
    wanted = "trays.toml: boards: there are no boards to cut; add [[boards]] with name and part"
    assert plan_faults(tmp_path, head) == [wanted]
    assert plan_faults(tmp_path, "boards = []\n" + head) == [wanted]
    assert plan_faults(tmp_path, "boards = [1, {}]\n" + head) == [
        "trays.toml: boards: must be a list of tables (got a list of 2); write [[boards]] for each, with its keys below"
    ]
    assert plan_faults(tmp_path, "boards = {}\n" + head)[0].startswith("trays.toml: boards: must be a list of tables")


def test_an_empty_plan_names_everything_missing(tmp_path: Path) -> None:
    where = [fault.split(": ")[1] for fault in plan_faults(tmp_path, "")]
    assert where == ["unit", "stock", "joint", "boards"]


def test_every_fault_of_plan_and_shop_is_reported_at_once(tmp_path: Path) -> None:
    plan = PLAN.replace("width = 84", "width = true").replace("finger = 6", 'finger = 6\nremainder = "x"\nfoo = 1')
    plan = plan.replace('part = "A"', 'part = "C"\ncount = 0\nstack = 9')
    shop = SHOP.replace("3.18", "-1") + '[pedal]\nkey = "b"\n'
    with pytest.raises(BadInput) as caught:
        read_both(write(tmp_path, plan, "trays.toml"), write(tmp_path, shop, "shop.toml"))
    assert [fault.where for fault in caught.value.faults] == [
        "trays.toml: stock.width",
        "trays.toml: joint.remainder",
        "trays.toml: joint.foo",
        "trays.toml: boards[1].part",
        "trays.toml: boards[1].count",
        "trays.toml: boards[1].stack",
        "shop.toml: blade.kerf",
        "shop.toml: pedal.key",
    ]


def test_a_missing_shop_is_one_fault_beside_every_fault_of_the_plan(tmp_path: Path) -> None:
    plan = write(tmp_path, LISTED.replace("44", "45") + "foo = 1\n", "trays.toml")
    with pytest.raises(BadInput) as caught:
        read_both(plan, tmp_path / "gone.toml")
    assert [fault.where for fault in caught.value.faults] == [
        "trays.toml: boards[2].foo",
        "trays.toml: joint.widths",
        "gone.toml",
    ]


# Random trees with the words of our own files, and random bytes: always a result or BadInput.

WORDS = re.findall(
    r"\w+",
    """
title unit stock width thickness species A B joint layout finger starts_with remainder widths repeat mirror
clearance sand_allowance boards name part count ends stack uncertainty setting kerf reference lining size slots
blade overlap overrun tooth highest clear_above carriage kind resolution pitch threads_per_inch divisions
steps_per_mm zero travel backlash register stop_side pedal key long_press_s hold_s double_tap_s pass_takes_s voice
language lead_in recogniser
reads speech_rate model phrases intent add pronunciations checks say answer when guard fitted checks_order checks_off
from to times
""",
)
TEXTS = [
    "mm",
    "in",
    "even",
    "listed",
    "A",
    "B",
    "finger",
    "1/2 in",
    "readout",
    "handwheel",
    "steps",
    "guard",
    "every 3",
]
scalars = st.one_of(
    st.booleans(),
    st.integers(-(2**200), 2**200),
    st.integers(-2, 100),
    st.floats(width=32),
    st.sampled_from(TEXTS),
    st.text(max_size=12),
)
trees = st.recursive(
    scalars,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.sampled_from(WORDS), inner, max_size=5)),
    max_leaves=25,
)
documents = st.dictionaries(st.sampled_from(WORDS), trees, max_size=8)


def _escaped(c: str) -> str:
    if c in string.ascii_letters + string.digits + " /_":
        return c
    # TOML has no surrogates.
    return f"\\U{63 if 0xD800 <= ord(c) < 0xE000 else ord(c):08X}"


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value) if value == value and abs(value) != float("inf") else ("nan" if value != value else "inf")
    if isinstance(value, str):
        return '"' + "".join(map(_escaped, value)) + '"'
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key} = {_toml(item)}" for key, item in value.items()) + "}"
    return str(value)


def _written(tree: Mapping[str, object]) -> bytes:
    return "".join(f"{key} = {_toml(value)}\n" for key, value in tree.items()).encode()


def _survives(folder: Path, data: bytes) -> None:
    path = write(folder, data, "fuzzed.toml")
    for read in (read_plan, read_shop):
        try:
            read(path)
        except BadInput as error:
            assert error.faults
            assert all(fault.what and fault.where.startswith("fuzzed.toml") and fault.mend for fault in error.faults)
            assert all(line.isprintable() and len(line) < 600 for line in str(error).split("\n"))


FUZZ = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@FUZZ
@given(documents)
def test_random_trees_give_a_result_or_faults(tmp_path: Path, tree: dict[str, object]) -> None:
    _survives(tmp_path, _written(tree))


@FUZZ
@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace"))))
def test_random_bytes_give_a_result_or_faults(tmp_path: Path, data: bytes) -> None:
    _survives(tmp_path, data)


SOUND = [path.read_text() for path in DEMO_PLANS + DEMO_SHOPS]


@FUZZ
@given(st.sampled_from(SOUND), st.data())
def test_sound_files_with_one_value_changed(tmp_path: Path, text: str, data: st.DataObject) -> None:
    """Changing one value of a valid file gives a result or faults. What is read can be laid out, or gives faults."""
    lines = text.splitlines()
    place = data.draw(st.sampled_from([n for n, line in enumerate(lines) if "=" in line and line[0] != "#"]))
    lines[place] = lines[place].split("=")[0] + "= " + _toml(data.draw(trees))
    changed = "\n".join(lines).encode()
    _survives(tmp_path, changed)
    name = "shop.toml" if "[blade]" in text else "trays.toml"
    plan, shop = write(tmp_path, PLAN, "trays.toml"), write(tmp_path, SHOP, "shop.toml")
    write(tmp_path, changed, name)
    try:
        job = build_job(*read_both(plan, shop))
    except BadInput as error:
        assert error.faults
    else:
        assert job.total_passes > 0


@pytest.mark.parametrize(
    ("given", "fault"),
    [
        ("[0]", "joint.come_down: must be a list of whole numbers from 1"),
        ("[1, 1]", "joint.come_down: must be a list of whole numbers from 1"),
        ("2", "joint.come_down: must be a list of whole numbers from 1"),
        ("[true]", "joint.come_down: must be a list of whole numbers from 1"),
    ],
)
def test_sockets_to_come_down_to_are_numbers(tmp_path: Path, given: str, fault: str) -> None:
    with pytest.raises(BadInput) as caught:
        plan_of(tmp_path, LISTED.replace("widths", f"come_down = {given}\nwidths"))
    assert any(fault in str(each) for each in caught.value.faults)


def test_sockets_to_come_down_to_belong_to_listed_widths(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match='come_down: means nothing with layout = "even"'):
        plan_of(tmp_path, PLAN.replace("finger = 6", "finger = 6\ncome_down = [1]"))
