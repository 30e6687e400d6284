"""The commented examples: every file of `demo_plans` is offered, from a checkout and from an installed package."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.errors import Fault
from assistant.plans import examples
from assistant.plans.plan_file import read_plan
from assistant.plans.shop_file import read_shop, try_shop
from tests.plans.files import DEMO, DEMO_PLANS, DEMO_SHOPS


def test_every_demo_file_is_offered() -> None:
    assert sorted(examples.SHOPS.values()) == [path.name for path in DEMO_SHOPS]
    assert list(examples.example_plans().values()) == DEMO_PLANS
    assert examples.examples_folder() == DEMO


@pytest.mark.parametrize("kind", examples.SHOPS)
def test_each_shop_file_is_for_the_carriage_that_it_is_offered_for(kind: str) -> None:
    carriage = read_shop(DEMO / examples.SHOPS[kind]).carriage
    assert (carriage.drive is not None) == (kind == "driven")
    assert carriage.kind == ("steps" if kind == "driven" else kind)


def test_each_plan_is_called_by_its_file_name() -> None:
    for name, path in examples.example_plans().items():
        assert path.name == f"{name}.toml" and read_plan(path).boards


def test_an_installed_package_has_them_inside(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    installed = tmp_path / "site-packages/assistant"
    (installed / "demo_plans").mkdir(parents=True)
    (installed.parent / "demo_plans").mkdir()  # another project's folder of that name
    monkeypatch.setattr(examples, "__file__", str(installed / "plans/examples.py"))
    assert examples.examples_folder() == installed / "demo_plans"


def test_without_the_examples_none_are_offered(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(examples, "__file__", str(tmp_path / "assistant/plans/examples.py"))
    assert examples.examples_folder() is None and examples.example_plans() == {}


def test_without_a_shop_file_the_fix_is_the_command_that_makes_it(tmp_path: Path) -> None:
    fault: Fault
    (fault,) = try_shop(tmp_path / "my saws" / "shop.toml")[1]
    assert fault.what.startswith("there is no such file in ")
    assert "`kerfcall init --to " in fault.mend and str(tmp_path / "my saws" / "shop.toml") in fault.mend
    assert examples.how_to_make(tmp_path, own=True).startswith("`kerfcall init` ")
