"""What a plan, a shop and the job built from both hold. Lengths: Fraction, mm."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

from assistant.joinery.halves import Half, whole
from assistant.joinery.layout import Remainder, StartsWith
from assistant.joinery.lined import Lining
from assistant.joinery.model import CLEAR_ABOVE, OVERLAP, OVERRUN, Blade, Carriage, Pattern
from assistant.joinery.settings import Reads
from assistant.joinery.sizes import SizeOf
from assistant.joinery.slots import Slot
from assistant.joinery.units import Unit

RUN_DOWN_S = 10.0
"""How long a blade is assumed to keep turning after it is switched off, s (common practice, no source)."""

TEST_BOARD = "Test board: "
"""How the title of a calibration's test board begins."""

TEST_JOINT = "Test joint: "
"""How the title of a test joint begins, before the title of its plan."""


class Layout(StrEnum):
    EVEN = "even"
    LISTED = "listed"
    SLOTS = "slots"
    LINED = "lined"


class FarHalf(StrEnum):
    """How what lies beyond the travel is cut."""

    DISTANCE_PIECE = "distance piece"
    OTHER_EDGE = "other edge"


class CutOrder(StrEnum):
    """In which order the setups of a stage are cut."""

    BY_PART = "by part"
    """End 1 of all copies and then end 2, piece after piece."""
    BY_BOARD = "by board"
    """Each board of the file, or each stack of it, with all that is cut into it."""


class Grain(StrEnum):
    """The growth rings as seen on a board's end."""

    FLAT = "flat"
    QUARTER = "quarter"
    MIXED = "mixed"


class RecogniserName(StrEnum):
    AUTO = "auto"
    MOONSHINE = "moonshine"
    VOSK = "vosk"
    POCKETSPHINX = "pocketsphinx"


class DenoiserName(StrEnum):
    AUTO = "auto"
    NONE = "none"
    SPECTRAL = "spectral"
    RNNOISE = "rnnoise"


class Endpoints(StrEnum):
    """Where an utterance begins and ends."""

    AUTO = "auto"
    LEVEL = "level"
    SPEECH = "speech"


class Acceptance(StrEnum):
    """How hard it is to accept a phrase."""

    USUAL = "usual"
    STRICT = "strict"


@dataclass(frozen=True, slots=True)
class Repeat:
    """`repeat = {from, to, times}`: entries from..to of `widths` (counted from 1, inclusive), `times` in all."""

    first: int
    last: int
    times: int


@dataclass(frozen=True, slots=True)
class JointPlan:
    """The [joint] table. clearance: socket minus finger, mm.

    A lined joint is laid out by `finger`, like an even joint, or by `widths`, like a listed one. come_down: sockets of
    part A, from 1, that the carriage approaches from above: on a test board, to measure its play.
    """

    layout: Layout
    finger: Fraction | None = None
    starts_with: StartsWith = StartsWith.FINGER
    remainder: Remainder = Remainder.FAR_EDGE
    widths: tuple[Fraction, ...] = ()
    repeat: Repeat | None = None
    mirror: bool = False
    clearance: Fraction = Fraction(1, 10)
    sand_allowance: Fraction = Fraction(3, 10)
    come_down: tuple[int, ...] = ()
    far_half: FarHalf = FarHalf.DISTANCE_PIECE

    @property
    def slotted(self) -> bool:
        """Whether slots are cut across a face of one part, and nothing into ends."""
        return self.layout == Layout.SLOTS


@dataclass(frozen=True, slots=True)
class BoardPlan:
    """One [[boards]] entry: `count` equal boards, jointed on `ends` (1 or 2), cut `stack` at a time."""

    name: str
    part: str
    count: int = 1
    ends: int = 1
    stack: int = 1


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """The [uncertainty] table: standard uncertainties, mm, >= 0; None if not given.

    out_of_square: blade tilt and carriage error together, degrees, as measured with a square, not a statistic.
    """

    setting: Fraction | None = None
    kerf: Fraction | None = None
    reference: Fraction | None = None
    out_of_square: Fraction | None = None


@dataclass(frozen=True, slots=True)
class BoardWood:
    """The wood of one part. species: as the user wrote it."""

    species: str | None = None
    grain: Grain = Grain.FLAT


@dataclass(frozen=True, slots=True)
class Air:
    """Temperature (degrees C) and relative humidity (percent), or the wood's own moisture (percent) from a meter."""

    temperature_c: float | None = None
    humidity: float | None = None
    moisture: float | None = None


