"""Reads TOML tables and checks every value: each call reads one key, notes what is wrong and carries on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from difflib import get_close_matches
from fractions import Fraction
from typing import Any, TypeVar

from assistant.joinery.units import (
    GREATEST_EXPONENT,
    LONGEST_MM,
    LONGEST_TEXT,
    LengthError,
    Unit,
    format_number,
    parse_length,
    plain_length,
)
from assistant.plans.document import MAX_INTEGER_BITS, Document, cleaned, shortened, shown

MAX_TEXT = 80
Option = TypeVar("Option", bound=str)
# What a user may call a key, where no known key is spelled like it.
OTHER_NAMES = {"lead": "pitch", "screw_lead": "pitch", "thread_pitch": "pitch", "tpi": "threads_per_inch"}


class Table:
    """One TOML table. It remembers which keys were read, so that `close` can refuse all others.

    A read returns the checked value, or its default if the key is absent. If the value is faulty, or absent though
    required, it notes the fault and returns the default (None if there is none).
    """

    def __init__(self, document: Document, key: str, data: dict[str, Any] | None):
        self.document = document
        self.key = key
        self.absent = data is None
        self._data = data or {}
        self._known: list[str] = []

    def path(self, key: str) -> str:
        return f"{self.key}.{key}" if self.key else key

    def fault(self, key: str, what: str, mend: str, value: object = None) -> None:
        """Note a fault at `key` ("" for the table itself)."""
        where = self.path(key) if key else self.key
        self.document.fault(what, "" if value is None else shown(value), where, mend)

    def given(self, key: str, unit: Unit) -> str:
        """The value at `key` as the user wrote it, for a message. unit: of a bare number."""
        return _with_unit(self._data.get(key), unit)

    def has(self, key: str) -> bool:
        return key in self._data

    def _take(self, key: str, required: bool, mend: str) -> Any:
        """The raw value, or None if absent (TOML has no null). Remembers the key as known."""
        self._known.append(key)
        if key not in self._data and required:
            self.fault(key, "is missing", mend)
        return self._data.get(key)

    def length(
        self,
        key: str,
        unit: Unit,
        default: Fraction | None = None,
        *,
        required: bool = False,
        above: Fraction | None = None,
        least: Fraction | None = None,
        most: Fraction = LONGEST_MM,
        mend: str = "",
    ) -> Fraction | None:
        """A length in mm. unit: of a bare number. Bounds in mm: above is exclusive, the others inclusive.

        mend: what to do if it is missing.
        """
        raw = self._take(key, required, mend or f"give it in {unit}, e.g. {key} = 6")
        if raw is None:
            return default
        value = self._as_length(key, raw, unit)
        if value is None or not self._in_bounds(key, raw, value, unit, above, least, most):
            return default
        return value

    def _as_length(self, key: str, raw: object, unit: Unit) -> Fraction | None:
        if isinstance(raw, bool) or not isinstance(raw, (int, Decimal, str)):
            mend = 'write it like 12.7, "12.7 mm" or "1 3/8 in"'
            self.fault(key, "must be a length", mend, raw)
            return None
        try:
            return parse_length(raw, unit, negative=True)
        except LengthError as error:
            self.document.fault(error.what, cleaned(error.value), self.path(key), error.mend)
            return None

    def _in_bounds(
        self,
        key: str,
        raw: object,
        value: Fraction,
        unit: Unit,
        above: Fraction | None,
        least: Fraction | None,
        most: Fraction,
    ) -> bool:
        given, where = _with_unit(raw, unit), self.path(key)
        if above is not None and value <= above:
            self.document.fault(f"must be over {plain_length(above, unit)}", given, where, "give a larger length")
        elif least is not None and value < least:
            self.document.fault(f"must be {plain_length(least, unit)} or more", given, where, "give a larger length")
        elif value > most:
            self.document.fault(f"must be {plain_length(most, unit)} or less", given, where, "give a smaller length")
        else:
            return True
        return False

    def lengths(self, key: str, unit: Unit, most_items: int, *, least: Fraction | None = None) -> tuple[Fraction, ...]:
        """A list of lengths over 0 (or from `least`) in mm; () when absent or faulty."""
        raw = self._take(key, False, "")
        if raw is None:
            return ()
        if not isinstance(raw, list) or not raw or len(raw) > most_items:
            self.fault(key, "must be a list of lengths", f"give 1 to {most_items} lengths in [ ]", raw)
            return ()
        above = Fraction(0) if least is None else None
        found = []
        for n, item in enumerate(raw, start=1):
            value = self._as_length(f"{key}[{n}]", item, unit)
            if value is not None and self._in_bounds(f"{key}[{n}]", item, value, unit, above, least, LONGEST_MM):
                found.append(value)
        return tuple(found) if len(found) == len(raw) else ()

    def number(
        self,
        key: str,
        default: Fraction | None = None,
        *,
        required: bool = False,
        above: Fraction | None = None,
        least: Fraction = Fraction(0),
        most: Fraction,
        unit: str = "",
    ) -> Fraction | None:
        """A bare number, exact. unit: only for the fault, e.g. "s"."""
        low = f"over {_number_text(above)}" if above is not None else f"{_number_text(least)} or more"
        needs = f"must be a number, {low} and at most {_number_text(most)}" + (f" {unit}" if unit else "")
        raw = self._take(key, required, "give it: it " + needs)
        if raw is None:
            return default
        value = _exact_number(raw)
        if value is None or not (value > above if above is not None else value >= least) or value > most:
            self.fault(key, needs, "give a number within these bounds", raw)
            return default
        return value

    def integer(
        self, key: str, default: int | None = None, *, least: int, most: int, required: bool = False
    ) -> int | None:
        """A whole number, least to most inclusive. A bool or a decimal is refused."""
        needs = f"must be a whole number from {least} to {most:,}"
        raw = self._take(key, required, "give it: it " + needs)
        if raw is None:
            return default
        if isinstance(raw, bool) or not isinstance(raw, int) or not least <= raw <= most:
            self.fault(key, needs, "give a whole number within these bounds", raw)
            return default
        return raw

    def integers(self, key: str, *, least: int, most: int) -> tuple[int, ...]:
        """A list of whole numbers, least to most inclusive, each once; () when absent or faulty."""
        raw = self._take(key, False, "")
        if raw is None:
            return ()
        whole = isinstance(raw, list) and all(isinstance(n, int) and not isinstance(n, bool) for n in raw)
        if not whole or len(raw) != len(set(raw)) or not all(least <= n <= most for n in raw):
            needs = f"must be a list of whole numbers from {least} to {most:,}, each once"
            self.fault(key, needs, f"give {key} = [2, 5]", raw)
            return ()
        return tuple(raw)

    def text(
        self, key: str, default: str | None = None, *, required: bool = False, most: int = MAX_TEXT, mend: str = ""
    ) -> str | None:
        """Text without control characters, 1 to `most` characters."""
        raw = self._take(key, required, mend or f'give it in quotes, e.g. {key} = "..."')
        if raw is None:
            return default
        value = cleaned(raw) if isinstance(raw, str) else None
        if not value or len(value) > most:
            self.fault(key, f"must be text of 1 to {most} characters", "give it in quotes", raw)
            return default
        return value

    def choice(
        self, key: str, options: Sequence[Option], default: Option | None = None, *, required: bool = False
    ) -> Option | None:
        """One of `options`."""
        listed = one_of(options)
        raw = self._take(key, required, f"give {listed}")
        if raw is None:
            return default
        if raw not in options:  # a member of an enum is equal to its word
            near = nearest(raw, options)
            mend = f'did you mean "{near}"?' if near else "write it exactly like that, in quotes"
            self.fault(key, f"must be {listed}", mend, raw)
            return default
        return options[options.index(raw)]

    def flag(self, key: str, default: bool) -> bool:
        raw = self._take(key, False, "")
        if raw is None:
            return default
        if not isinstance(raw, bool):
            self.fault(key, "must be true or false", "write true or false, without quotes", raw)
            return default
        return raw

    def names(self, key: str) -> tuple[str, ...]:
        """A list of texts; () when absent or faulty."""
        raw = self._take(key, False, "")
        if raw is None:
            return ()
        if not isinstance(raw, list) or len(raw) > 1000 or not all(isinstance(item, str) for item in raw):
            self.fault(key, "must be a list of names", f'give {key} = ["name", "name"]', raw)
            return ()
        return tuple(cleaned(item) for item in raw)

    def keys(self) -> tuple[str, ...]:
        """The keys in this table, for tables whose keys the user chooses."""
        return tuple(self._data)

    def table(self, key: str, *, required: bool = False) -> Table:
        """The table at `key`. If there is none or it is faulty, an empty one that is `absent`."""
        raw = self._take(key, required, f"add a [{self.path(key)}] table")
        if raw is not None and not isinstance(raw, dict):
            self.fault(key, "must be a table", f"write [{self.path(key)}] and its keys below", raw)
            raw = None
        return Table(self.document, self.path(key), raw)

    def tables(self, key: str, most: int) -> tuple[Table, ...]:
        """The tables of an array of tables, counted from 1 in faults; () if absent or faulty."""
        raw = self._take(key, False, "")
        if raw is None:
            return ()
        if not isinstance(raw, list) or not all(isinstance(item, dict) for item in raw):
            mend = f"write [[{self.path(key)}]] for each, with its keys below"
            self.fault(key, "must be a list of tables", mend, raw)
            return ()
        if len(raw) > most:
            self.fault(key, f"may be {most:,} at most", "split the job into several plans", raw)
            return ()
        return tuple(Table(self.document, f"{self.path(key)}[{n}]", item) for n, item in enumerate(raw, start=1))

    def faulted(self, key: str) -> bool:
        """Whether a fault has been noted at `key`."""
        where = f"{self.document.name}: {self.path(key)}"
        return any(fault.where == where for fault in self.document.faults)

    def allow(self, keys: Iterable[str]) -> None:
        """Accept these keys, whether or not they were read."""
        self._known.extend(keys)

    def refuse(self, keys: Iterable[str], what: str, mend: str) -> None:
        """Refuse these keys: they are known, but mean nothing together with the others given."""
        for key in keys:
            self._known.append(key)
            if key in self._data:
                self.fault(key, what, mend, self._data[key])

    def skip(self) -> None:
        """Read nothing more from this table, and accept whatever else is in it."""
        self._known.extend(self._data)

    def close(self) -> None:
        """Refuse every key that was never read, and suggest the nearest known name."""
        for key, value in self._data.items():
            if key not in self._known:
                meant = OTHER_NAMES.get(key.casefold())
                near = meant if meant in self._known else nearest(key, self._known)
                kind = "table" if isinstance(value, dict) else "key"
                known = ", ".join(sorted(set(self._known)))
                mend = f"did you mean {near}?" if near else f"use one of: {known}"
                what = f"is not a {kind} that Kerfcall knows"
                self.document.fault(what, "", self.path(shortened(cleaned(key)) or '""'), mend)


def one_of(options: Sequence[str]) -> str:
    """The options in quotes, joined for a sentence: "mm" or "in"."""
    quoted = [f'"{option}"' for option in options]
    return " or ".join((", ".join(quoted[:-1]), quoted[-1])) if len(quoted) > 1 else quoted[0]


def nearest(name: object, known: Iterable[str]) -> str | None:
    """The known name most like `name`, or None if none is like it."""
    folded = {k.casefold(): k for k in known}
    # Cut short, since the comparison takes time quadratic in the length.
    close = get_close_matches(str(name)[:MAX_TEXT].casefold(), list(folded), n=1, cutoff=0.6)
    return folded[close[0]] if close else None


def _with_unit(raw: object, unit: Unit) -> str:
    """A length as the user wrote it. Only a bare number gets the unit: a text may name its own."""
    return shown(raw) if isinstance(raw, str) else f"{shown(raw)} {unit}"


def _exact_number(raw: object) -> Fraction | None:
    """A TOML number as a fraction, within the limits that lengths have; None for anything else."""
    if isinstance(raw, bool):  # a bool is an int in Python
        return None
    if isinstance(raw, int):
        return Fraction(raw) if raw.bit_length() <= MAX_INTEGER_BITS else None
    if isinstance(raw, Decimal) and raw.is_finite():
        short = len(str(raw)) <= LONGEST_TEXT and abs(raw.adjusted()) <= GREATEST_EXPONENT
        return Fraction(raw) if short else None
    return None


def _number_text(value: Fraction) -> str:
    """A number as people write it: rounded to four decimals, without trailing zeros."""
    return format_number(value, 4).rstrip("0").rstrip(".")
