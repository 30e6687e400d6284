"""From a plan to its pieces: which end gets what, in which stage, and how often."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from pathlib import Path

import pytest

from assistant.errors import BadInput
from assistant.plans.boards import board_list
from assistant.plans.job import build_job
from assistant.plans.model import Job, Plan
from assistant.plans.pieces import pieces, stages
from assistant.plans.plan_file import read_both, read_plan
from tests.plans.files import write

SHOP = b'unit = "mm"\n[blade]\nkerf = 3.18\n'
LINED = """
title = "Case"
unit = "mm"
[stock]
width = 72
thickness = 12
[stock.B]
thickness = 10
[joint]
layout = "lined"
finger = 12
clearance = 0.1
[lining]
parts = ["A"]
thickness = 1.5
[[boards]]
name = "long side"
part = "A"
count = 3
ends = 2
stack = 2
[[boards]]
name = "short side"
part = "B"
count = 2
ends = 2
"""
SLOTS = """
title = "Shelf"
unit = "mm"
[stock]
width = 100
thickness = 12
[joint]
layout = "slots"
clearance = 0.2
[[slots]]
at = 60
width = 6
depth = 8
[[slots]]
at = 20
width = 6
depth = 4
[[slots]]
at = 40
width = 6
depth = 8
[[boards]]
name = "shelf"
part = "A"
count = 2
"""


def plan(tmp_path: Path, text: str) -> Plan:
    return read_plan(write(tmp_path, text.encode(), "plan.toml"))


def job(tmp_path: Path, text: str) -> Job:
    shop = write(tmp_path, SHOP, "shop.toml")
    return build_job(*read_both(write(tmp_path, text.encode(), "plan.toml"), shop))


def faults(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(BadInput) as caught:
        job(tmp_path, text)
    return [str(fault) for fault in caught.value.faults]


class TestLined:
    def test_stage_one_opens_and_cuts_blanks_stage_two_cuts_every_part(self, tmp_path: Path) -> None:
        made = job(tmp_path, LINED)
        assert made.stages == ("openings and blanks", "final sockets")
        assert [(s.stage, s.part) for s in made.setups] == sorted((s.stage, s.part) for s in made.setups)
        assert {(s.stage, s.part) for s in made.setups} == {(1, "A"), (1, "A blank"), (2, "A"), (2, "B")}

    def test_there_is_a_blank_for_each_lined_end(self, tmp_path: Path) -> None:
        made = job(tmp_path, LINED)
        copies = Counter()
        for setup in made.setups:
            copies[setup.stage, setup.part] += setup.copies
        assert copies == {(1, "A"): 6, (1, "A blank"): 6, (2, "A"): 6, (2, "B"): 4}

    def test_the_last_stack_is_the_remainder(self, tmp_path: Path) -> None:
        made = job(tmp_path, LINED)
        first = [(s.end, s.first_copy, s.copies) for s in made.setups if (s.stage, s.part) == (2, "A")]
        assert first == [(1, 1, 2), (1, 3, 1), (2, 1, 2), (2, 3, 1)]

    def test_depths_grow_by_the_lining_and_the_tips(self, tmp_path: Path) -> None:
        """Part A is cut as deep as its mate and the sand allowance: 10.3; opened 1.5 deeper, the blank 0.5 more."""
        made = job(tmp_path, LINED)
        depths = {(s.stage, s.part): made.pattern_of(s.number).depth for s in made.setups}
        assert depths == {
            (1, "A"): Fraction("11.8"),
            (1, "A blank"): Fraction("12.3"),
            (2, "A"): Fraction("10.3"),
            (2, "B"): Fraction("12.3"),
        }

    def test_glue_dry_and_trimmed_is_among_the_checks_of_two_stages_only(self, tmp_path: Path) -> None:
        names = [check.name for check in job(tmp_path, LINED).checks]
        assert "glue dry and trimmed" in names
        even = LINED.replace('"lined"', '"even"').replace('[lining]\nparts = ["A"]\nthickness = 1.5\n', "")
        assert "glue dry and trimmed" not in [check.name for check in job(tmp_path, even).checks]

    def test_the_fit_reported_is_the_final_joints(self, tmp_path: Path) -> None:
        lined = job(tmp_path, LINED)
        even = LINED.replace('"lined"', '"even"').replace('[lining]\nparts = ["A"]\nthickness = 1.5\n', "")
        plain = job(tmp_path, even)
        assert (lined.worst_clearance, lined.greatest_error) == (plain.worst_clearance, plain.greatest_error)

    def test_a_listed_layout_can_be_lined_too(self, tmp_path: Path) -> None:
        text = LINED.replace("finger = 12", "widths = [14, 12, 20]\nmirror = true")
        assert len(job(tmp_path, text).pattern_of(1).segments) == 5

    def test_a_lining_that_leaves_the_blade_no_room_says_what_would(self, tmp_path: Path) -> None:
        found = faults(tmp_path, LINED.replace("finger = 12", "finger = 6"))
        assert len(found) == 1 and "plan.toml: lining.thickness" in found[0]
        assert "narrower than the kerf of 3.18 mm" in found[0] and "widen the finger by" in found[0]

    @pytest.mark.parametrize(
        ("old", "new", "words"),
        [
            ('parts = ["A"]', 'parts = ["C"]', "lining.parts: must name the lined parts"),
            ('parts = ["A"]', 'parts = ["A", "A"]', "lining.parts: must name the lined parts"),
            ('parts = ["A"]', "parts = []", "lining.parts: must name the lined parts"),
            ("thickness = 1.5", "thickness = 0", "lining.thickness: must be over 0 mm"),
            ("thickness = 1.5", "", "lining.thickness: is missing"),
            ("thickness = 1.5", "thickness = 1.5\nglue = 1", "lining.glue: is not a key that Kerfcall knows"),
            ("finger = 12", "finger = 12\nwidths = [36, 36]", "joint.finger: means nothing with widths"),
            ("finger = 12", "", "joint.finger: is missing"),
        ],
    )
    def test_faults(self, tmp_path: Path, old: str, new: str, words: str) -> None:
        assert any(words in fault for fault in faults(tmp_path, LINED.replace(old, new))), words


class TestSlots:
    def test_each_depth_has_setups_of_its_own_the_shallower_first(self, tmp_path: Path) -> None:
        made = job(tmp_path, SLOTS)
        found = [(made.pattern_of(s.number).depth, len(made.pattern_of(s.number).sockets)) for s in made.setups]
        assert found == [(4, 1), (4, 1), (8, 2), (8, 2)]

    def test_a_slot_is_wider_by_the_whole_clearance(self, tmp_path: Path) -> None:
        """The piece that goes in is not cut: for a gap of c/2 on either side the slot's own walls give way by c/2."""
        (socket,) = job(tmp_path, SLOTS).pattern_of(1).sockets
        assert (socket.start, socket.end) == (Fraction("19.9"), Fraction("26.1"))

    def test_the_assumed_kerf_is_thinner_by_the_whole_clearance(self, tmp_path: Path) -> None:
        assert job(tmp_path, SLOTS).assumed_kerf == Fraction("2.98")

    def test_spaced_dividers_leave_equal_spaces(self, tmp_path: Path) -> None:
        text = SLOTS[: SLOTS.index("[[slots]]")] + "[spaced]\ncount = 4\nwidth = 5\ndepth = 6\n"
        text += SLOTS[SLOTS.index("[[boards]]") :]
        (piece,) = pieces(plan(tmp_path, text))
        inner = [s.width for s in piece.segments if s.is_finger]
        # (100 - 4 x 5) / 5 = 16 between dividers; each slot takes 0.1 from the wood at either side.
        assert inner == [Fraction("15.9"), Fraction("15.8"), Fraction("15.8"), Fraction("15.8"), Fraction("15.9")]

    def test_no_word_of_a_missing_mate(self, tmp_path: Path) -> None:
        assert not [line for line in job(tmp_path, SLOTS).warnings if "mate" in line]

    @pytest.mark.parametrize(
        ("old", "new", "words"),
        [
            ("at = 60", "at = 97", "slots[1].at: the slot runs past the edge of a board 100 mm wide"),
            ("at = 60", "at = 42", "slots[1].at: the slot overlaps slot 3"),
            ("depth = 4", "depth = 12", "slots[2].depth: the slot goes through all of the 12 mm of wood there"),
            ("width = 6\ndepth = 4", "width = 2\ndepth = 4", "narrower than the kerf of 3.18 mm"),
            ("depth = 4", "", "slots[2].depth: is missing"),
            ('part = "A"', 'part = "B"', 'boards[1].part: must be "A" with layout = "slots"'),
            ("count = 2", "count = 2\nends = 2", 'boards[1].ends: must be 1 with layout = "slots"'),
            ("clearance = 0.2", "clearance = 0.2\nfinger = 3", 'joint.finger: means nothing with layout = "slots"'),
            (
                "[[boards]]",
                "[spaced]\ncount = 2\nwidth = 3\ndepth = 3\n[[boards]]",
                "spaced: is given together with [[slots]]",
            ),
        ],
    )
    def test_faults(self, tmp_path: Path, old: str, new: str, words: str) -> None:
        assert any(words in fault for fault in faults(tmp_path, SLOTS.replace(old, new))), words

    def test_a_grid_piece_is_slotted_from_its_edge(self, tmp_path: Path) -> None:
        text = SLOTS.replace("thickness = 12", "thickness = 6\nheight = 40").replace("depth = 8", "depth = 20.2")
        assert job(tmp_path, text).patterns[-1].depth == Fraction("20.2")


