"""What `suggest` prints, as lines to read."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from assistant.advice.plan_to_edit import fingers, in_64ths, shown
from assistant.advice.suggest import Advice, WantedJoint
from assistant.joinery.model import Blade
from assistant.joinery.units import MM_PER_UNIT, Unit, format_number, plain_length

PLACES = {Unit.MM: 2, Unit.INCH: 4}
WIDTH = 100
LEGEND = (
    "Fingers: the fingers of both parts together. With an odd number, the two edges of a board are alike. Passes: for "
    "both parts of one corner. A socket: passes for each socket. Glue: side-grain glue area, where a butt joint has 1. "
    "Wood left: the share of the width that the weaker part keeps."
)


def table(advice: Advice, wanted: WantedJoint, blade: Blade, unit: Unit, top: int) -> Iterator[str]:
    """The best candidates as lines to read, and the finger that takes one pass a socket."""
    a, b = (shown(length, unit) for length in (wanted.thickness_a, wanted.thickness_b))
    thick = f"{a} thick" if a == b else f"part A {a}, part B {b} thick"
    yield (
        f"Boards {shown(wanted.width, unit)} wide, {thick}; kerf {shown(blade.kerf, unit)}, clearance "
        + (f"{plain_length(wanted.clearance, unit)}.")
    )
    yield ""
    yield f"  rank  fingers  width {unit}  passes  a socket   glue  wood left  score  why"
    for rank, one in enumerate(advice.ranked[:top], 1):
        finger = in_64ths(one.division.finger, unit)
        finger = finger or format_number(one.division.finger / MM_PER_UNIT[unit], PLACES[unit])
        glue, left = f"{float(one.glue):.1f} x", f"{100 * float(one.wood_left):.0f} %"
        socket = str(one.passes_a_socket or "-")
        head = f"  {rank:>4}  {one.division.count:>7}  {finger:>8}  {one.passes:>6}  {socket:>8}  {glue:>5}  {left:>9}"
        head += f"  {one.score:>5.1f}  "
        why = textwrap.wrap("; ".join(one.reasons), WIDTH - len(head), break_on_hyphens=False)
        yield head + why[0]
        yield from (" " * len(head) + line for line in why[1:])
    yield ""
    trade = sum(one.trade for one in advice.ranked)
    if trade:
        which = "Rank 1 is the common trade width" if trade == 1 else f"Ranks 1 to {trade} are the common trade widths"
        yield from wrapped(f"{which} that {'fits' if trade == 1 else 'fit'} this board. All other widths follow.")
    yield from wrapped(_one_pass(advice, wanted, blade, unit))
    yield from wrapped(LEGEND)


def wrapped(text: str) -> list[str]:
    """A paragraph in lines, all but the first indented."""
    return textwrap.wrap(text, WIDTH, subsequent_indent="  ", break_on_hyphens=False)


def _one_pass(advice: Advice, wanted: WantedJoint, blade: Blade, unit: Unit) -> str:
    single = shown(advice.one_pass, unit)
    text = f"One pass a socket needs fingers of {single}, the kerf less half the clearance"
    if not advice.one_pass_ranks:
        return f"{text}. The board is too narrow for them." if wanted.width < 3 * advice.one_pass else f"{text}."
    rank = advice.one_pass_ranks[0]
    one = advice.ranked[rank - 1]
    return f"{text}. That is rank {rank}: {fingers(one, unit)}, {one.passes} passes ({'; '.join(one.reasons)})."
