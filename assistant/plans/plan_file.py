"""Reads the plan file, which holds everything that belongs to the job."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from assistant.errors import BadInput, Fault, WrongFile
from assistant.joinery.layout import Remainder, StartsWith
from assistant.joinery.lined import PARTS
from assistant.joinery.units import Unit
from assistant.plans import slips
from assistant.plans.boards import lengths
from assistant.plans.climate import read_climate, read_woods
from assistant.plans.document import Document, cleaned, read_document
from assistant.plans.model import (
    BoardPlan,
    BoardWood,
    CutOrder,
    FarHalf,
    JointPlan,
    Layout,
    Plan,
    Repeat,
    Shop,
    Uncertainty,
)
from assistant.plans.pieces import pieces
from assistant.plans.plan_tables import read_extras
from assistant.plans.reader import MAX_TEXT, Table
from assistant.plans.shop_file import try_shop

ZERO = Fraction(0)
MOST_WIDTHS = 1000
MOST_BOARDS = 1000
MOST_COUNT = 1000
EVEN_KEYS, LISTED_KEYS = ("finger", "remainder"), ("widths", "repeat", "mirror")


def read_plan(path: Path) -> Plan:
    """Read a plan. Raises BadInput with every fault in it."""
    plan, faults = try_plan(path)
    if plan is None:
        raise BadInput(faults)
    return plan


def read_both(plan_path: Path, shop_path: Path | None) -> tuple[Plan, Shop]:
    """Read a plan and the shop file to cut it with (None: the user's own).

    Raises a single BadInput with every fault of both.
    """
    plan, plan_faults = try_plan(plan_path)
    if shop_path is None and any(isinstance(fault, WrongFile) for fault in plan_faults):
        raise BadInput(plan_faults)  # a shop file was given in the plan's place, so it isn't missing
    shop, shop_faults = try_shop(shop_path)
    if plan is None or shop is None:
        raise BadInput([*plan_faults, *shop_faults])
    return plan, shop


def try_plan(path: Path) -> tuple[Plan | None, list[Fault]]:
    """The plan, or None, and all faults in its file, those of its layout included."""
    document = read_document(path)
    plan = _read(document, path) if document.tree is not None and not document.is_wrong_file("plan") else None
    return (None if document.faults else plan), document.faults


def _read(document: Document, path: Path) -> Plan | None:
    root = Table(document, "", document.tree)
    title = root.text("title", cleaned(path.stem)[:MAX_TEXT] or "plan")
    unit = root.choice("unit", tuple(Unit), required=True) or Unit.MM
    order = root.choice("order", tuple(CutOrder), CutOrder.BY_PART) or CutOrder.BY_PART
    stock = _stock(root.table("stock", required=True), unit)
    layout, joint = _joint(root.table("joint", required=True), unit)
    extras = read_extras(root, layout, stock.width, unit)
    boards = _boards(root, layout)
    uncertainty = _uncertainty(root, unit)
    climate = read_climate(root)
    root.close()
    if stock.width is None or joint is None or root.faulted("unit"):
        return None
    plan = Plan(
        title=title or "plan",
        unit=unit,
        width=stock.width,
        thickness=stock.thickness,
        joint=joint,
        boards=boards,
        species=stock.species,
        digest=document.digest,
        path=str(path),
        uncertainty=uncertainty,
        slots=extras.slots,
        slot_height=stock.height,
        lining=extras.lining,
        lining_species=extras.lining_species,
        size=extras.size,
        woods=stock.woods,
        climate=climate,
        order=order,
        measured_widths=stock.widths,
    )
    if (layout != Layout.LINED or extras.lining) and (layout != Layout.SLOTS or extras.slots):
        _try_layout(document, plan)
    return plan


def _try_layout(document: Document, plan: Plan) -> None:
    """Report the layout's faults together with the others, even if the shop file is missing."""
    # If a thickness is faulty itself, what depends on it can't be judged.
    thick = not any(".thickness" in fault.where for fault in document.faults)
    document.adopt(tuple(fault for fault in slips.faults(plan) if thick or fault.where != slips.SAND))
    sound = slips.mended(plan)
    finds_faults: tuple[Callable[[Plan], object], ...] = (lengths, pieces)
    for lay_out in finds_faults:
        try:
            lay_out(sound)
        except BadInput as error:
            document.adopt(error.faults)


class _Stock(NamedTuple):
    """The [stock] table. height: of the wood above the saw's table where slots are cut, mm; None if not given.

    widths: measured on the boards.
    """

    width: Fraction | None
    thickness: dict[str, Fraction]
    woods: dict[str, BoardWood]
    species: str | None
    height: Fraction | None
    widths: tuple[Fraction, ...] = ()


def _stock(table: Table, unit: Unit) -> _Stock:
    if table.absent:
        return _Stock(None, {}, {}, None, None)
    width = table.length("width", unit, required=True, above=ZERO)
    of_part = {part: table.table(part) for part in PARTS if table.has(part)}
    own = {
        # A part's table may give its wood alone, and share the common thickness.
        part: each.length("thickness", unit, required=not each.has("species") and not each.has("grain"), above=ZERO)
        for part, each in of_part.items()
    }
    both_apart = all(part in of_part and of_part[part].has("thickness") for part in PARTS)
    common = table.length("thickness", unit, required=not both_apart, above=ZERO)
    # Without a valid thickness any value will do: a fault has been noted, so no plan is returned.
    thickness = {part: own.get(part) or common or Fraction(1) for part in PARTS}
    woods = read_woods(table, of_part)
    for each in of_part.values():
        each.close()
    height = table.length("height", unit, above=ZERO)
    measured = table.lengths("measured_widths", unit, MOST_BOARDS)
    table.allow(PARTS)
    table.close()
    return _Stock(width, thickness, woods, woods["A"].species, height, tuple(measured))


def _joint(table: Table, unit: Unit) -> tuple[Layout | None, JointPlan | None]:
    """(the layout, or None if it isn't valid; the table, or None if nothing can be laid out from it)."""
    if table.absent:
        return None, None
    layout = table.choice("layout", tuple(Layout), required=True)
    clearance = slips.read_clearance(table, "clearance", unit, Fraction(1, 10), Fraction(10))
    sand = table.length("sand_allowance", unit, Fraction(3, 10), least=ZERO)
    shape = _shape(table, layout, unit)
    starts_with: StartsWith | None = StartsWith.FINGER
    if layout != Layout.SLOTS:
        starts_with = table.choice("starts_with", tuple(StartsWith), StartsWith.FINGER)
    table.allow(("starts_with", "come_down"))
    if layout not in (None, Layout.LISTED):
        mend = "leave it out: it is only for test boards"
        table.refuse(("come_down",), f'means nothing with layout = "{layout}"', mend)
    far_half = table.choice("far_half", tuple(FarHalf), FarHalf.DISTANCE_PIECE)
    come_down = table.integers("come_down", least=1, most=MOST_WIDTHS)
    table.close()
    if layout is None or shape is None:
        return layout, None
    return layout, replace(
        shape,
        starts_with=starts_with or StartsWith.FINGER,
        clearance=clearance,
        sand_allowance=ZERO if sand is None else sand,
        come_down=come_down,
        far_half=far_half or FarHalf.DISTANCE_PIECE,
    )


def _shape(table: Table, layout: Layout | None, unit: Unit) -> JointPlan | None:
    """Read the keys that the layout needs: even or listed fingers, either of them for a lined joint, none for slots."""
    if layout is None:
        # Without a layout it isn't known which keys belong here, so each is only checked by itself.
        if table.has("widths"):
            _listed(table, Layout.LISTED, unit)
        else:
            table.flag("mirror", False)
        table.allow(LISTED_KEYS)
        table.length("finger", unit, above=ZERO)
        table.choice("remainder", tuple(Remainder))
        return None
    if layout == Layout.SLOTS:
        mend = "leave it out: slots are given in [[slots]] or [spaced]"
        keys = (*EVEN_KEYS, *LISTED_KEYS, "starts_with")
        table.refuse(keys, 'means nothing with layout = "slots"', mend)
        return JointPlan(layout)
    listed = layout == Layout.LISTED or (layout == Layout.LINED and table.has("widths"))
    mend = f'leave it out: it belongs to layout = "{"even" if listed else "listed"}"'
    beside = f'layout = "{layout}"' if layout != Layout.LINED else ("widths" if listed else "finger")
    table.refuse(EVEN_KEYS if listed else LISTED_KEYS, f"means nothing with {beside}", mend)
    if listed:
        return _listed(table, layout, unit)
    finger = table.length("finger", unit, required=True, above=ZERO)
    remainder = table.choice("remainder", tuple(Remainder), Remainder.FAR_EDGE) or Remainder.FAR_EDGE
    return None if finger is None else JointPlan(layout, finger, remainder=remainder)


def _listed(table: Table, layout: Layout, unit: Unit) -> JointPlan | None:
    widths = table.lengths("widths", unit, MOST_WIDTHS)
    if not table.has("widths"):
        mend = f"list the widths from the reference edge, in {unit}, e.g. widths = [6, 12, 6]"
        table.fault("widths", "is missing", mend)
    table.allow(("repeat",))
    repeat = _repeat(table, len(widths)) if table.has("repeat") and widths else None
    mirror = table.flag("mirror", False)
    # Without the repeat or mirror that was meant the sum would be wrong too: a second, misleading fault.
    sound = widths and not table.faulted("mirror") and (repeat is not None or not table.has("repeat"))
    return JointPlan(layout, widths=widths, repeat=repeat, mirror=mirror) if sound else None


def _repeat(table: Table, entries: int) -> Repeat | None:
    of = table.table("repeat")
    if of.absent:
        return None
    first = of.integer("from", least=1, most=max(entries, 1), required=True)
    last = of.integer("to", least=first or 1, most=max(entries, first or 1), required=True)
    times = of.integer("times", least=1, most=MOST_WIDTHS, required=True)
    of.close()
    if first is None or last is None or times is None:
        return None
    return Repeat(first, last, times)


def _boards(root: Table, layout: Layout | None) -> tuple[BoardPlan, ...]:
    tables = root.tables("boards", MOST_BOARDS)
    if not tables and not root.faulted("boards"):
        root.fault("boards", "there are no boards to cut", "add [[boards]] with name and part")
    found: list[BoardPlan] = []
    for table in tables:
        board = _board(table)
        if board is None:
            continue
        if layout == Layout.SLOTS:  # they run across one face of one part
            if board.part != "A":
                mend = 'set part = "A": the pieces that go into the slots are not cut'
                table.fault("part", 'must be "A" with layout = "slots"', mend, board.part)
            if board.ends != 1:
                table.fault("ends", 'must be 1 with layout = "slots"', "leave it out", board.ends)
        if any(other.name == board.name for other in found):
            mend = "give each board its own name, or increase count: the name is what the session asks you to clamp"
            table.fault("name", "is used for another board already", mend, board.name)
        found.append(board)
    return tuple(found)


def _board(table: Table) -> BoardPlan | None:
    name = table.text("name", required=True, most=40)
    part = table.choice("part", PARTS, required=True)
    count = table.integer("count", 1, least=1, most=MOST_COUNT) or 1
    ends = table.integer("ends", 1, least=1, most=2) or 1
    stack = table.integer("stack", 1, least=1, most=MOST_COUNT) or 1
    if stack > count:
        mend = f"clamp at most {count} together, or increase count"
        table.fault("stack", f"must not be more than count, which is {count}", mend, stack)
    table.close()
    return None if name is None or part is None else BoardPlan(name, part, count, ends, stack)


def _uncertainty(root: Table, unit: Unit) -> Uncertainty | None:
    if not root.has("uncertainty"):
        root.allow(("uncertainty",))
        return None
    table = root.table("uncertainty")
    keys = ("setting", "kerf", "reference")
    figures = [table.length(key, unit, least=ZERO, most=Fraction(10)) for key in keys]
    skew = table.number("out_of_square", most=Fraction(10), unit="degrees")
    table.close()
    return Uncertainty(figures[0], figures[1], figures[2], skew)