class TestSize:
    def test_an_inside_grows_by_the_walls_and_the_sand_allowance(self, tmp_path: Path) -> None:
        """Inside 200 x 100: outside 200 + 2 x 10 and 100 + 2 x 12; fingers stand proud by 0.3 at both ends."""
        made = plan(tmp_path, LINED.replace("[lining]", "[size]\ninside = [200, 100, 72]\n[lining]"))
        lengths = [(row.kind, row.part, row.count, row.length) for row in board_list(made)]
        assert lengths == [
            ("board", "A", 3, Fraction("220.6")),
            ("board", "B", 2, Fraction("124.6")),
            ("blank", "A", 6, Fraction(200)),
        ]

    @pytest.mark.parametrize(
        ("size", "words"),
        [
            ("outside = [200, 100, 70]", "size.outside: the box's height is 2 mm less than the stock's width"),
            ("outside = [18, 100, 72]", "size.outside: no space is left inside"),
            ("outside = [200, 100]", "size.outside: must be three lengths"),
            ("outside = [200, 100, 72]\ninside = [1, 1, 72]", "size.outside: or inside must be given, but not both"),
            ("", "size.outside: or inside must be given"),
        ],
    )
    def test_faults(self, tmp_path: Path, size: str, words: str) -> None:
        found = faults(tmp_path, LINED.replace("[lining]", f"[size]\n{size}\n[lining]"))
        assert any(words in fault for fault in found), found


def test_one_stage_has_one_name(tmp_path: Path) -> None:
    assert stages(plan(tmp_path, SLOTS)) == ("joint",)
