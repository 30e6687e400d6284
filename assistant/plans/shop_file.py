"""Reads the shop file, which holds everything that belongs to the machine.

Only the kerf has no default: it is never guessed.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from assistant.errors import BadInput, Fault
from assistant.joinery import settings
from assistant.joinery.model import Blade, Carriage, CarriageKind, Drive, HomeKind, Register, StopSide, Tooth, Zero
from assistant.joinery.units import MM_PER_UNIT, Unit, plain_length
from assistant.plans.checks import DEFAULT_CHECKS, read_checks
from assistant.plans.document import Document, cleaned, document_of_text, folder_of, read_document, shortened
from assistant.plans.examples import how_to_make
from assistant.plans.languages import Language, known_languages, language_of
from assistant.plans.model import (
    RUN_DOWN_S,
    Acceptance,
    Check,
    DenoiserName,
    Endpoints,
    PageSettings,
    PedalSettings,
    RecogniserName,
    Shop,
    VoiceSettings,
)
from assistant.plans.own_phrases import read_phrases, read_pronunciations, refuse_answers
from assistant.plans.pedal_keys import read_device, read_key
from assistant.plans.reader import Table
from assistant.plans.sayable import is_plain
from assistant.plans.voice_range import LOUDEST_DB, SOFTEST_DB

ZERO = Fraction(0)
INCH = MM_PER_UNIT[Unit.INCH]
# A wider kerf is a misplaced decimal point, not a blade or a dado stack.
WIDEST_KERF = Fraction(60)
# Less than the first is no margin above the blade, more than the second is a mistake (common practice, no source).
LEAST_CLEAR_ABOVE, MOST_CLEAR_ABOVE = Fraction(5), Fraction(200)
# Nobody pushes a board past a blade and draws it back in less: two taps so close would be one press that bounced.
SHORTEST_PASS_S = "1"
LEAST_LEAD_IN, MOST_LEAD_IN = 2, 20  # letters
_PORT = re.compile(r"usb:[0-9a-fA-F]{4}:[0-9a-fA-F]{4}(:[^:\s]{1,80})?|/[^\0]{1,190}|(?i:com)\d{1,3}")
KEYS_OF_KIND = {
    CarriageKind.READOUT: ("resolution",),
    CarriageKind.HANDWHEEL: ("pitch", "threads_per_inch", "divisions"),
    CarriageKind.STEPS: ("steps_per_mm",),
}


def default_shop_path() -> Path:
    """shop.toml in the user's kerfcall configuration folder."""
    from platformdirs import user_config_path

    return user_config_path("kerfcall") / "shop.toml"


def read_shop(path: Path | None) -> Shop:
    """Read a shop file; None: the user's own. Raises BadInput with every fault in it."""
    shop, faults = try_shop(path)
    if shop is None:
        raise BadInput(faults)
    return shop


def voice_and_checks(path: Path | None) -> tuple[VoiceSettings, tuple[Check, ...]]:
    """Voice and checks of the shop file at `path`, or of the user's own, or the defaults. Raises BadInput."""
    shop = shop_if_any(path)
    return (shop.voice, shop.checks) if shop else (VoiceSettings(), DEFAULT_CHECKS)


def shop_if_any(path: Path | None) -> Shop | None:
    """The shop file at `path`, or the user's own if there is one. Raises BadInput."""
    return None if path is None and not default_shop_path().exists() else read_shop(path)


def try_shop(path: Path | None) -> tuple[Shop | None, list[Fault]]:
    """The shop, or None, and all faults in its file."""
    named, path = path is not None, path or default_shop_path()
    try:
        missing = not path.exists()
    except (OSError, ValueError):
        missing = False  # `read_document` reports what is wrong with such a path
    if missing:
        where, made = folder_of(path), how_to_make(path, own=not named)
        what, mend = f"there is no such file in {where}", f"check the name and the folder, or make it: {made}"
        if not named:
            what = f"there is no shop file in {where}, and a kerf is never guessed"
            mend = f"{made}; or give another with --shop FILE"
        return None, [Fault(what, "", shortened(cleaned(path.name)) or str(path), mend)]
    return _shop_of(read_document(path), path)


def shop_of_text(text: str, path: Path) -> tuple[Shop | None, list[Fault]]:
    """As `try_shop`, of a shop file that has not been written yet. path: where it would be."""
    return _shop_of(document_of_text(text, path), path)


