"""Lays an end out for another kerf: all of it, or what other blades have left of it.

The walls stay where they are, and with them the joint: the kerf decides only how many passes clear a socket, and where
they lie. Lengths: Fraction, mm; x = 0 at the reference edge.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from assistant.errors import BadInput, Fault
from assistant.joinery.halves import whole
from assistant.joinery.model import Blade, Carriage, Pass, Pattern, Segment
from assistant.joinery.passes import Cut, span, spread
from assistant.joinery.pattern import pattern
from assistant.joinery.settings import as_passes, travel_faults
from assistant.joinery.units import Unit, at_most, plain_length
from assistant.joinery.walls import number_list

KERF = "the kerf"
"""What faults name as their place: the figure comes from a session, so it has no file and key."""
BOARD_BEGUN = "put the old blade back, or count the board as spoilt"
"""What helps where cuts that another blade has made can't be gone on with."""


class SocketSpace(NamedTuple):
    """What must be cleared of a socket, with the overrun at an edge. walled: which of both ends is a wall."""

    start: Fraction
    end: Fraction
    walled: tuple[bool, bool]

    @property
    def width(self) -> Fraction:
        return self.end - self.start


def kerf_of(one: Pattern) -> Fraction:
    """The kerf for which an end, or half of one, was laid out, mm."""
    return one.passes[0].kerf_to - one.passes[0].kerf_from


def laid_out(one: Pattern, blade: Blade, carriage: Carriage, unit: Unit, noun: str = "socket") -> Pattern:
    """The whole end with this blade's passes, in one clamping; sockets that were approached from above still are.

    one: the end, or that of its clampings that knows the passes before it. unit, noun: for messages only.
    Raises: BadInput, all faults at once: a kerf of no more than the overlap, sockets narrower than the kerf, settings
    outside the travel.
    """
    end = whole(one, carriage)
    faults = [*_kerf_faults(blade, unit), *_narrow_faults(end, range(1, len(end.sockets) + 1), blade, unit, noun)]
    if faults:
        raise BadInput(faults)
    made = pattern(end.part, _as_cut(end, blade), end.width, end.depth, blade, carriage, where=KERF, unit=unit)
    return replace(made, segments=end.segments, passes=_come_down(made.passes, end))


def rest(
    one: Pattern, cut: Collection[int], blade: Blade, carriage: Carriage, unit: Unit, noun: str = "socket"
) -> Pattern:
    """What is left of an end, for this blade, whose kerfs may run into what is gone, but never past a wall.

    one: cut in one clamping. cut: the numbers of its passes that are cut. unit, noun: for messages only. Every wall
    that isn't cut yet gets a kerf that ends right there. Its kerfs overlap those that are there by at least as much as
    each other, so that rounded settings leave no fin. It has no pass only where all of them are cut.
    Raises: BadInput, all faults at once: a kerf of no more than the overlap, wood left in sockets narrower than the
    kerf, settings outside the travel.
    """
    gone = sorted((*one.before, *(p for p in one.passes if p.number in cut)), key=lambda p: (p.kerf_from, p.kerf_to))
    faults = list(_kerf_faults(blade, unit))
    rooms = dict(enumerate(_rooms(one, blade), 1))
    there = {number: [p for p in gone if p.socket == number] for number in rooms}
    left = [number for number, room in rooms.items() if _uncut(room, there[number], blade.overlap)]
    uncut = [p for p in one.passes if p.number not in cut]
    needless = bool(uncut) and not left
    if needless:
        left = [uncut[0].socket]
    faults += (replace(fault, mend=BOARD_BEGUN) for fault in _narrow_faults(one, left, blade, unit, noun))
    if faults:
        raise BadInput(faults)
    cuts = [each for number in left for each in _clearing(number, rooms[number], there[number], blade)]
    if needless:
        # Laid out with a greater overlap than is known now: the setup ends with a pass all the same.
        room, where = rooms[left[0]], (uncut[0].kerf_from, uncut[0].kerf_to)
        cuts = _over(left[0], room, (max(room.start, where[0]), min(room.end, where[1])), blade)[:1]
    passes = as_passes(cuts, carriage)
    if faults := travel_faults(passes, carriage):
        raise BadInput(faults)
    return replace(one, passes=_come_down(passes, one), before=tuple(gone))


def _kerf_faults(blade: Blade, unit: Unit) -> Iterator[Fault]:
    if blade.kerf <= blade.overlap:
        least = plain_length(blade.overlap, unit)
        what = f"must be wider than the passes overlap, {least}"
        yield Fault(what, plain_length(blade.kerf, unit), KERF, "measure it again, and look for the decimal point")


def _narrow_faults(one: Pattern, sockets: Collection[int], blade: Blade, unit: Unit, noun: str) -> Iterator[Fault]:
    """Of these sockets, those into which the kerf doesn't go, one fault for each width."""
    narrow: dict[Fraction, list[int]] = {}
    for number, room in enumerate(_rooms(one, blade), 1):
        if number in sockets and all(room.walled) and room.width < blade.kerf:
            narrow.setdefault(room.width, []).append(number)
    for size, numbers in narrow.items():
        verb = "is" if len(numbers) == 1 else "are"
        what = f"{number_list(noun, numbers)} {verb} narrower than a kerf of {plain_length(blade.kerf, unit)}"
        mend = f"use a blade with a kerf of {at_most(size, unit)} or less"
        yield Fault(what, f"{plain_length(size, unit)} wide with its clearance", KERF, mend)


