"""What was learned about a pedal, in words: its key, how to write it in the shop file, and what the pedal does."""

from __future__ import annotations

from assistant.pedal.learn import LearnedKey
from assistant.pedal.names import MEND, Named
from assistant.plans.model import PedalSettings
from assistant.session.kinds import Press

AT_ONCE_S = 0.02  # if the longest of several presses is shorter, the pedal itself lets go, not the foot


def is_usable(key: Named) -> bool:
    """Whether the key can go into the shop file."""
    return (bool(key.device) or not key.types_text) and not key.modifier and key.written != "<0>"


def what_key(key: Named) -> str:
    """What the key is, and whether and how to write it in the shop file."""
    if key.device and not key.modifier:
        return (
            f"The pedal sends {key.written} from its own device. A session reads that device alone, so nothing "
            "is typed anywhere. Make sure that it is the pedal's device and not the keyboard's. "
            f'In the shop file:\n\n[pedal]\nkey = "{key.written}"\ndevice = "{key.device}"\n'
        )
    if key.types_text:
        return (
            f"The pedal sends {key.written!r}, a key that types or edits text. It is refused because every press would "
            f"also go to the window that has the focus. To fix it: {MEND}."
        )
    if key.written == "<0>":
        return (
            "The pedal sends a key without a code on this system, so it can't be distinguished from others. "
            f"To fix it: {MEND}."
        )
    return f'The pedal sends {key.written}. In the shop file:\n\n[pedal]\nkey = "{key.written}"\n'


def what_it_does(learned: LearnedKey, settings: PedalSettings) -> str:
    """How often it was pressed, which gestures that made, and what prevents the others."""
    presses, longest_s, gestures = learned.presses, learned.longest_down_s, learned.gestures
    counts = ", ".join(f"{gestures.count(press)} {press.shown}" for press in Press if press in gestures)
    words = [f"{presses} press{'es' if presses != 1 else ''}: {counts or 'no gesture finished'}."]
    if learned.repeats:
        words.append("It repeats while it is down; Kerfcall ignores that.")
    if longest_s is not None and longest_s < settings.long_press_s:
        words.append(f"Longest time down {longest_s:.2f} s. A long press takes {settings.long_press_s:g} s.")
    if longest_s is not None and longest_s < AT_ONCE_S and presses > 2:
        words.append("It lets go at once, however long you press it, so it can't make a long press. Say the phrases.")
    return " ".join(words)