def _shop_of(document: Document, path: Path) -> tuple[Shop | None, list[Fault]]:
    shop = _read(document, str(path)) if document.tree is not None and not document.is_wrong_file("shop") else None
    return (None if document.faults else shop), document.faults


def _read(document: Document, path: str) -> Shop:
    root = Table(document, "", document.tree)
    unit = root.choice("unit", tuple(Unit), Unit.MM) or Unit.MM
    blade, run_down_s = _blade(root.table("blade", required=True), unit)
    carriage = _carriage(root.table("carriage"), unit)
    pedal = _pedal(root.table("pedal"))
    # The order matters, since each is checked against what was read before it: the way numbers are read out against
    # the carriage, phrases against the lead-in word, and the answers of checks against the phrases.
    voice = _voice(root.table("voice"), carriage)
    language = language_of(voice.language)
    pronunciations = read_pronunciations(root, language)
    own = read_phrases(root, language, voice.lead_in, pronunciations)
    voice = replace(voice, phrases=own.pairs, pronunciations=pronunciations)
    checks = read_checks(root, carriage, voice)
    refuse_answers(own, checks, language)
    page = root.table("page")
    may_record_cuts = page.flag("may_record_cuts", False)
    page.close()
    root.close()
    shop = Shop(unit, blade, carriage, pedal, voice, checks, path, PageSettings(may_record_cuts), run_down_s)
    return read_alike(shop)


def read_alike(shop: Shop) -> Shop:
    """The shop with settings shown and said in the same way: on a scale of 64ths always in fractions."""
    reads = settings.Reads.FRACTIONS if settings.on_64ths(shop.carriage) else shop.voice.reads
    return replace(shop, carriage=settings.read_as(shop.carriage, reads), voice=replace(shop.voice, reads=reads))


def _blade(table: Table, unit: Unit) -> tuple[Blade, float]:
    """The blade, and how long it keeps turning once switched off, s."""
    default = Blade(Fraction(1))
    mend = "measure the width that this blade really cuts, and give it: it is never guessed"
    kerf = table.length("kerf", unit, required=not table.absent, above=ZERO, most=WIDEST_KERF, mend=mend)
    overlap = table.length("overlap", unit, default.overlap, least=ZERO, most=WIDEST_KERF)
    overrun = table.length("overrun", unit, ZERO, least=ZERO, most=WIDEST_KERF)
    tooth = table.choice("tooth", tuple(Tooth), default.tooth)
    highest = table.length("highest", unit, above=ZERO)
    run_down_s = _seconds(table, "run_down_s", RUN_DOWN_S, "0", "120")
    clear_above = table.length("clear_above", unit, default.clear_above, least=LEAST_CLEAR_ABOVE, most=MOST_CLEAR_ABOVE)
    if kerf is not None and overlap is not None and overlap >= kerf:
        mend = f"give an overlap under the kerf of {plain_length(kerf, unit)}"
        table.fault("overlap", f"must be less than the kerf, but is {plain_length(overlap, unit)}", mend)
    table.close()
    # Without a kerf, any value will do: a fault has been noted, so no shop is returned.
    blade = Blade(
        kerf or Fraction(1),
        overlap or ZERO,
        overrun or ZERO,
        tooth or default.tooth,
        highest,
        clear_above or default.clear_above,
    )
    return blade, run_down_s


def _carriage(table: Table, unit: Unit) -> Carriage:
    default = Carriage()
    kind = table.choice("kind", tuple(CarriageKind), default.kind) or default.kind
    pitch, divisions = None, None
    if kind == CarriageKind.HANDWHEEL:
        pitch, divisions = _screw(table, unit)
        # Without a pitch or divisions any resolution will do: a fault has been noted, so no shop is returned.
        resolution = (pitch or Fraction(1)) / (divisions or 1)
    elif kind == CarriageKind.STEPS:
        most = Fraction(1_000_000)
        steps = table.number("steps_per_mm", required=True, above=ZERO, most=most, unit="steps a millimetre")
        resolution = 1 / steps if steps else Fraction(1)
    else:
        usual = INCH / 1000 if unit == Unit.INCH else default.resolution
        resolution = table.length("resolution", unit, usual, above=ZERO, most=INCH) or usual
    others = [key for other in CarriageKind if other != kind for key in KEYS_OF_KIND[other]]
    mend = f'leave it out, or correct carriage.kind: "{kind}" takes {", ".join(KEYS_OF_KIND[kind])}'
    table.refuse(others, f'means nothing with kind = "{kind}"', mend)
    carriage = Carriage(
        kind,
        resolution,
        pitch,
        divisions,
        unit,
        table.choice("zero", tuple(Zero), default.zero) or default.zero,
        _travel(table, unit),
        table.length("backlash", unit, ZERO, least=ZERO, most=Fraction(10)) or ZERO,
        table.choice("register", tuple(Register), default.register) or default.register,
        table.choice("stop_side", tuple(StopSide), default.stop_side) or default.stop_side,
        drive=_drive(table.table("drive"), unit, kind, 1 / resolution),
    )
    carriage = replace(carriage, distance_piece=_distance_piece(table, unit, carriage))
    table.close()
    return carriage


