"""A witness of what was announced: whatever is recorded or confirmed had gone out before the press began.

It knows nothing of `state.opening` and `session/announced.py`. It keeps its own account of what was last asked or
called, from what was handed over and when, and holds every answer that counted against that. It is on in every test:
`tests/conftest.py` lets it watch each runner of the test process, `tests/witnessed/` those of the processes that a test
starts, `tests/session/driver.py` its own session, and `tests/session/test_rules.py` every path of its walk.
"""

from __future__ import annotations

import functools
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from types import ModuleType
from typing import Any

from assistant.plans.model import Job
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.events import (
    Answer,
    Displayed,
    Event,
    Homed,
    Looked,
    Resume,
    SpeechEnded,
    SpeechStarted,
    Start,
    TimePassed,
)

FIRST_WORDS_S = 1.2
"""Of a check or a question this much must have been heard. A rule of the shop, kept here a second time."""
READING_S = 1.2
"""For this long a screen must have shown what the voice could not say. Kept here a second time, too."""

FILE_VARIABLE = "KERFCALL_WITNESS_FILE"
"""Names the file in which a process that a test started leaves what its witness objects to."""
EXIT_CODE = 86
"""What such a process ends with then."""

Thing = tuple[object, ...]
CHANGES = (f.SetupReopened, f.BoardSpoilt, f.JobExtended, f.BoardChosen)
OF_A_VERDICT = (f.KerfMisplaced, f.SteppedBack, f.DepthSet, f.Jumped, *CHANGES)
"""What one answer to the last question about a mishap may make, all of it at once."""
BOTH_WAYS = ("ask sure", "ask which", "ask side", "ask lowered", "ask touched")
"""Questions to which no is as good an answer as yes: neither counts unheard."""


def _of_a_mishap(asked: Thing | None) -> bool:
    """Its mishap and figure are part of such a question."""
    return asked is not None and asked[0] != "setting" and len(asked) == 5


class Unannounced(AssertionError):
    """Something counted that nobody had been asked or shown."""


