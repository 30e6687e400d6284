"""Checks that the voice reports on each announcement within seconds. A voice that hangs can't report that itself."""

from __future__ import annotations

from assistant.session.events import NOTE

VERDICT_S = 4.0
"""If the next announcement doesn't begin, end or fail within this time, the voice is lost. If pieces of it are still
being made, the voice is only slow.

With `runner.live.TICK_S` and a busy moment, the screens show a lost voice within 5 s."""
LONGEST_S = 120.0
"""No announcement takes longer to make or to speak: the longest takes 25 s at the usual pace, and the slowest pace is
half as fast."""
LOST = f"The voice has not responded for {VERDICT_S:g} s: announcements are on the screen only."
SLOW = f"The voice is slow here: it has been preparing an announcement for {VERDICT_S:g} s and has not finished."
BACK = "The voice works again."


class VoiceWatch:
    """Keeps track of what the speaker was given and what it reported. Times are session times, s.

    lost: no report on an announcement came in time, and nothing has begun to sound since.
    """

    def __init__(self) -> None:
        self.lost = False
        self._owed: dict[str, None] = {}
        self._sounding: set[str] = set()
        self._sign_at = self._made_since = 0.0
        self._slow_said = False

    @property
    def sounding(self) -> bool:
        """Whether anything is being spoken."""
        return bool(self._sounding)

    def handed(self, id: str, at: float) -> None:
        # Only for the first that waits: others that follow must not put the verdict off.
        if not self._owed:
            self._sign_at = self._made_since = at
        self._owed[id] = None

    def moved(self, at: float) -> None:
        """The making of an announcement made progress at `at`."""
        # Not for ever: a voice may go in circles, and work on an announcement without an end.
        if not self._sounding and at <= self._made_since + LONGEST_S:
            self._sign_at = max(self._sign_at, at)

    def became_slow(self, at: float) -> bool:
        """Whether to report now that the voice is slow; only once."""
        if self._slow_said or not self._owed or self._sounding or at - self._made_since <= VERDICT_S:
            return False
        self._slow_said = True
        return True

    def started(self, id: str, at: float) -> bool:
        """Returns whether this is the first sign of a voice that was lost."""
        self._sounding.add(id)
        if id == NOTE:  # it needs a loudspeaker, but no voice
            return False
        self._sign_at = self._made_since = at
        back, self.lost = self.lost, False
        return back

    def ended(self, id: str, at: float) -> None:
        self._sounding.discard(id)
        self._owed.pop(id, None)
        if id != NOTE:
            self._sign_at = self._made_since = at

    def overdue(self, at: float) -> tuple[str, ...]:
        """The announcements given up now because no report came in time; the voice is then lost. Each is given once."""
        longest = LONGEST_S if self._sounding else VERDICT_S
        if not self._owed or at - self._sign_at <= longest:
            return ()
        given_up = tuple(self._owed)
        self._owed.clear()
        self._sounding.clear()
        self.lost = True
        return given_up