def _distance_piece(table: Table, unit: Unit, carriage: Carriage) -> Fraction | None:
    piece = table.length("distance_piece", unit, above=ZERO)
    if piece is None:
        return None
    if carriage.register == Register.SETTING_BAR:
        # In the second half the blade stands far from the edge, so no bar can lie between them.
        mend = 'set carriage.register = "stop", or leave it out'
        table.fault("distance_piece", 'means nothing with register = "setting bar"', mend)
    if carriage.travel is None:
        if not table.faulted("travel"):
            table.fault("distance_piece", "means nothing without carriage.travel", "give the travel, or leave it out")
    elif piece >= carriage.travel[1] - carriage.travel[0]:
        travel = plain_length(carriage.travel[1] - carriage.travel[0], unit)
        what = f"must be shorter than the travel of {travel}, but is {plain_length(piece, unit)}"
        mend = "use a shorter piece: nothing reaches what lies between the two halves of a board otherwise"
        table.fault("distance_piece", what, mend)
    return piece


def _drive(table: Table, unit: Unit, kind: CarriageKind, steps: Fraction) -> Drive | None:
    """The [carriage.drive] table. steps: the carriage's own steps a millimetre, where its kind is "steps"."""
    if table.absent:
        return None
    port = table.text("port", required=True, most=200) or ""
    if port and not _PORT.fullmatch(port):
        mend = 'give "usb:vendor:product" as `kerfcall ready` shows it, or the path of the serial line'
        table.fault("port", "names no serial line", mend, port)
    default = Drive(port)
    feed = table.number("feed", above=ZERO, most=Fraction(6000), unit="mm/min") or default.feed
    approach_feed = table.number("approach_feed", above=ZERO, most=Fraction(6000), unit="mm/min")
    if approach_feed is None:
        approach_feed = min(feed, default.approach_feed)
    elif approach_feed > feed:
        table.fault("approach_feed", "is faster than feed", "give a slower one: it is for the last way to a setting")
    home = table.choice("home", tuple(HomeKind), default.home) or default.home
    home_reads = table.length("home_reads", unit, required=home == HomeKind.SWITCH, least=Fraction(-10_000))
    if home == HomeKind.BY_HAND:
        table.refuse(("home_reads",), 'means nothing with home = "by hand"', "leave it out")
    steps_per_mm = table.number("steps_per_mm", above=ZERO, most=Fraction(1_000_000), unit="steps a millimetre")
    if kind == CarriageKind.STEPS:
        table.refuse(("steps_per_mm",), "is the carriage's own", "leave it out: carriage.steps_per_mm says it")
        steps_per_mm = steps
    drive = Drive(
        port,
        table.choice("axis", ("X", "Y", "Z"), default.axis) or default.axis,
        feed,
        approach_feed,
        home,
        home_reads or ZERO,
        table.flag("clear_input", default.clear_input),
        steps_per_mm,
    )
    table.close()
    return drive


def _screw(table: Table, unit: Unit) -> tuple[Fraction | None, int | None]:
    """Pitch in mm and divisions of a handwheel. Exactly one of pitch and threads_per_inch must be given."""
    pitch = table.length("pitch", unit, above=ZERO, most=Fraction(100))
    threads = table.number("threads_per_inch", above=ZERO, most=Fraction(200))
    if table.has("pitch") and table.has("threads_per_inch"):
        table.fault("threads_per_inch", "means the same as pitch", "give only one of pitch and threads_per_inch")
    elif not table.has("pitch") and not table.has("threads_per_inch"):
        table.fault("pitch", "is missing", "give the screw's pitch, or its threads_per_inch")
    divisions = table.integer("divisions", least=1, most=10_000, required=True)
    return (pitch if pitch is not None else INCH / threads if threads else None), divisions


