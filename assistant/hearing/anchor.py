"""Works out when each sample of a live stream was spoken. Chunks arrive late and in bunches, but never early."""

from __future__ import annotations

from assistant.hearing.contract import RATE

DRIFT = 0.001  # s per second that a device's clock can run off the machine's
GAP_S = 0.2  # a chunk that is later than this means that sound was lost


class Anchor:
    """Maps sample counts to monotonic seconds, by the promptest chunks so far."""

    def __init__(self) -> None:
        self._zero: float | None = None
        self._last = 0

    def chunk(self, end_sample: int, arrived: float) -> None:
        """Takes note that a chunk ending before sample `end_sample` arrived at `arrived` (monotonic s)."""
        zero = arrived - end_sample / RATE
        if self._zero is None or zero - self._zero > GAP_S:
            self._zero = zero
        else:
            # If it only ever fell, it would fall ever further behind a device whose clock runs slow.
            self._zero = min(zero, self._zero + DRIFT * (end_sample - self._last) / RATE)
        self._last = end_sample

    def time_of(self, sample: int) -> float:
        """The monotonic time at which the sample was spoken, s. Needs one chunk first."""
        return (self._zero or 0.0) + sample / RATE

    def sample_at(self, moment: float) -> int:
        """The sample spoken at monotonic time `moment`, s."""
        return round((moment - (self._zero or 0.0)) * RATE) if self._zero is not None else 0