@dataclass
class Witness:
    """job: of a session that was resumed; of a new one it is learnt. Times are session times, s.

    now: what was last asked or called, None when that has been answered. out_at: when all of it had been handed over.
    known_from: since when it had been heard or read, None while it hadn't. carrier: the announcement that says it.
    looked_for: when the answer began for which a fresh look at the sled was asked for.
    """

    job: Job | None = None
    live: bool = False
    setup: int = 0
    now: Thing | None = None
    out_at: float | None = None
    known_from: float | None = None
    carrier: str = ""
    generation: int = 0
    failed: bool = False
    shown_at: float | None = None
    looked_for: float = 0.0

    def copy(self) -> Witness:
        """As `replace` makes it, in a tenth of the time: a walk needs one for each step."""
        other = object.__new__(Witness)
        other.__dict__.update(self.__dict__)
        return other

    def turn(self, event: Event, facts: Sequence[f.Fact], effects: Sequence[e.Effect]) -> None:
        """One turn: its event, the facts that went into the journal, what was handed over.

        Raises: Unannounced.
        """
        if isinstance(event, Start | Resume):
            self.live, self.now = event.hear_out, None
        self._hear(event)
        since = getattr(event, "since", event.at)
        if isinstance(event, Looked):
            since = self.looked_for
        elif any(isinstance(effect, e.Look) for effect in effects):
            self.looked_for = since
        # The same press takes it on from the home switch, and a pass that counts from one setting to the next.
        goes_on = isinstance(event, Homed) or any(isinstance(fact, f.PassCut) for fact in facts)
        # One answer makes all the changes of a job that follow from it.
        of_one_answer = OF_A_VERDICT if self._asks("ask verdict") else CHANGES
        follow = [fact for fact in facts if isinstance(fact, of_one_answer)][1:]
        # Whoever is back is asked two things, and goes on with the second answer.
        follow += [fact for fact in facts if isinstance(fact, f.CarriedOn) and self._asks("ask touched")]
        # What was taken back, or that nothing is cut, may be the last that had to be known of the cuts.
        last = [fact for fact in facts if isinstance(fact, f.WentWrong | f.SteppedBack)]
        follow += [fact for fact in facts if isinstance(fact, f.CutsSure) and last]
        asked, out_at, known_from = self.now, self.out_at, self.known_from
        for fact in facts:
            if isinstance(fact, f.JobExtended) and self.job is not None:
                self.job = fact.extend(self.job)
            if fact not in follow and not (goes_on and isinstance(fact, f.MoveAsked)):
                self._fact(fact, since)
        self._announced(effects, event.at)
        left = any(isinstance(fact, f.StoodBy) for fact in facts)
        if isinstance(event, TimePassed) and _of_a_mishap(asked) and self.now != asked:
            raise Unannounced(f"{asked} was answered by a silence")
        both_ways = asked is not None and (asked[0] in BOTH_WAYS or (asked[0] == "ask spoilt" and _of_a_mishap(asked)))
        answers = isinstance(event, Answer) and not left and both_ways
        if answers and self.now not in (None, asked):
            assert asked is not None
            self._counts(f"{asked[0]}, gone on from, to {self.now}", asked, since, out_at, known_from)

    def _asks(self, name: str) -> bool:
        return self.now is not None and self.now[0] == name

    def out(self, at: float) -> None:
        """The turn's effects have all been handed over."""
        if self.out_at is None:
            self.out_at = at

    # --- what was heard and seen of an announcement

    def _hear(self, event: Event) -> None:
        if isinstance(event, Displayed) and event.generation == self.generation and self.shown_at is None:
            self.shown_at = event.at
            self._read()
        if not isinstance(event, SpeechStarted | SpeechEnded) or event.id != self.carrier or self._is_known(event.at):
            return
        if isinstance(event, SpeechStarted):
            if self.now and self.now[0] not in ("setting", "move"):
                self.known_from = event.at + FIRST_WORDS_S
        elif event.how == "whole":
            self.known_from = event.at
        else:
            self.known_from = None
            self.failed = event.how == "failed"
            self._read()

    def _is_known(self, at: float) -> bool:
        return self.known_from is not None and self.known_from <= at

    def _read(self) -> None:
        if self.failed and self.shown_at is not None:
            self.known_from = self.shown_at + READING_S

    # --- what was announced

    def _announced(self, effects: Sequence[e.Effect], at: float) -> None:
        generations, said = [], []
        for effect in effects:
            if isinstance(effect, e.Listen):
                generations.append(effect.generation)
            elif isinstance(effect, e.Say) and (thing := self._thing(effect)):
                said.append((thing, effect.id))
        if generations or (said and said[-1][0] != self.now):
            self.now = self.out_at = self.known_from = self.shown_at = None
            self.generation = generations[-1] if generations else 0
        if said:
            self.now, self.carrier = said[-1]
            self.failed = False
            if not self._is_known(at):
                self.known_from = None

    def _thing(self, say: e.Say) -> Thing | None:
        """What this announcement asks for or calls, if anything."""
        for prompt in reversed(say.prompts):
            figures = dict(prompt.figures)
            match prompt.key:
                case "check":
                    return "check", self.setup, figures["name"]
                case "setting" | "setting in full" | "setting reached":
                    return "setting", self.setup, figures["pass_"], Fraction(figures["setting"])
                case "move":
                    return "move", figures["what"], figures["to"]
                case "standing by":
                    return ("standing by",)
                case key if key.startswith("ask "):
                    of_a_mishap = ("mishap", "figure") if "mishap" in figures else ()
                    return key, figures["setup"], figures["pass_"], *(figures[name] for name in of_a_mishap)
        return None

    # --- what counted

    def _fact(self, fact: f.Fact, since: float) -> None:
        match fact:
            case f.Started(job):
                self.job, self.setup = job, 0
            case f.SetupStarted(setup) | f.Resumed(setup):
                self.setup = setup
            case f.CheckConfirmed(setup, check):
                self._answers(fact, since, "check", setup, check)
            case f.PassCut(setup, pass_):
                assert self.job is not None, "there is a job before a pass of it is cut"
                setting = self.job.pattern_of(setup).passes[pass_ - 1].setting
                self._answers(fact, since, "setting", setup, pass_, setting)
            case f.CarriedOn():
                self._answers(fact, since, "standing by")
            case f.WentWrong(setup, pass_, mishap):
                self._answers(fact, since, "ask safe", setup, pass_, mishap)
            case f.CutsSure(setup):
                self._answers(fact, since, "ask sure", setup)
            case f.OldBladeBack():
                self._answers(fact, since, "ask old blade")
            case f.CameBack(setup):
                self._answers(fact, since, "ask touched", setup)
            case f.KerfMisplaced(setup, pass_):
                self._answers(fact, since, "ask verdict", setup, pass_, "wrong place")
            case f.DepthSet():
                self._answers(fact, since, "ask verdict")
            case f.SteppedBack(setup, pass_):
                self._answers(fact, since, "ask sure" if self._asks("ask sure") else "ask back", setup, pass_)
                self.setup = setup
            case f.Jumped(setup, pass_) if self._asks("ask verdict"):
                assert self.now is not None
                self._answers(fact, since, "ask verdict", setup, self.now[2], "missed", pass_)
            case f.Jumped(setup, pass_):
                self._answers(fact, since, "ask go to", setup, pass_)
            case f.EndedEarly(setup, pass_):
                self._answers(fact, since, "ask end", setup, pass_)
            case f.MoveAsked():
                self._answers(fact, since, "ask move" if self.now and self.now[0] == "ask move" else "move")
            case f.SetupReopened() | f.BoardChosen() | f.JobExtended() if self._asks("ask verdict"):
                self._answers(fact, since, "ask verdict")
            case f.BoardSpoilt(setups) if self._asks("ask which"):
                assert self.now is not None and self.now[1] in setups, "the board that was asked about is spoilt"
                self._answers(fact, since, "ask which", self.now[1], 0, "wrong pattern")
            case f.SetupReopened() | f.BoardChosen() | f.JobExtended() if self._asks("ask which"):
                assert self.now is not None
                self._answers(fact, since, "ask which", self.now[1], 0, "wrong pattern")
            case f.JobExtended(why=why):
                self._answers(fact, since, f"ask {why}")
            case f.SetupReopened(socket=socket):
                self._answers(fact, since, "ask socket" if socket else "ask cut off")
            case f.BoardSpoilt():
                self._answers(fact, since, "ask spoilt")
            case f.BoardChosen():
                self._answers(fact, since, "ask board")
            case f.Reregistered(setup):
                self._answers(fact, since, "ask registered", setup)

    def _answers(self, fact: f.Fact, since: float, *asked: object) -> None:
        """The fact came from an answer to what was asked; that is used up by it."""
        counted = f"{fact.kind} counted, from an answer that began at {since:g} s"
        name = ", ".join(str(part) for part in asked)
        if self.now is None or self.now[: len(asked)] != asked:
            now = "nothing" if self.now is None else ", ".join(str(part) for part in self.now)
            raise Unannounced(f"{counted}, but {name} was not what was announced last: {now}")
        self._counts(counted, asked, since, self.out_at, self.known_from)
        self.now = None

    def _counts(self, what: str, asked: Thing, since: float, out_at: float | None, known_from: float | None) -> None:
        name = ", ".join(str(part) for part in asked)
        if out_at is None or since < out_at:
            raise Unannounced(f"{what}, but {name} went out at {out_at} s")
        if self.live and asked != ("standing by",) and (known_from is None or since < known_from):
            raise Unannounced(f"{what}, but {name} had been heard or read at {known_from} s")


