"""What `ready` checks in the installation: Python and the packages."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from assistant.health import BROKEN, LIMITED, WORKS, Finding, importable, pip

DISTRIBUTION = "kerfcall"
CORE = ("filelock", "numpy", "platformdirs")  # nothing can be cut without these; other parts report what they lack
EXTRAS = ("dxf", "page", "plots", "vosk")


def python(version: tuple[int, ...]) -> Finding:
    """Python itself: 3.11 to 3.13."""
    text = ".".join(str(part) for part in version)
    if (3, 11) <= version[:2] <= (3, 13):
        return Finding("python", WORKS, text)
    return Finding("python", BROKEN, f"{text}; Kerfcall needs 3.11 to 3.13", "install Python 3.11, 3.12 or 3.13")


def declared() -> list[str]:
    """The requirements of Kerfcall's own package; [] where it runs without being installed."""
    from importlib import metadata

    try:
        return metadata.requires(DISTRIBUTION) or []
    except metadata.PackageNotFoundError:
        return []


def installed(name: str) -> str | None:
    """The version of an installed package, or None."""
    from importlib import metadata

    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return None


def packages(
    declared: Callable[[], Sequence[str]] = declared, installed: Callable[[str], str | None] = installed
) -> Finding:
    """Which packages are missing or have the wrong version, and the command that installs them."""
    missing = [name for name in CORE if installed(name) is None]
    if missing:
        return Finding("packages", BROKEN, f"missing: {', '.join(missing)}", pip(*missing), {"missing": missing})
    # A package removed by hand leaves its metadata behind.
    halved = [name for name in CORE if not importable(name)]
    if halved:
        text = f"installed, but Python can't find them: {', '.join(halved)}"
        return Finding("packages", BROKEN, text, pip("--force-reinstall", *halved), {"missing": halved})
    try:
        wanted = list(_wanted(declared()))
    except ImportError:
        text = "cutting has all it needs; without packaging, versions can't be compared"
        return Finding("packages", LIMITED, text, pip("packaging"))
    if not wanted:
        text = "cutting has all it needs; Kerfcall itself is not installed, so required versions are unknown"
        return Finding("packages", LIMITED, text, "python -m pip install -e . in Kerfcall's folder")
    return _compared(wanted, installed)


def _wanted(lines: Sequence[str]) -> Iterator[tuple[str, Any]]:
    """(extra or "", requirement) for each that applies to this machine. Raises ImportError without packaging."""
    from packaging.requirements import Requirement

    for requirement in map(Requirement, lines):
        of = re.findall(r"extra == ['\"]([^'\"]+)", str(requirement.marker or ""))
        extra = of[0] if of else ""
        if (not extra or extra in EXTRAS) and (not requirement.marker or requirement.marker.evaluate({"extra": extra})):
            yield extra, requirement


def _compared(wanted: Sequence[tuple[str, Any]], installed: Callable[[str], str | None]) -> Finding:
    versions = {requirement.name: installed(requirement.name) for _, requirement in wanted}
    own = [requirement for extra, requirement in wanted if not extra]
    missing = [one for one in own if versions[one.name] is None]
    wrong = [
        one
        for _, one in wanted
        # A pre-release that is there counts by its number; `contains` alone would refuse every one.
        if versions[one.name] is not None and not one.specifier.contains(versions[one.name], prereleases=True)
    ]
    extras = sorted({extra for extra, one in wanted if extra and versions[one.name] is not None})
    data = {
        "missing": [one.name for one in missing],
        "wrong_version": {one.name: versions[one.name] for one in wrong},
        "extras": extras,
    }
    if not missing and not wrong:
        there = f"all {len(own)}; of the extras: {', '.join(extras) or 'none'}"
        return Finding("packages", WORKS, there, "", data)
    faults = [f"missing: {', '.join(one.name for one in missing)}"] if missing else []
    faults += [f"{one.name} {versions[one.name]}, but {one.specifier} is needed" for one in wrong]
    state = BROKEN if any(one.name in CORE for one in wrong) else LIMITED
    mend = pip(*(f"{one.name}{one.specifier}" for one in (*missing, *wrong)))
    return Finding("packages", state, "; ".join(faults), mend, data)