@dataclass(frozen=True, slots=True)
class Climate:
    """The [climate] table, by part ("A", "B"): the air where the boards are cut, and where they are glued up."""

    cutting: dict[str, Air]
    glue_up: dict[str, Air]


@dataclass(frozen=True, slots=True)
class BoxSize:
    """The [size] table. figures: length along part A, along part B, height; mm."""

    kind: SizeOf
    figures: tuple[Fraction, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole plan file. thickness: per part ("A", "B"). digest: SHA-256 of the file's bytes, hex.

    slot_height: wood above the saw's table where slots are cut, None for the board's thickness. lining: of a lined
    joint. size: of the box, to work out board lengths from. woods: by part. measured_widths: of every board, where the
    far half is cut from the other edge.
    """

    title: str
    unit: Unit
    width: Fraction
    thickness: dict[str, Fraction]
    joint: JointPlan
    boards: tuple[BoardPlan, ...]
    species: str | None = None
    digest: str = ""
    path: str = ""
    uncertainty: Uncertainty | None = None
    slots: tuple[Slot, ...] = ()
    slot_height: Fraction | None = None
    lining: Lining | None = None
    lining_species: str | None = None
    size: BoxSize | None = None
    woods: dict[str, BoardWood] = field(default_factory=dict)
    climate: Climate | None = None
    order: CutOrder = CutOrder.BY_PART
    measured_widths: tuple[Fraction, ...] = ()


@dataclass(frozen=True, slots=True)
class PedalSettings:
    """The [pedal] table. device: the pedal's own, which is then read alone; "auto" and "display" name none."""

    key: str = "page_down"
    long_press_s: float = 0.8
    double_tap_s: float = 0.35
    pass_takes_s: float = 4.0
    device: str = "auto"


@dataclass(frozen=True, slots=True)
class PageSettings:
    """The [page] table. may_record_cuts: a long press on the bench page may record the pass called as cut."""

    may_record_cuts: bool = False


@dataclass(frozen=True, slots=True)
class VoiceSettings:
    """The [voice] table. speech_rate: words a minute. model: path of a vosk model folder, or None.

    language: the operator's. phrases: intent and all its wordings, if the shop file has its own. pronunciations: word
    and its phones, as CMUdict writes them, for the embedded recogniser. loudspeaker: the output's name or a part of it,
    "" for the system's default. tone: whether notes sound, before a prompt that needs an answer and after speech that
    had no effect. loudness: at the start, dB relative to the voice as it is rendered, -12 to 6.
    """

    language: str = "en"
    lead_in: str = "marigold"
    recogniser: RecogniserName = RecogniserName.AUTO
    reads: Reads = Reads.DIGITS
    speech_rate: int = 175
    model: str | None = None
    phrases: tuple[tuple[str, tuple[str, ...]], ...] = ()
    pronunciations: tuple[tuple[str, str], ...] = ()
    denoiser: DenoiserName = DenoiserName.AUTO
    endpoints: Endpoints = Endpoints.AUTO
    acceptance: Acceptance = Acceptance.USUAL
    loudspeaker: str = ""
    loudness: int = 0
    tone: bool = True


class When(StrEnum):
    """When a check is asked: at the start, and again when this has changed since it was confirmed."""

    SESSION = "session"
    SETUP = "setup"
    DEPTH = "depth"
    PART = "part"
    STAGE = "stage"
    """Before each stage except the first."""
    EVERY = "every"
    """After a given number of passes."""
    SETUP_END = "setup end"
    """After the last pass of a setup."""
    PIECE = "distance piece"
    """Where the distance piece has been put to the stop or taken out."""
    STANDING_BY = "standing by"
    """Only before carrying on after standing by."""
    LEAVING = "leaving"
    """Only before a board is taken out that isn't all cut."""


@dataclass(frozen=True, slots=True)
class Check:
    """Something the operator confirms before cutting, or after a setup is cut.

    name: as journalled. say: the question, with {lowest}, {highest}, {depth}, {above}, {sockets} filled in when
    spoken. answer: the phrase that confirms it, in lower-case words without the lead-in word. every:
    passes between confirmations if `when` is EVERY, else 0.
    """

    name: str
    say: str
    answer: str
    when: When
    every: int = 0


@dataclass(frozen=True, slots=True)
class Shop:
    """A whole shop file. checks: those in effect for any job on this machine, in order. run_down_s: as in `Job`."""

    unit: Unit
    blade: Blade
    carriage: Carriage
    pedal: PedalSettings = field(default_factory=PedalSettings)
    voice: VoiceSettings = field(default_factory=VoiceSettings)
    checks: tuple[Check, ...] = ()
    path: str = ""
    page: PageSettings = field(default_factory=PageSettings)
    run_down_s: float = RUN_DOWN_S


@dataclass(frozen=True, slots=True)
class Setup:
    """One board end, or a stack of them, clamped once and cut.

    number: from 1 through all stages, for good: what joins the job later gets the next numbers. stage: from 1. board:
    its name in the plan. end: 1 or 2. copies: boards clamped together. first_copy: the first one's number among the
    plan entry's boards, from 1. pattern: index into the job's patterns. part: as called aloud: "A", "B", "A blank".
    half: which half of the end is cut, if the board is wider than the travel.
    """

    number: int
    stage: int
    board: str
    part: str
    end: int
    copies: int
    first_copy: int
    pattern: int
    half: Half = field(default=Half.NONE, repr=False)


@dataclass(frozen=True, slots=True)
class Job:
    """Everything a session needs, stored whole with it, so that no upgrade can change the cuts of a half-cut board.

    greatest_error: largest |rounded - exact| setting, mm. worst_clearance: clearance left at the worst rounding, mm.
    stages: their names in order. checks: in effect for this job, in order. order: the setups' numbers in the order of
    cutting, without those that others have replaced. run_down_s: how long the blade keeps turning after it is switched
    off. clear_above, overlap, overrun, highest: as in `joinery.model.Blade`, mm; the last one None if not known.
    shop_path: of the shop file, "" if not known. kerf: of the blade on the saw now; a setup that another one began, or
    this one before its kerf was measured again, may have been laid out for another. blade_since, kerf_since: how many
    setups, and how many patterns, there were when this blade was put on, and when the kerf last changed; 0 if they
    never did.
    """

    title: str
    plan_digest: str
    kerf: Fraction
    clearance: Fraction
    assumed_kerf: Fraction
    warnings: tuple[str, ...]
    checks: tuple[Check, ...]
    stages: tuple[str, ...]
    patterns: tuple[Pattern, ...]
    setups: tuple[Setup, ...]
    # Not in its repr, in which older journals' jobs were written down.
    order: tuple[int, ...] = field(repr=False)
    carriage: Carriage
    pedal: PedalSettings
    voice: VoiceSettings
    greatest_error: Fraction
    worst_clearance: Fraction
    layout: Layout = Layout.EVEN
    page: PageSettings = field(default_factory=PageSettings)
    run_down_s: float = RUN_DOWN_S
    clear_above: Fraction = CLEAR_ABOVE
    shop_path: str = field(default="", repr=False)
    overlap: Fraction = field(default=OVERLAP, repr=False)
    overrun: Fraction = field(default=OVERRUN, repr=False)
    highest: Fraction | None = field(default=None, repr=False)
    blade_since: int = field(default=0, repr=False)
    kerf_since: int = field(default=0, repr=False)

    def pattern_of(self, setup_number: int) -> Pattern:
        """The pattern of setup `setup_number` (from 1)."""
        return self.patterns[self.setups[setup_number - 1].pattern]

    def is_turned(self, setup_number: int) -> bool:
        """Whether the board of this setup is turned over, to stand on its other end; a slotted board never is."""
        setup = self.setups[setup_number - 1]
        first_of_the_end = setup.half in (Half.NONE, Half.PIECE_IN)
        return setup.end == 2 and first_of_the_end and not self.slotted

    @property
    def slotted(self) -> bool:
        """As of its plan's joint."""
        return self.layout == Layout.SLOTS

    @property
    def ends(self) -> tuple[Pattern, ...]:
        """What is cut into each kind of end, in all its clampings together."""
        seconds = {each.pattern for each in self.setups if each.half.is_second}
        of_order = {self.setups[number - 1].pattern for number in self.order}
        replaced = {each.pattern for each in self.setups} - of_order
        # The second half of an end follows its first one.
        lasts = (n for n in range(len(self.patterns)) if n + 1 not in seconds and n not in replaced)
        return tuple(whole(self.patterns[n], self.carriage) for n in lasts)

    @property
    def blade(self) -> Blade:
        """The blade on the saw, as far as the passes depend on it."""
        return Blade(self.kerf, self.overlap, self.overrun)

    @property
    def total_passes(self) -> int:
        return self.passes_without(())

    def passes_without(self, spoilt: Collection[int]) -> int:
        """How many passes there are in all setups but these, and but those that others have replaced."""
        return sum(len(self.pattern_of(number).passes) for number in self.order if number not in spoilt)
