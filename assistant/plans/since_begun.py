"""What isn't any more as it was when a session was begun, as notes for whoever goes back to it."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

from assistant.errors import BadInput
from assistant.plans.intents import Intent
from assistant.plans.languages import language_of
from assistant.plans.model import Job
from assistant.plans.own_phrases import sayable
from assistant.plans.shop_changes import changed
from assistant.plans.shop_file import default_shop_path, try_shop


def plan_changes(path: Path, digest: str) -> tuple[str, ...]:
    """A note if the plan file is gone or has changed. The session keeps its own copy of the plan in any case.

    path, digest: of the plan file when the session was begun.
    """
    try:
        now = hashlib.sha256(path.read_bytes()).hexdigest()
    except (OSError, ValueError):  # ValueError: a damaged journal can hold what is no file name at all
        return (f"The plan file {path.name} is gone. The session goes on with its own copy.",)
    if now != digest:
        return (f"The plan file {path.name} has changed since. The session goes on with its own copy.",)
    return ()


def shop_changes(job: Job, named: Path | None) -> tuple[str, ...]:
    """A note if the shop file is gone or has changed. The session keeps its own blade and carriage in any case.

    named: the file to compare with. None: the file that the session was started with or, where that isn't known, the
    user's own. Raises BadInput with every fault of a file that was named.
    """
    path = named or (Path(job.shop_path) if job.shop_path else default_shop_path())
    shop, faults = try_shop(path)
    if shop is not None:
        if not (lines := changed(job, shop)):
            return ()
        return (
            f"The shop file {path.name} has changed since: {'; '.join(lines)}. The session goes on with the old "
            "figures. They are right only for the blade and the carriage that it was started with.",
        )
    if named is not None:
        raise BadInput(faults)
    if not job.shop_path:
        return ()
    what = "can no longer be read" if path.exists() else "is gone"
    return (f"The shop file {path.name} {what}. The session goes on with its own figures.",)


def phrases_left_out(job: Job) -> tuple[str, ...]:
    """A line for each of the session's own phrases that isn't listened for, with what to say instead.

    Each could be taken for another phrase. A session keeps its own copy of the phrases, so a change in the shop file
    doesn't reach it: refusing to resume would lock a half-cut board away.
    """
    voice, lines = job.voice, []
    safe = sayable(voice, job.checks)
    for one in safe.left_out:
        check = one.intent == Intent.CHECK
        wording = safe.answers.get(one.meaning) if check else safe.phrases[one.intent][0]
        led = check or one.intent in language_of(voice.language).led
        instead = f'Say "{voice.lead_in} {wording}".' if led else f'Say "{wording}".'
        lines.append(
            f'"{one.text}" for {one.meaning} is not listened for: it sounds too much like "{one.rival}" for {one.of}. '
            + (instead if wording else "Confirm it with a long press.")
        )
    return tuple(lines)


def with_drive_of_today(job: Job, named: Path | None) -> Job:
    """The job with its own drive at the port that the shop file names now; without one where it had none.

    A port can have another name after a restart, and moves no cut. With another blade zero lies elsewhere, which the
    reading at the home switch accounts for, so that is today's too. Everything else of the drive stays as stored.
    named: as for `shop_changes`.
    """
    if job.carriage.drive is None:
        return job
    path = named or (Path(job.shop_path) if job.shop_path else default_shop_path())
    shop, _ = try_shop(path)
    now = shop.carriage.drive if shop else None
    drive = replace(job.carriage.drive, port=now.port) if now else job.carriage.drive
    if now and job.blade_since:
        drive = replace(drive, home_reads=now.home_reads)
    return replace(job, carriage=replace(job.carriage, drive=drive))
