"""The inputs as the page shows them: microphone, pedal, keys, and where a driven carriage is."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from assistant.runner.contracts import PedalInput, VoiceInput
from assistant.screens.view_cells import BOLD, REVERSE, cut_to
from assistant.screens.view_regions import Pane
from assistant.screens.view_sight import Sight
from assistant.screens.view_words import GAP, key_hint

METER_CELLS = 12
METER_FROM, METER_TO = -70.0, -10.0  # dBFS: a quiet room, and speech close to clipping
SILENT = -85.0  # dBFS: no microphone with its gain up is so quiet


@dataclass(frozen=True, slots=True)
class Gauges:
    """level: of the microphone, in cells of the meter; None: no sound.

    silent: so quiet that it must be muted. down: the pedal's key is pressed. keys: whether the terminal's keys are
    read. position: where a driven carriage is while it moves, mm; None where nobody knows.
    """

    voice: VoiceInput = VoiceInput.OFF
    level: int | None = None
    silent: bool = False
    pedal: PedalInput = PedalInput.OFF
    down: bool = False
    keys: bool = True
    position: Fraction | None = None


def gauges_of(
    voice: VoiceInput,
    level: float | None,
    pedal: PedalInput,
    down: bool,
    keys: bool = True,
    position: Fraction | None = None,
) -> Gauges:
    """The gauges for these inputs. level: of the microphone, dBFS; None if it gives no sound."""
    if level is None:
        return Gauges(voice, None, False, pedal, down, keys, position)
    share = (level - METER_FROM) / (METER_TO - METER_FROM)
    cells = min(max(round(share * METER_CELLS), 0), METER_CELLS)
    return Gauges(voice, cells, level <= SILENT, pedal, down, keys, position)


def draw_inputs(pane: Pane, gauges: Gauges, sight: Sight) -> None:
    """What is heard, and the last thing done by foot or key."""
    hint = key_hint(sight.view) if sight.view is not None else ""
    keys = f" {GAP.join(filter(None, [hint, '?: keys']))} " if gauges.keys else ""
    end = pane.columns - len(keys)
    at = pane.put(0, 1, f"mic {_microphone(gauges, sight.speaking)}")
    pedal = "DOWN " if gauges.down else "heard"
    if gauges.pedal != PedalInput.HEARD:
        pedal = f"{gauges.pedal}{': keys' if gauges.keys else ''}"
    at = pane.put(0, at + 3, f"pedal {pedal}", BOLD | REVERSE if gauges.down else 0)
    given = sight.hands.given
    if gauges.pedal == PedalInput.HEARD:  # the row is full at 80 columns, and the pedal has just been named
        given = given.removeprefix("pedal ")
    if given:
        pane.put(0, at + 3, cut_to(f"{given} -> {sight.hands.made}", max(0, end - at - 3)))
    pane.put(0, max(0, end), keys)


def _microphone(gauges: Gauges, speaking: bool) -> str:
    if gauges.voice != VoiceInput.WORKS:
        return gauges.voice
    if gauges.level is None:
        return "no sound"
    if gauges.silent:
        return f"{'SILENT: muted?':{METER_CELLS}}"
    bar = "█" * gauges.level + "░" * (METER_CELLS - gauges.level)
    return f"{bar} {'waits' if speaking else 'open '}"
