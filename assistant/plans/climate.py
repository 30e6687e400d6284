"""Reads the wood of each part and the air it is cut and glued up in: `fit` predicts wood movement from them."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from assistant.joinery.lined import PARTS
from assistant.plans.model import Air, BoardWood, Climate, Grain
from assistant.plans.reader import Table

USUAL_C = 20.0
# Where the Wood Handbook's table of equilibrium moisture content (Table 4-2) begins and ends.
COLDEST_C, HOTTEST_C = Fraction(-1), Fraction(132)
COLDEST_F, HOTTEST_F = Fraction(30), Fraction(270)
WETTEST_PERCENT = Fraction(40)


def read_woods(stock: Table, of_part: Mapping[str, Table]) -> dict[str, BoardWood]:
    """Species and grain of each part. Those in [stock.A] and [stock.B] take precedence over those in [stock]."""
    common = BoardWood(stock.text("species"), stock.choice("grain", tuple(Grain), Grain.FLAT) or Grain.FLAT)
    woods = {}
    for part in PARTS:
        own = of_part.get(part)
        if own is None:
            woods[part] = common
        else:
            species = own.text("species", common.species)
            woods[part] = BoardWood(species, own.choice("grain", tuple(Grain), common.grain) or common.grain)
    return woods


def read_climate(root: Table) -> Climate | None:
    """The [climate] table, or None without one. It needs both `cutting` and `glue_up`. Faults are noted."""
    if not root.has("climate"):
        root.allow(("climate",))
        return None
    table = root.table("climate")
    found = {when: _air_of_parts(table, when) for when in ("cutting", "glue_up")}
    for when in found:
        if not table.has(when) and not table.absent:
            mend = f"add [climate.{when}] with humidity, or with moisture as a meter shows it"
            table.fault(when, "is missing", mend)
    table.close()
    cutting, glue_up = found["cutting"], found["glue_up"]
    return None if cutting is None or glue_up is None else Climate(cutting, glue_up)


def _air_of_parts(climate: Table, when: str) -> dict[str, Air] | None:
    """The air of each part at that time. A part's own table gives only what differs."""
    climate.allow((when,))
    if not climate.has(when):
        return None
    table = climate.table(when)
    own = {part: table.table(part) for part in PARTS if table.has(part)}
    table.allow(PARTS)
    needed = len(own) < len(PARTS)
    common = _air(table, None, needed)
    found = {part: _air(own[part], common, True) if part in own else common for part in PARTS}
    return {part: air for part, air in found.items() if air is not None} if all(found.values()) else None


def _air(table: Table, common: Air | None, needed: bool) -> Air | None:
    """Read one table of air. common: what a part takes over for keys missing in its own table."""
    degrees = table.number("celsius", least=COLDEST_C, most=HOTTEST_C, unit="degrees C")
    fahrenheit = table.number("fahrenheit", least=COLDEST_F, most=HOTTEST_F, unit="degrees F")
    if table.has("celsius") and table.has("fahrenheit"):
        table.fault("fahrenheit", "means the same as celsius", "give only one of the two")
    humidity = table.number("humidity", most=Fraction(100), unit="percent")
    moisture = table.number("moisture", most=WETTEST_PERCENT, unit="percent")
    if table.has("moisture") and table.has("humidity"):
        mend = "give either the wood's moisture or the air's humidity"
        table.fault("moisture", "is given together with humidity", mend)
    table.close()
    if moisture is not None:
        return Air(moisture=float(moisture))
    warmth = float(degrees) if degrees is not None else None if fahrenheit is None else celsius(float(fahrenheit))
    before = common or Air(USUAL_C)
    damp = float(humidity) if humidity is not None else before.humidity
    if damp is not None:
        return Air(warmth if warmth is not None else before.temperature_c, damp)
    if before.moisture is not None and warmth is None:
        return before
    if needed and not table.absent and not table.faulted("humidity") and not table.faulted("moisture"):
        mend = "give the air's relative humidity in percent, or the wood's moisture as a meter shows it"
        table.fault("humidity", "is missing", mend)
    return None


def celsius(fahrenheit: float) -> float:
    """Convert degrees Fahrenheit to degrees Celsius."""
    return (fahrenheit - 32) / 1.8