# --- on every runner of a process

OBJECTIONS: list[str] = []
"""What witnesses in this process objected to."""


def taken() -> list[str]:
    """Every objection so far, of this process and of those that it started, and no longer kept."""
    file = Path(os.environ[FILE_VARIABLE])
    found = OBJECTIONS + (file.read_text(encoding="utf-8").splitlines() if file.exists() else [])
    OBJECTIONS.clear()
    file.unlink(missing_ok=True)
    return found


def object_here(text: str) -> None:
    """Fail at once, and be remembered for the end of the test, where this may be caught."""
    OBJECTIONS.append(text)
    raise Unannounced(text)


def object_in_file(text: str) -> None:
    """Leave word for the test that started this process, and end it."""
    with Path(os.environ[FILE_VARIABLE]).open("a", encoding="utf-8") as file:
        file.write(text + "\n")
    os._exit(EXIT_CODE)


def watch_runners(loop: ModuleType, objecting: Callable[[str], None]) -> None:
    """From now on a witness sees every turn of every runner. loop: `assistant.runner.loop`."""
    runner: Any = loop.Runner
    begin, turn, run = runner.__init__, runner._one_turn, runner._run

    @functools.wraps(begin)
    def beginning(self: Any, commit: Any, outputs: Any, clock: Any, state: Any = None) -> None:
        def committing(records: Sequence[f.Record]) -> None:
            commit(records)
            self.seen_facts += [record.fact for record in records]

        self.witness = Witness(state.job if state else None)
        self.seen_facts, self.seen_effects = [], []
        begin(self, committing, outputs, clock, state)

    @functools.wraps(turn)
    def turning(self: Any, event: Event) -> None:
        self.seen_facts, self.seen_effects = [], []
        turn(self, event)
        try:
            self.witness.turn(event, self.seen_facts, self.seen_effects)
        except Unannounced as objection:
            objecting(str(objection))
        self.witness.out(self.clock.at())

    @functools.wraps(run)
    def running(self: Any, effect: e.Effect) -> None:
        self.seen_effects.append(effect)
        run(self, effect)

    runner.__init__, runner._one_turn, runner._run = beginning, turning, running
