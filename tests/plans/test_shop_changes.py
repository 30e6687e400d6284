"""Every change in a shop file is named at once, with both values in the session's unit."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from assistant.joinery.model import Blade, Carriage
from assistant.plans.model import PedalSettings, Shop
from assistant.plans.shop_changes import changed
from tests.session.jobs import HANDWHEEL, job

KERF = Fraction(318, 100)
SAME = Shop("mm", Blade(KERF), Carriage())


def test_the_same_blade_and_carriage_change_nothing_whatever_voice_and_pedal_do() -> None:
    assert changed(job(), SAME) == ()
    assert changed(job(), replace(SAME, pedal=PedalSettings(long_press_s=1.5), path="another.toml")) == ()


def test_every_change_is_named_at_once() -> None:
    blade = Blade(Fraction(32, 10), clear_above=Fraction(20))
    carriage = Carriage(zero="inside", backlash=Fraction(1, 10), travel=(Fraction(0), Fraction(300)), stop_side="right")
    carriage = replace(carriage, distance_piece=Fraction(15002, 100))
    shop = replace(SAME, blade=blade, carriage=carriage, run_down_s=15.0)
    assert changed(job(), shop) == (
        "kerf 3.18 mm, now 3.2 mm",
        "room kept clear above the blade 15 mm, now 20 mm",
        "run-down of the blade 10 s, now 15 s",
        "zero outside, now inside",
        "backlash 0 mm, now 0.1 mm",
        "travel not given, now 0 mm to 300 mm",
        "distance piece none, now 150.02 mm",
        "side of the stop left, now right",
    )


def test_a_kerf_that_the_session_was_told_itself_is_no_change_of_the_shop_file() -> None:
    told = replace(job(), kerf=Fraction(4), kerf_since=2)
    assert changed(told, SAME) == ()
    assert changed(told, replace(SAME, run_down_s=15.0)) == ("run-down of the blade 10 s, now 15 s",)


def test_another_screw_is_named_by_its_pitch_and_divisions_and_not_by_what_follows_from_them() -> None:
    wheel = replace(HANDWHEEL, pitch=Fraction(2), divisions=100, resolution=Fraction(1, 50))
    (*_, pitch, divisions) = changed(job(carriage=HANDWHEEL), replace(SAME, carriage=wheel, blade=Blade(KERF)))[-2:]
    assert pitch == "pitch of the screw 0.0625 in, now 0.0787 in", "in the unit of the session"
    assert divisions == "divisions of the handwheel 125, now 100"


def test_another_kind_of_carriage_has_all_of_it_named() -> None:
    lines = changed(job(), replace(SAME, carriage=HANDWHEEL))
    assert lines == (
        "kind of carriage readout, now handwheel",
        "unit of the carriage mm, now in",
        "pitch of the screw none, now 1.5875 mm",
        "divisions of the handwheel none, now 125",
        "resolution 0.01 mm, now 0.0127 mm",
    )


def test_a_hair_is_shown_with_as_many_decimals_as_it_takes() -> None:
    assert changed(job(), replace(SAME, blade=Blade(KERF + Fraction(1, 10**6)))) == ("kerf 3.18 mm, now 3.180001 mm",)
