"""Reads the tables of a plan that only some layouts have: [[slots]], [spaced], [lining], [size]."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from assistant.errors import BadInput
from assistant.joinery import slots
from assistant.joinery.lined import PARTS, Lining
from assistant.joinery.sizes import SizeOf
from assistant.joinery.slots import MOST_SLOTS, Slot
from assistant.joinery.units import Unit
from assistant.plans import slips
from assistant.plans.model import BoxSize, Layout
from assistant.plans.reader import Table

ZERO = Fraction(0)
THICKEST_LINING = Fraction(50)


@dataclass(frozen=True, slots=True)
class Extras:
    """What these tables hold; empty if a layout has none of them."""

    slots: tuple[Slot, ...] = ()
    lining: Lining | None = None
    lining_species: str | None = None
    size: BoxSize | None = None


def read_extras(root: Table, layout: Layout | None, width: Fraction | None, unit: Unit) -> Extras:
    """Read the tables that belong to this layout and refuse the others. Faults are noted.

    layout: None if the plan has no valid one. Each table is then only checked by itself.
    """
    found = _slots(root, layout, width, unit)
    lining, species = _lining(root, layout, unit)
    size = _size(root, layout, unit)
    return Extras(found, lining, species, size)


def _slots(root: Table, layout: Layout | None, width: Fraction | None, unit: Unit) -> tuple[Slot, ...]:
    if layout not in (Layout.SLOTS, None):
        root.refuse(("slots", "spaced"), f'means nothing with layout = "{layout}"', 'set layout = "slots"')
        return ()
    if root.has("slots") and root.has("spaced"):
        root.fault("spaced", "is given together with [[slots]]", "keep one of the two")
    # Without a valid layout, which is a fault already, nobody knows whether there should be slots.
    if layout and not root.has("slots") and not root.has("spaced"):
        root.fault("slots", "are missing", "add [[slots]] with at, width and depth, or [spaced] with count")
    root.allow(("slots", "spaced"))
    listed = []
    for table in root.tables("slots", MOST_SLOTS):
        at = table.length("at", unit, required=True, least=ZERO)
        thick = table.length("width", unit, required=True, above=ZERO)
        depth = table.length("depth", unit, required=True, above=ZERO)
        table.close()
        if at is not None and thick is not None and depth is not None:
            listed.append(Slot(at, thick, depth))
    return _spaced(root.table("spaced"), width, unit) if root.has("spaced") else tuple(listed)


def _spaced(table: Table, width: Fraction | None, unit: Unit) -> tuple[Slot, ...]:
    count = table.integer("count", least=1, most=MOST_SLOTS, required=True)
    thick = table.length("width", unit, required=True, above=ZERO)
    depth = table.length("depth", unit, required=True, above=ZERO)
    table.close()
    if count is None or thick is None or depth is None or width is None:
        return ()
    try:
        return slots.evenly(width, count, thick, depth, unit=unit)
    except BadInput as error:
        table.document.adopt(error.faults)
        return ()


def _lining(root: Table, layout: Layout | None, unit: Unit) -> tuple[Lining | None, str | None]:
    if layout not in (Layout.LINED, None):
        root.refuse(("lining",), f'means nothing with layout = "{layout}"', 'set layout = "lined"')
        return None, None
    table = root.table("lining", required=layout is not None)
    if table.absent:
        return None, None
    parts = table.names("parts")
    if not parts or len(set(parts)) != len(parts) or not set(parts) <= set(PARTS):
        if not table.faulted("parts"):
            table.fault("parts", "must name the lined parts", 'give ["A"], ["B"] or ["A", "B"]', list(parts))
        parts = ()
    thickness = table.length("thickness", unit, required=True, above=ZERO, most=THICKEST_LINING)
    species = table.text("species")
    glue = slips.read_clearance(table, "glue_clearance", unit, Fraction(6, 100), Fraction(2))
    table.close()
    if not parts or thickness is None:
        return None, species
    return Lining(thickness, tuple(sorted(parts)), glue), species


def _size(root: Table, layout: Layout | None, unit: Unit) -> BoxSize | None:
    if not root.has("size"):
        root.allow(("size",))
        return None
    if layout == Layout.SLOTS:
        root.refuse(("size",), 'means nothing with layout = "slots"', "leave this table out")
        return None
    table = root.table("size")
    given = [kind for kind in SizeOf if table.has(kind)]
    table.allow(tuple(SizeOf))
    if len(given) != 1 and not table.absent:
        table.fault("outside", "or inside must be given, but not both", "write it like outside = [320, 220, 84]")
    sides = [table.lengths(kind, unit, 3) for kind in given]
    table.close()
    if len(given) != 1 or not sides[0]:
        return None
    if len(sides[0]) != 3:
        table.fault(given[0], "must be three lengths", "give length, width and height", f"{len(sides[0])} lengths")
        return None
    return BoxSize(given[0], sides[0])