def _travel(table: Table, unit: Unit) -> tuple[Fraction, Fraction] | None:
    # Unlike other lengths, a setting may be below zero: as far below as a length may be above.
    ends = table.lengths("travel", unit, 2, least=Fraction(-10_000))
    if not ends:
        return None
    if len(ends) != 2 or ends[0] >= ends[1]:
        mend = "give travel = [smallest, largest], the smallest first"
        table.fault("travel", "must be two settings, the smallest and the largest", mend)
        return None
    return ends[0], ends[1]


def _pedal(table: Table) -> PedalSettings:
    default = PedalSettings()
    device = read_device(table)
    pedal = PedalSettings(
        read_key(table, device),
        _long_press_s(table, default.long_press_s),
        _seconds(table, "double_tap_s", default.double_tap_s, "0.1", "1"),
        _seconds(table, "pass_takes_s", default.pass_takes_s, SHORTEST_PASS_S, "600"),
        device,
    )
    table.close()
    return pedal


def _long_press_s(table: Table, default: float) -> float:
    """From long_press_s, or from hold_s, its name in older shop files."""
    if table.has("long_press_s"):
        table.refuse(("hold_s",), "says the same as long_press_s", "leave hold_s out: it is the older name")
        return _seconds(table, "long_press_s", default, "0.3", "5")
    table.allow(("long_press_s",))
    return _seconds(table, "hold_s", default, "0.3", "5")


def _seconds(table: Table, key: str, default: float, least: str, most: str) -> float:
    value = table.number(key, least=Fraction(least), most=Fraction(most), unit="s")
    return default if value is None else float(value)


def _voice(table: Table, carriage: Carriage) -> VoiceSettings:
    default = VoiceSettings()
    language = language_of(table.choice("language", known_languages(), default.language) or default.language)
    voice = VoiceSettings(
        language.name,
        _lead_in(table, language),
        table.choice("recogniser", tuple(RecogniserName), default.recogniser) or default.recogniser,
        table.choice("reads", tuple(settings.Reads), default.reads) or default.reads,
        table.integer("speech_rate", default.speech_rate, least=80, most=450) or default.speech_rate,
        table.text("model", most=1000),
        denoiser=table.choice("denoiser", tuple(DenoiserName), default.denoiser) or default.denoiser,
        endpoints=table.choice("endpoints", tuple(Endpoints), default.endpoints) or default.endpoints,
        acceptance=table.choice("acceptance", tuple(Acceptance), default.acceptance) or default.acceptance,
        loudspeaker=table.text("loudspeaker", most=200) or default.loudspeaker,
        loudness=table.integer("loudness", default.loudness, least=SOFTEST_DB, most=LOUDEST_DB) or 0,
        tone=table.flag("tone", default.tone),
    )
    if voice.reads == settings.Reads.TURNS and carriage.kind != CarriageKind.HANDWHEEL:
        mend = 'set voice.reads = "digits", or carriage.kind = "handwheel"'
        table.fault("reads", f'turns are read from a handwheel; this carriage is a "{carriage.kind}"', mend, "turns")
    if voice.reads == settings.Reads.FRACTIONS and carriage.unit != Unit.INCH:
        mend = 'set voice.reads = "digits", or unit = "in"'
        table.fault("reads", "fractions are read from an inch scale; this shop's unit is mm", mend, "fractions")
    table.close()
    return voice


def _lead_in(table: Table, language: Language) -> str:
    word = table.text("lead_in", language.lead_in) or language.lead_in
    mend = f'give another word, e.g. "{language.lead_in}"'
    if not is_plain(word, language.name) or not word.isalpha() or not LEAST_LEAD_IN <= len(word) <= MOST_LEAD_IN:
        what = f"must be one word of {LEAST_LEAD_IN} to {MOST_LEAD_IN} lower-case letters"
        table.fault("lead_in", what, mend, word)
    elif word in {
        text.split()[0] for texts in (*language.phrases.values(), language.mishaps.values()) for text in texts
    }:
        table.fault("lead_in", "is the first word of a phrase", mend, word)
    else:
        return word
    return language.lead_in
