"""Hears a recording from end to end, in the same kind of child as a session's sound."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from assistant.errors import BadInput, CouldNotRun
from assistant.hearing.child import Spec
from assistant.hearing.contract import unknown_faults
from assistant.hearing.ear import Found
from assistant.hearing.messages import FromChild, ToChild
from assistant.hearing.process import ChildDied, ChildProcess
from assistant.wording.phrases import Phrase

CHUNK = 32_000  # bytes: 1 s
ANSWER_S, LONGEST_ANSWER_S = 60.0, 600.0  # how long one chunk can take: without moving, and in all


def hear_all(
    pcm16k: bytes, phrases: Sequence[Phrase], spec: Spec, progress: Callable[[float], None] = lambda share: None
) -> list[Found]:
    """Every utterance of the recording. Raises BadInput for unknown words, CouldNotRun when the child fails.

    progress: called after each second of sound with the share heard so far, 0 to 1.
    """
    child = ChildProcess(spec)
    try:
        return list(_conversation(child, pcm16k, phrases, progress))
    except ChildDied as error:
        raise CouldNotRun(f"the recogniser {spec.recogniser} broke down on this recording") from error
    finally:
        child.close()


def _conversation(
    child: ChildProcess, pcm16k: bytes, phrases: Sequence[Phrase], progress: Callable[[float], None]
) -> Iterator[Found]:
    ready = child.ready()
    if ready[0] != FromChild.READY:
        raise CouldNotRun(f"the recogniser can't be started: {ready[1]}")
    yield from _ask(child, ToChild.LISTEN, tuple(phrases), 0)
    for start in range(0, len(pcm16k), CHUNK):
        yield from _ask(child, ToChild.AUDIO, pcm16k[start : start + CHUNK])
        progress(min(1.0, (start + CHUNK) / len(pcm16k)))
    yield from _ask(child, ToChild.FLUSH)


def _ask(child: ChildProcess, *message: object) -> Iterator[Found]:
    child.send(*message)
    while (answer := child.answer(ANSWER_S, LONGEST_ANSWER_S)) is not None:
        match answer:
            case (FromChild.DONE,):
                return
            case (FromChild.FOUND, found, _):
                yield from found
            case (FromChild.REFUSED, refused):
                raise BadInput(unknown_faults(refused))
    raise ChildDied
