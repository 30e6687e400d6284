"""A job is stored as JSON and read back exactly. Bad data raises only KeyError or ValueError."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.plans.job import build_job
from assistant.plans.job_json import fraction_of, fraction_text, job_from_json, job_to_json
from assistant.plans.plan_file import read_both
from tests.plans.files import DEMO, DEMO_PLANS, DEMO_SHOPS

STORED = json.dumps(job_to_json(build_job(*read_both(DEMO / "tea-trays.toml", DEMO / "shop-handwheel-inch.toml"))))


@pytest.mark.parametrize("plan", DEMO_PLANS, ids=lambda path: path.stem)
@pytest.mark.parametrize("shop", DEMO_SHOPS, ids=lambda path: path.stem)
def test_round_trip_is_exact(plan: Path, shop: Path) -> None:
    job = build_job(*read_both(plan, shop))
    again = job_from_json(json.loads(json.dumps(job_to_json(job))))
    assert again == job
    assert hash(again.patterns) == hash(job.patterns)


def test_how_high_the_blade_reaches_is_stored_where_it_is_known() -> None:
    plan, shop = read_both(DEMO / "tea-trays.toml", DEMO / "shop-handwheel-inch.toml")
    assert job_from_json(json.loads(STORED)).highest == shop.blade.highest == Fraction("69.85")
    unknown = job_to_json(build_job(plan, replace(shop, blade=replace(shop.blade, highest=None))))
    assert "highest" not in unknown and job_from_json(unknown).highest is None


@given(st.fractions())
def test_fractions_round_trip(value: Fraction) -> None:
    assert fraction_of(fraction_text(value)) == value


@pytest.mark.parametrize("bad", ["", "3", "1/0", "1.5/2", "1 / 2", "a/b", 3, None, "1/2/3", "--1/2", "9" * 9000 + "/1"])
def test_other_texts_are_no_fractions(bad: object) -> None:
    with pytest.raises(ValueError):
        fraction_of(bad)


def _places(node: Any) -> Iterator[tuple[Any, Any]]:
    """(container, key) of every value in a JSON tree."""
    keys = list(node) if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else []
    for key in keys:
        yield node, key
        yield from _places(node[key])


LATER = (
    "acceptance",
    "clear_above",
    "denoiser",
    "device",
    "endpoints",
    "fractions",
    "half",
    "layout",
    "loudness",
    "loudspeaker",
    "page",
    "phrases",
    "pronunciations",
    "run_down_s",
    "tone",
)  # jobs stored earlier don't hold them


def test_every_missing_key_is_a_key_error() -> None:
    count = sum(1 for container, _ in _places(json.loads(STORED)) if isinstance(container, dict))
    assert count > 300
    for place in range(0, count, 7):
        data = json.loads(STORED)
        container, key = [each for each in _places(data) if isinstance(each[0], dict)][place]
        if key in LATER:
            continue
        del container[key]
        with pytest.raises(KeyError):
            job_from_json(data)


@settings(max_examples=200, deadline=None)
@given(
    st.integers(0, 10_000),
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), st.just([]), st.just({})),
)
def test_any_value_changed_gives_a_job_or_a_value_error(place: int, value: object) -> None:
    data = json.loads(STORED)
    places = list(_places(data))
    container, key = places[place % len(places)]
    container[key] = value
    try:
        job_from_json(data)
    except (KeyError, ValueError) as error:
        assert str(error)


@pytest.mark.parametrize("data", [None, [], 3, "x", {}])
def test_anything_but_a_filled_object_is_refused(data: object) -> None:
    with pytest.raises((KeyError, ValueError)):
        job_from_json(data)


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        (("setups", 0, "number"), 2, "setup 1 is numbered 2"),
        (("setups", 0, "pattern"), 9, "setup 1 names pattern 9 of 2"),
        (("setups", 0, "stage"), 2, "setup 1 names stage 2 of 1"),
        (("setups", 0, "half"), "piece in", "setup 1 needs a distance piece, and the carriage has none"),
        (("setups", 0, "half"), "third", "there is no such half of an end: 'third'"),
        (("patterns", 0, "passes", 0, "number"), 3, "the passes of part A are not numbered from 1"),
        (("carriage", "resolution"), "0/1", "resolution must be over 0"),
        (("carriage", "travel"), ["0/1"], "travel must be two settings"),
        (("checks", 0, "when"), "now and then", "its check 'zero' has an unknown `when`: 'now and then'"),
        (("pedal", "hold_s"), True, "hold_s must be a number of seconds"),
        (("voice", "speech_rate"), 1.5, "speech_rate must be a whole number"),
    ],
)
def test_an_inconsistent_job_is_refused(path: tuple[Any, ...], value: object, message: str) -> None:
    data = json.loads(STORED)
    node = data
    for key in path[:-1]:
        node = node[key]
    node[path[-1]] = value
    with pytest.raises(ValueError, match=message):
        job_from_json(data)


@pytest.mark.parametrize("key", LATER)
def test_keys_that_a_later_release_added_can_be_missing(key: str) -> None:
    data = json.loads(STORED)
    tables = (data, data["voice"], data["pedal"], data["carriage"], data["setups"][0])
    next(table for table in tables if key in table).pop(key)
    job_from_json(data)


@pytest.mark.parametrize(
    ("unit", "reads", "fractions"), [("in", "fractions", True), ("in", "digits", False), ("mm", "fractions", False)]
)
def test_an_earlier_job_shows_fractions_if_its_voice_reads_them(unit: str, reads: str, fractions: bool) -> None:
    data = json.loads(STORED)
    data["carriage"] |= {"kind": "readout", "unit": unit}
    data["voice"]["reads"] = reads
    del data["carriage"]["fractions"]
    assert job_from_json(data).carriage.fractions == fractions
