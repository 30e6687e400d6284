"""What a value means for the shop file, and from which values on it is asked about or refused."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import pytest

from assistant.calibrating.blunders import Caliper, Reading
from assistant.calibrating.change import change_for, computed
from assistant.calibrating.values import Value
from assistant.errors import BadInput
from assistant.plans.shop_writer import EntryKind
from tests.plans.files import shop_of

MM = 'unit = "mm"\n[blade]\nkerf = 3.2\n'
IN = 'unit = "in"\n[blade]\nkerf = 0.125\n'


@pytest.mark.parametrize(
    ("shop", "value", "moved", "asks"),
    [
        (MM, 3.5, F("0.3"), False),
        (MM, 3.501, F("0.301"), True),
        (MM, 2.899, F("0.301"), True),
        # An eighth of an inch is 3.175 mm. What is written has ten-thousandths of an inch.
        (IN, 3.4, F("0.0089") * F("25.4"), False),
        (IN, 3.6, F("0.0167") * F("25.4"), True),
    ],
)
def test_a_kerf_that_moves_by_over_three_tenths_of_a_millimetre_is_asked_about_in_any_unit(
    tmp_path: Path, shop: str, value: float, moved: F, asks: bool
) -> None:
    change = change_for(Value(EntryKind.KERF, value, 0.01, (), ()), shop_of(tmp_path, shop))
    assert change.moved == moved and ("a lot for one blade" in change.why) is asks


@pytest.mark.parametrize(("kerf", "refused"), [("3.99", False), ("4.01", True), ("2.41", False), ("2.39", True)])
def test_a_kerf_over_a_quarter_off_is_another_blades_unless_the_shop_file_says_so(
    tmp_path: Path, kerf: str, refused: bool
) -> None:
    readings = [
        Reading(label, F(x), F(x) - F(kerf)) for label, x in zip("ABCDEFGHJK", [10] * 5 + [32] * 5, strict=True)
    ]
    shop = shop_of(tmp_path, MM)
    if not refused:
        assert computed(EntryKind.KERF, readings, Caliper(), shop, []).value == pytest.approx(float(kerf))
        return
    with pytest.raises(BadInput, match=f"the kerf is far from the 3.2 mm.*first put about {kerf} mm into blade.kerf"):
        computed(EntryKind.KERF, readings, Caliper(), shop, [])