def _as_cut(one: Pattern, blade: Blade) -> tuple[Segment, ...]:
    """The segments as they are cut: where a ripped edge has opened the last socket, to the wall that it would have.

    So it is in a test joint, whose offcut may be a little wider than it was laid out.
    """
    last = one.segments[-1]
    by_kerf: dict[Fraction, list[Fraction]] = {}
    for p in (*one.before, *one.passes):
        if p.socket == len(one.sockets):
            by_kerf.setdefault(p.kerf_to - p.kerf_from, []).append(p.kerf_to)
    # A single pass of a wide kerf overhangs the edge by as much as it is wider, and the next blade's does so by itself.
    ends = [max(to) for kerf, to in by_kerf.items() if len(to) > 1 or kerf <= last.width]
    if last.is_finger or last.end < one.width or max(ends, default=one.width) <= one.width + blade.overrun:
        return one.segments
    return (*one.segments[:-1], replace(last, end=max(ends)))


def _rooms(one: Pattern, blade: Blade) -> Iterator[SocketSpace]:
    for socket in _as_cut(one, blade):
        if not socket.is_finger:
            walled = socket.start > 0, socket.end != one.width
            start, end = span(socket, one.width, replace(blade, kerf=Fraction(0)))
            yield SocketSpace(start, end, walled)


def _uncut(room: SocketSpace, gone: Sequence[Pass | Cut], overlap: Fraction) -> list[tuple[Fraction, Fraction]]:
    """The stretches still to be cut, ascending. Kerfs that overlap each other by less leave one between them."""
    cleared = []
    for each in gone:
        # Half the overlap is taken off a kerf's side except at the socket's own, so that two kerfs that overlap by
        # just as much still meet.
        start = each.kerf_from if each.kerf_from <= room.start else each.kerf_from + overlap / 2
        end = each.kerf_to if each.kerf_to >= room.end else each.kerf_to - overlap / 2
        cleared.append((start, end))
    found, reached = [], room.start
    for start, end in sorted(cleared):
        if start > reached:
            found.append((reached, min(start, room.end)))
        reached = max(reached, end)
    if reached < room.end:
        found.append((reached, room.end))
    return found


def _clearing(socket: int, room: SocketSpace, gone: Sequence[Pass], blade: Blade) -> list[Cut]:
    """The passes that clear what is left of a socket."""
    made: list[Cut] = []
    while left := _uncut(room, [*gone, *made], blade.overlap):
        made += _over(socket, room, left[0], blade)
    # A wide kerf at a far wall may also clear what a pass before it was for. Without that pass, whatever is cut first,
    # something is left for each of the others.
    for each in _perhaps_needless(made, gone, blade.overlap):
        others = [one for one in made if one is not each]
        if not _uncut(room, [*gone, *others], blade.overlap):
            made = others
    return made


def _perhaps_needless(made: Sequence[Cut], gone: Sequence[Pass], overlap: Fraction) -> list[Cut]:
    """The outermost of these passes, and each one where those before and after it overlap by enough to meet.

    To look at every pass would take long where they overlap by almost a kerf, so that a socket has hundreds.
    """
    ordered: list[Pass | Cut] = sorted((*gone, *made), key=lambda one: one.kerf_from)
    found: list[Cut] = []
    reached = ordered[0].kerf_from
    for n, one in enumerate(ordered):
        outermost = n == 0 or n == len(ordered) - 1
        if isinstance(one, Cut) and (outermost or reached - ordered[n + 1].kerf_from >= overlap):
            found.append(one)
        reached = max(reached, one.kerf_to)
    return found


def _over(socket: int, room: SocketSpace, left: tuple[Fraction, Fraction], blade: Blade) -> list[Cut]:
    """The passes over one stretch, into what is gone beside it by the overlap."""
    start = max(room.start, left[0] - blade.overlap / 2)
    end = min(room.end, left[1] + blade.overlap / 2)
    if end - start >= blade.kerf:
        return list(spread(socket, start, end, blade))
    # One pass: from the wall, or else in the middle of the stretch, but not past a wall, nor farther off an edge than
    # it must be.
    near, far = start == room.start, end == room.end
    at = start if near else end - blade.kerf if far else (start + end - blade.kerf) / 2
    if near and far:
        at = start if room.walled[0] else end - blade.kerf
    elif room.width >= blade.kerf:
        at = min(max(at, room.start), room.end - blade.kerf)
    else:
        at = room.start if room.walled[0] else room.end - blade.kerf
    return [Cut(socket, at, at + blade.kerf)]


def _come_down(passes: Sequence[Pass], one: Pattern) -> tuple[Pass, ...]:
    from_above = {p.socket for p in (*one.before, *one.passes) if p.down}
    return tuple(replace(p, down=p.socket in from_above) for p in passes)
