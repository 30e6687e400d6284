"""The shop file: defaults, exact figures, and every fault with its text."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from assistant.errors import BadInput
from assistant.joinery.model import Blade, Carriage
from assistant.plans import shop_file
from assistant.plans.model import PedalSettings, VoiceSettings
from tests.plans.files import SHOP, shop_faults, shop_of


def test_only_the_kerf_is_needed(tmp_path: Path) -> None:
    shop = shop_of(tmp_path, "[blade]\nkerf = 3.18\n")
    assert shop.unit == "mm"
    assert shop.blade == Blade(Fraction("3.18"))
    assert shop.carriage == Carriage()
    assert shop.pedal == PedalSettings()
    assert shop.voice == VoiceSettings()


@pytest.mark.parametrize("written", ["'1/8\"'", '"⅛ in"', '"⅛″"'])
def test_a_kerf_may_be_written_as_on_a_ruler(tmp_path: Path, written: str) -> None:
    assert shop_of(tmp_path, f"[blade]\nkerf = {written}\n").blade.kerf == Fraction("3.175")


def test_every_figure_is_kept_exactly(tmp_path: Path) -> None:
    shop = shop_of(
        tmp_path,
        """
unit = "in"
[blade]
kerf = "1/8"
overlap = "0.2 mm"
overrun = 0.01
tooth = "alternate"
highest = "2 3/4"
clear_above = "5/8"
[carriage]
kind = "handwheel"
threads_per_inch = 16
divisions = 125
zero = "inside"
travel = [-0.5, 14]
backlash = 0.008
register = "setting bar"
stop_side = "right"
[pedal]
key = "f13"
long_press_s = 1
double_tap_s = 0.4
pass_takes_s = 1
[voice]
lead_in = "juniper"
recogniser = "vosk"
reads = "fractions"
speech_rate = 200
model = "models/small"
loudspeaker = "USB Audio"
""",
    )
    inch = Fraction("25.4")
    assert shop.blade == Blade(inch / 8, Fraction("0.2"), inch / 100, "alternate", inch * 11 / 4, inch * 5 / 8)
    assert shop.carriage == Carriage(
        "handwheel",
        inch / 16 / 125,
        inch / 16,
        125,
        "in",
        "inside",
        (-inch / 2, 14 * inch),
        inch * 8 / 1000,
        "setting bar",
        "right",
    )
    assert shop.pedal == PedalSettings("f13", 1.0, 0.4, 1.0)
    assert shop.voice == VoiceSettings(
        "en", "juniper", "vosk", "fractions", 200, "models/small", loudspeaker="USB Audio"
    )


@pytest.mark.parametrize("key", ["long_press_s", "hold_s"])
def test_a_long_press_has_a_name_and_an_older_one(tmp_path: Path, key: str) -> None:
    assert shop_of(tmp_path, SHOP + f"[pedal]\n{key} = 1.2\n").pedal == PedalSettings(long_press_s=1.2)


def test_screw_pitches_match_the_thread_table(tmp_path: Path) -> None:
    """Outside reference: ISO metric coarse M10 x 1.5, and 16 threads to the inch = 1.5875 mm (25.4 / 16)."""
    metric = shop_of(tmp_path, SHOP + '[carriage]\nkind = "handwheel"\npitch = 1.5\ndivisions = 150\n')
    inch = shop_of(tmp_path, SHOP + '[carriage]\nkind = "handwheel"\nthreads_per_inch = 16\ndivisions = 100\n')
    assert metric.carriage.resolution == Fraction("0.01")
    assert inch.carriage.pitch == Fraction("1.5875")


def test_steps_and_readout_resolution(tmp_path: Path) -> None:
    steps = shop_of(tmp_path, SHOP + '[carriage]\nkind = "steps"\nsteps_per_mm = 400\n')
    assert steps.carriage.resolution == Fraction(1, 400)
    assert shop_of(tmp_path, SHOP).carriage.resolution == Fraction(1, 100)
    inches = shop_of(tmp_path, 'unit = "in"\n[blade]\nkerf = 0.125\n')
    assert inches.carriage.resolution == Fraction("0.0254")


CARRIAGE = "[carriage]\n"
FAULTS = [
    ("overlap = 4", "blade.overlap: must be less than the kerf, but is 4 mm; give an overlap under the kerf"),
    ("overlap = 3.18", "blade.overlap: must be less than the kerf, but is 3.18 mm; give an overlap under the kerf"),
    ("overlap = -1", "blade.overlap: must be 0 mm or more (got -1 mm); give a larger length"),
    ('overrun = "x"', 'blade.overrun: this is not a length (got "x"); write it like 12.7'),
    ('tooth = "flt"', 'blade.tooth: must be "flat" or "alternate" (got "flt"); did you mean "flat"?'),
    ("highest = 0", "blade.highest: must be over 0 mm (got 0 mm); give a larger length"),
    ("clear_above = 4.9", "blade.clear_above: must be 5 mm or more (got 4.9 mm); give a larger length"),
    ("clear_above = 201", "blade.clear_above: must be 200 mm or less (got 201 mm); give a smaller length"),
    ('clear_above = "ample"', 'blade.clear_above: this is not a length (got "ample"); write it like 12.7'),
    ("heighest = 9", "blade.heighest: is not a key that Kerfcall knows; did you mean highest?"),
    (
        CARRIAGE + 'kind = "stepper"',
        'carriage.kind: must be "readout", "handwheel" or "steps" (got "stepper"); did you mean "steps"?',
    ),
    (CARRIAGE + "pitch = 2", 'carriage.pitch: means nothing with kind = "readout" (got 2); leave it out, or correct'),
    (
        CARRIAGE + 'kind = "handwheel"\nresolution = 1\npitch = 2\ndivisions = 9',
        'carriage.resolution: means nothing with kind = "handwheel" (got 1)',
    ),
    (
        CARRIAGE + "travel = [3, 1]",
        "carriage.travel: must be two settings, the smallest and the largest; give travel = [smallest",
    ),
    (CARRIAGE + "travel = [3]", "carriage.travel: must be two settings, the smallest and the largest"),
    (CARRIAGE + "travel = 400", "carriage.travel: must be a list of lengths (got 400); give 1 to 2 lengths in [ ]"),
    (CARRIAGE + 'travel = [0, "far"]', 'carriage.travel[2]: this is not a length (got "far")'),
    (CARRIAGE + "resolution = 0", "carriage.resolution: must be over 0 mm (got 0 mm)"),
    (CARRIAGE + "backlash = 30", "carriage.backlash: must be 10 mm or less (got 30 mm); give a smaller length"),
    (
        CARRIAGE + 'zero = "left"',
        'carriage.zero: must be "outside" or "inside" (got "left"); write it exactly like that',
    ),
    (CARRIAGE + 'register = "bar"', 'carriage.register: must be "stop" or "setting bar" (got "bar")'),
    (CARRIAGE + 'stop_side = "middle"', 'carriage.stop_side: must be "left" or "right" (got "middle")'),
    (
        CARRIAGE + 'kind = "handwheel"\npitch = 2\nthreads_per_inch = 16\ndivisions = 9',
        "carriage.threads_per_inch: means the same as pitch; give only one of pitch and threads_per_inch",
    ),
    (
        CARRIAGE + 'kind = "handwheel"\npitch = 2\ndivisions = 0',
        "carriage.divisions: must be a whole number from 1 to 10,000 (got 0)",
    ),
    (
        CARRIAGE + 'kind = "handwheel"\ndivisions = 9',
        "carriage.pitch: is missing; give the screw's pitch, or its threads_per_inch",
    ),
    (
        CARRIAGE + 'kind = "handwheel"\npitch = 4\ndivisions = 100\nscrew_lead = 4',
        "carriage.screw_lead: is not a key that Kerfcall knows; did you mean pitch?",
    ),
    (
        CARRIAGE + 'kind = "handwheel"\npitch = 4\ndivisions = 100\nTPI = 4',
        "carriage.TPI: is not a key that Kerfcall knows; did you mean threads_per_inch?",
    ),
    ("lead = 4", "blade.lead: is not a key that Kerfcall knows; use one of: "),
    (CARRIAGE + 'kind = "steps"', "carriage.steps_per_mm: is missing; give it: it must be a number, over 0"),
    (
        CARRIAGE + 'kind = "steps"\nsteps_per_mm = 0',
        "carriage.steps_per_mm: must be a number, over 0 and at most 1000000 steps a millimetre (got 0)",
    ),
    ("[pedal]\nlong_press_s = 0.29", "pedal.long_press_s: must be a number, 0.3 or more and at most 5 s (got 0.29)"),
    ("[pedal]\nlong_press_s = nan", "pedal.long_press_s: must be a number, 0.3 or more and at most 5 s (got NaN)"),
    ("[pedal]\nhold_s = true", "pedal.hold_s: must be a number, 0.3 or more and at most 5 s (got true)"),
    (
        "[pedal]\nlong_press_s = 1\nhold_s = 1",
        "pedal.hold_s: says the same as long_press_s (got 1); leave hold_s out: it is the older name",
    ),
    ("[pedal]\nlong_pres_s = 1", "pedal.long_pres_s: is not a key that Kerfcall knows; did you mean long_press_s?"),
    ("[pedal]\ndouble_tap_s = 1.01", "pedal.double_tap_s: must be a number, 0.1 or more and at most 1 s (got 1.01)"),
    ('[pedal]\npass_takes_s = "4"', 'pedal.pass_takes_s: must be a number, 1 or more and at most 600 s (got "4")'),
    ("[pedal]\npass_takes_s = 0", "pedal.pass_takes_s: must be a number, 1 or more and at most 600 s (got 0); give"),
    ("[pedal]\npass_takes_s = 0.99", "pedal.pass_takes_s: must be a number, 1 or more and at most 600 s (got 0.99)"),
    ("[pedal]\npass_takes_s = inf", "pedal.pass_takes_s: must be a number, 1 or more and at most 600 s (got Infinity)"),
    ("[pedal]\nkeey = 3", "pedal.keey: is not a key that Kerfcall knows; did you mean key?"),
    (
        '[voice]\nlanguage = "de"',
        'voice.language: must be "en" or "ko" (got "de"); write it exactly like that, in quotes',
    ),
    (
        '[voice]\nlead_in = "Mary"',
        'voice.lead_in: must be one word of 2 to 20 lower-case letters (got "Mary"); give another word',
    ),
    ('[voice]\nlead_in = "mari gold"', "voice.lead_in: must be one word of 2 to 20 lower-case letters"),
    ('[voice]\nlead_in = "x1"', "voice.lead_in: must be one word of 2 to 20 lower-case letters"),
    (
        '[voice]\nrecogniser = "sphinx"',
        'voice.recogniser: must be "auto", "moonshine", "vosk" or "pocketsphinx" (got "sphinx"); did',
    ),
    ("[voice]\nloudspeaker = 2", "voice.loudspeaker: must be text"),
    ("[voice]\nspeech_rate = 79", "voice.speech_rate: must be a whole number from 80 to 450 (got 79)"),
    ("[voice]\nloudness = 7", "voice.loudness: must be a whole number from -12 to 6 (got 7)"),
    ("[voice]\nloudness = -13", "voice.loudness: must be a whole number from -12 to 6 (got -13)"),
    ("[voice]\nspeech_rate = 451", "voice.speech_rate: must be a whole number from 80 to 450 (got 451)"),
    ("[voice]\nspeech_rate = 100.0", "voice.speech_rate: must be a whole number from 80 to 450 (got 100.0)"),
    ('[voice]\nmodel = ""', 'voice.model: must be text of 1 to 1000 characters (got ""); give it in quotes'),
    ('[voice]\nreads = "turns"', 'voice.reads: turns are read from a handwheel; this carriage is a "readout"'),
    ('[voice]\nreads = "fractions"', "voice.reads: fractions are read from an inch scale; this shop's unit is mm"),
    ("[pages]", "pages: is not a table that Kerfcall knows; did you mean page?"),
    ("[page]\nmay_record_cuts = 1", "page.may_record_cuts: must be true or false (got 1); write true or false"),
    ("[page]\nmay_record = true", "page.may_record: is not a key that Kerfcall knows; did you mean may_record_cuts?"),
]


@pytest.mark.parametrize(("extra", "expected"), FAULTS)
def test_each_fault_has_key_value_and_fix(tmp_path: Path, extra: str, expected: str) -> None:
    faults = shop_faults(tmp_path, SHOP + extra + "\n")
    assert len(faults) == 1
    assert faults[0].startswith(f"shop.toml: {expected}")
    assert "; " in faults[0]


@pytest.mark.parametrize("rate", [80, 450])
def test_speech_rate_bounds_are_inclusive(tmp_path: Path, rate: int) -> None:
    assert shop_of(tmp_path, SHOP + f"[voice]\nspeech_rate = {rate}\n").voice.speech_rate == rate


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "shop.toml: blade: is missing; add a [blade] table"),
        ("[blade]", "shop.toml: blade.kerf: is missing; measure the width that this blade really cuts"),
        ("blade = 3", "shop.toml: blade: must be a table (got 3); write [blade] and its keys below"),
        ("[[blade]]", "shop.toml: blade: must be a table (got a list of 1)"),
        ("[blade]\nkerf = 0", "shop.toml: blade.kerf: must be over 0 mm (got 0 mm)"),
        ("[blade]\nkerf = 318", "shop.toml: blade.kerf: must be 60 mm or less (got 318 mm)"),
        ("[blade]\nkerf = 0.2", "shop.toml: blade.overlap: must be less than the kerf, but is 0.2 mm"),
    ],
)
def test_a_kerf_is_never_guessed(tmp_path: Path, text: str, expected: str) -> None:
    faults = shop_faults(tmp_path, text)
    assert len(faults) == 1
    assert faults[0].startswith(expected)


def test_every_fault_is_reported_at_once(tmp_path: Path) -> None:
    wrong = 'unit = "cm"\n[blade]\nkerf = "wide"\n' + "\n".join(
        ['tooth = "odd"', "[carriage]", "zero = 3", "[pedal]", 'key = "b"', "[voice]", 'lead_in = "A"', "[bench]"]
    )
    where = [fault.split(": ")[1] for fault in shop_faults(tmp_path, wrong)]
    assert where == ["unit", "blade.kerf", "blade.tooth", "carriage.zero", "pedal.key", "voice.lead_in", "bench"]


def test_without_a_path_the_users_own_shop_file_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own = tmp_path / "shop.toml"
    monkeypatch.setattr(shop_file, "default_shop_path", lambda: own)
    with pytest.raises(BadInput) as caught:
        shop_file.read_shop(None)
    assert len(caught.value.faults) == 1
    begin = f"shop.toml: there is no shop file in {tmp_path}, and a kerf is never guessed; `kerfcall init` asks"
    assert str(caught.value).startswith(begin)
    assert str(caught.value).endswith("; or give another with --shop FILE")
    own.write_text(SHOP)
    assert shop_file.read_shop(None).blade.kerf == Fraction("3.18")


def test_the_users_own_shop_file_lies_in_the_configuration_folder() -> None:
    from platformdirs import user_config_path

    assert shop_file.default_shop_path() == user_config_path("kerfcall") / "shop.toml"


def test_a_page_records_cuts_only_where_that_is_switched_on(tmp_path: Path) -> None:
    assert not shop_of(tmp_path, SHOP).page.may_record_cuts
    assert not shop_of(tmp_path, SHOP + "[page]\n").page.may_record_cuts
    assert shop_of(tmp_path, SHOP + "[page]\nmay_record_cuts = true\n").page.may_record_cuts


@pytest.mark.parametrize(
    ("carriage", "fault"),
    [
        ("distance_piece = 30", "means nothing without carriage.travel; give the travel, or leave it out"),
        ("travel = [0, 60]\ndistance_piece = 0", "must be over 0"),
        (
            "travel = [-10, 60]\ndistance_piece = 70",
            "must be shorter than the travel of 70 mm, but is 70 mm; "
            "use a shorter piece: nothing reaches what lies between the two halves of a board otherwise",
        ),
        (
            'travel = [0, 60]\nregister = "setting bar"\ndistance_piece = 30',
            'means nothing with register = "setting bar"; set carriage.register = "stop", or leave it out',
        ),
    ],
)
def test_a_distance_piece_is_over_zero_and_shorter_than_the_travel(tmp_path: Path, carriage: str, fault: str) -> None:
    (found,) = shop_faults(tmp_path, SHOP + f"[carriage]\n{carriage}\n")
    assert found.startswith("shop.toml: carriage.distance_piece: ") and fault in found


def test_a_distance_piece_is_read_exactly_and_brings_its_check(tmp_path: Path) -> None:
    shop = shop_of(tmp_path, SHOP + "[carriage]\ntravel = [0, 400]\ndistance_piece = 150.02\n")
    assert shop.carriage.distance_piece == Fraction("150.02")
    names = [check.name for check in shop.checks]
    assert names.index("distance piece") < names.index("zero") < names.index("clamps")
    assert "distance piece" not in [check.name for check in shop_of(tmp_path, SHOP).checks]
    named = shop_faults(tmp_path, SHOP + '[[checks]]\nname = "distance piece"\nsay = "in?"\n')
    assert named == [
        'shop.toml: checks[1].name: is a check for a distance piece only (got "distance piece"); '
        "give carriage.distance_piece, or leave this check out"
    ]
