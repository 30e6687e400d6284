"""Collects the readings for a calibration: from options or a CSV file here, from elsewhere by `ReadingCollector`."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path

from assistant.calibrating.blunders import Approach, Reading
from assistant.calibrating.board import Place
from assistant.errors import BadInput, Fault
from assistant.joinery.units import LengthError, Unit, parse_length, plain_length
from assistant.plans.document import cleaned, shortened

UNITS = {Unit.MM: "mm", Unit.INCH: "inches"}
MOST_READINGS = 200  # looking for blunders takes time that grows with the cube of their number
MOST_BYTES = 1_000_000
# A reading this many times too large or too small is questioned: its decimal point or unit may be wrong.
MANY_TIMES = 4
PLACE, VALUE, SIDE = ("place", "label", "setting", "spacing"), ("reading", "value", "remainder"), "side"
_LABEL = re.compile(r"[A-Za-z][0-9]?")


class ReadingCollector:
    """Turns what was written into readings, and collects every fault.

    places: of the test board; empty if there is none, so that settings must be given. unit: of bare numbers.
    expected: roughly what the places should give, mm, by label. typed: what was typed or dictated and would be lost
    if this run failed, in the form of `--reading`.
    """

    def __init__(self, places: Sequence[Place], unit: Unit, expected: Mapping[str, Fraction] | None = None):
        self.places = {place.label: place for place in places}
        self.expected = expected or {}
        self.typed: list[str] = []
        self.unit = unit
        self.faults: list[Fault] = []
        self.readings: list[Reading] = []
        self._full = False

    def add(self, place: str, value: str, side: str, where: str) -> None:
        """Add one reading: a label or a setting, what was read, and the side ("" if not given)."""
        at = self._place(place.strip(), side.strip().casefold(), where)
        length = self._length(value, where, "the reading")
        if at is None or length is None:
            return
        if len(self.readings) >= MOST_READINGS:
            if not self._full:
                self._fault(f"there are over {MOST_READINGS} readings", "", where, "give fewer of them")
            self._full = True
            return
        # A1 and A2 are the two sides of cut A: as a pair they share its label.
        label = at.label.rstrip("12") if len(at.label) > 1 and at.label in self.places else at.label
        self.readings.append(Reading(label, at.x, length, at.side))

    def checked(self) -> list[Reading]:
        """The readings; raises BadInput with every fault."""
        if self.faults:
            raise BadInput(self.faults)
        return self.readings

    def doubt(self, label: str, value: Fraction) -> str:
        """What is odd about a reading, mm: many times too large or too small for its place; "" if nothing is."""
        right = self.expected.get(label, Fraction(0))
        if right <= 0 or right / MANY_TIMES < value < right * MANY_TIMES:
            return ""
        about = plain_length(right, self.unit, 1 if self.unit == Unit.MM else 2)
        if value <= 0:
            return f"this place should give about {about}"
        times, way = (value / right, "large") if value > right else (right / value, "small")
        return f"about {round(times)} times too {way}; this place should give about {about}"

    def _place(self, text: str, side: str, where: str) -> Place | None:
        if side not in ("", *Approach):
            value = f'"{shortened(cleaned(side))}"'
            self._fault("the side must be up or down", value, where, "give the direction that the carriage came from")
            return None
        if not _LABEL.fullmatch(text):
            x = self._length(text, where, "the setting")
            return None if x is None else Place(plain_length(x, self.unit), x, Approach(side or Approach.UP), "")
        found = self.places.get(text.upper())
        if found is None:
            known = (
                f"the places are {', '.join(self.places)}" if self.places else "give the test board with --plan FILE"
            )
            self._fault("there is no such place", f'"{text}"', where, f"{known}; or give the setting itself")
        return found

    def _length(self, text: str, where: str, what: str) -> Fraction | None:
        try:
            return parse_length(text.strip(), self.unit, negative=False)
        except LengthError as error:
            self._fault(f"{what}: {error.what}", error.value, where, error.mend)
            return None

    def _fault(self, what: str, value: str, where: str, mend: str) -> None:
        self.faults.append(Fault(what, value, where, mend))


def from_options(collector: ReadingCollector, options: Sequence[str]) -> None:
    """Add readings written as `A=8.82`, `20=16.83` or `20 down=20.06`."""
    for text in options:
        where = "--reading"
        place, equals, value = text.partition("=")
        if not equals:
            mend = "write it like A=8.82, or 20=16.83 with the setting itself"
            collector.faults.append(Fault("is not a reading", f'"{shortened(cleaned(text))}"', where, mend))
            continue
        name, side = name_and_side(place)
        collector.add(name, value, side, where)


def name_and_side(place: str) -> tuple[str, str]:
    """A place as it is written, "20 down", as its setting or label, and the side; "" if it names none."""
    name, _, side = place.strip().rpartition(" ")
    return (name, side) if side.casefold() in tuple(Approach) else (place, "")


def from_csv(collector: ReadingCollector, path: Path) -> None:
    """Add readings from a CSV file headed place (or setting, spacing), reading, and side if needed; "#": a remark."""
    lines = _csv_lines(collector, path)
    if not lines:
        return
    # Spreadsheets separate with semicolons if the decimal point is a comma.
    delimiter = ";" if ";" in lines[0][1] else "\t" if "\t" in lines[0][1] else ","
    rows = list(csv.reader((line for _, line in lines), delimiter=delimiter))
    heading = [name.strip().casefold() for name in rows[0]]
    columns = [next((heading.index(n) for n in names if n in heading), None) for names in (PLACE, VALUE, (SIDE,))]
    if columns[0] is None or columns[1] is None:
        mend = "begin it with a line such as: place,reading"
        value = f'"{shortened(cleaned(lines[0][1]))}"'
        collector.faults.append(Fault("the heading has no columns place and reading", value, path.name, mend))
        return
    # There may be fewer rows: a quoted field runs on over the ends of lines.
    for (number, _), row in zip(lines[1:], rows[1:], strict=False):
        place, value, side = ("" if i is None or i >= len(row) else row[i] for i in columns)
        collector.add(place, value, side, f"{path.name}: line {number}")


def _csv_lines(collector: ReadingCollector, path: Path) -> list[tuple[int, str]]:
    """(line number, text) of all lines that are neither empty nor remarks."""
    given = cleaned(path.name)
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        text = data.decode("utf-8-sig")  # spreadsheets put a byte order mark first
    except (OSError, ValueError) as error:
        reason = cleaned(getattr(error, "strerror", None) or "it is not UTF-8 text")
        collector.faults.append(
            Fault(f"can't be read: {reason}", "", given, "check the name, and save it as UTF-8 CSV")
        )
        return []
    if len(data) > MOST_BYTES:
        collector.faults.append(Fault("is over 1 MB", "", given, "give only the readings"))
        return []
    found = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    if not found:
        collector.faults.append(Fault("has no readings", "", given, "begin it with a line such as: place,reading"))
    return found
