"""The DXF, read back by ezdxf; its areas are compared with the layout's."""

from __future__ import annotations

import io
from fractions import Fraction as F
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from assistant.drawings.dxf import write_dxf
from assistant.drawings.models import model
from assistant.drawings.parts import WOOD
from assistant.drawings.picture import Item, Line, Shape, Text
from assistant.errors import NoSuchPart
from assistant.joinery.model import Carriage
from assistant.plans.model import Job, Plan
from tests.drawings.drawn import job_of, joints, lined_plan, plan_of, texts

PRINTABLE = st.characters(exclude_categories=("C", "Z"), include_characters=" ")


def read_back(data: bytes) -> Any:
    import ezdxf  # slow to import, and every worker collects this file

    return ezdxf.read(io.StringIO(data.decode("utf-8")))


def drawing_of(plan: Plan, job: Job) -> Any:
    return read_back(write_dxf(model(plan, job), job.carriage.unit))


def _areas(document: Any, ending: str) -> dict[str, float]:
    """Area of the closed outlines on each layer with this ending."""
    found: dict[str, float] = {}
    for outline in document.modelspace().query("LWPOLYLINE"):
        if outline.dxf.layer.endswith(ending):
            assert outline.closed
            shape = Polygon([(x, y) for x, y in outline.get_points("xy")])
            found[outline.dxf.layer] = found.get(outline.dxf.layer, 0.0) + shape.area
    return found


def _check_areas(job: Job, document: Any) -> None:
    inch = 25.4**2 if job.carriage.unit == "in" else 1.0
    cut, wood = _areas(document, "_SOCKETS"), _areas(document, "_PROFILE")
    by_layer: dict[str, list[float]] = {}
    for pattern in job.patterns:
        stage = next(s.stage for s in job.setups if job.patterns[s.pattern] is pattern)
        name = f"PART_{pattern.part.upper().replace(' ', '_')}" + (f"_STAGE_{stage}" if len(job.stages) > 1 else "")
        sockets = sum(float(s.width) for s in pattern.sockets) * float(pattern.depth)
        entry = by_layer.setdefault(name, [0.0, 0.0])
        entry[0] += sockets
        entry[1] += float(pattern.width) * (float(pattern.depth) + WOOD) - sockets
    assert cut == {f"{name}_SOCKETS": pytest.approx(areas[0] / inch) for name, areas in by_layer.items()}
    assert wood == {f"{name}_PROFILE": pytest.approx(areas[1] / inch) for name, areas in by_layer.items()}


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(joints())
def test_sockets_and_wood_have_the_layouts_areas(made: tuple[Plan, Job]) -> None:
    """By shapely, from the corners that ezdxf reads; without the labels and measures, which are nine items of ten."""
    plan, job = made
    outlines = [item for item in model(plan, job) if isinstance(item, Shape)]
    _check_areas(job, read_back(write_dxf(outlines, job.carriage.unit)))


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_lined_joints_areas_in_both_units(unit: str) -> None:
    plan = lined_plan(("A", "B"))
    job = job_of(plan, Carriage(unit=unit))
    _check_areas(job, drawing_of(plan, job))


@pytest.mark.parametrize(("unit", "code", "wide"), [("mm", 4, 84.0), ("in", 1, 84 / 25.4)])
def test_the_file_names_its_unit_and_the_board_is_full_size_in_it(unit: str, code: int, wide: float) -> None:
    """$INSUNITS 4 is millimetres, 1 inches (DXF reference, header section)."""
    plan = plan_of()
    document = drawing_of(plan, job_of(plan, Carriage(unit=unit)))
    assert document.header["$INSUNITS"] == code
    (outline,) = document.modelspace().query('LWPOLYLINE[layer=="PART_A_PROFILE"]')
    xs = [x for x, _ in outline.get_points("xy")]
    assert max(xs) - min(xs) == pytest.approx(wide)


def test_nothing_is_found_wrong_by_the_libraries_own_audit() -> None:
    from ezdxf.lldxf.validator import is_valid_layer_name

    plan = lined_plan()
    document = drawing_of(plan, job_of(plan))
    auditor = document.audit()
    assert not auditor.errors and not auditor.fixes
    assert all(is_valid_layer_name(layer.dxf.name) for layer in document.layers)


def test_texts_are_fitted_into_the_width_that_the_layout_reckoned_with() -> None:
    plan = plan_of()
    items = model(plan, job_of(plan))
    document = read_back(write_dxf(items, "mm"))
    drawn = list(document.modelspace().query("TEXT"))
    assert len(drawn) == len(texts(items))
    for entity, text in zip(drawn, texts(items), strict=True):
        align, start, end = entity.get_placement()
        assert align.name == "FIT"
        assert start.distance(end) == pytest.approx(text.width)
        assert entity.dxf.height == pytest.approx(text.cap)


@example(["50 %%d, ^J, \\U+00e9, \\M+18140, {\\fArial|b1;x}"])
@given(st.lists(st.text(PRINTABLE, min_size=1, max_size=40), min_size=8, max_size=12))
@settings(max_examples=12, deadline=None)
def test_any_title_survives(titles: list[str]) -> None:
    """Ten titles in one drawing, because the rest of a drawing takes longer than they do."""
    # A caret at the very end reaches CAD as it should, but the library's own plain_text() drops it.
    titles = [title + "." for title in titles]
    document = read_back(write_dxf([Text((0, 0), title) for title in titles], "mm"))
    shown = [entity.plain_text() for entity in document.modelspace().query("TEXT")]
    assert [text.replace(" ", "") for text in shown] == [title.replace(" ", "") for title in titles]


def test_lines_and_filled_shapes_arrive() -> None:
    triangle = Shape(((0, 0), (25.4, 0), (0, 25.4)), black=True)
    items: list[Item] = [Line((0, 0), (254, 0), dashed=True, layer="a, b"), triangle]
    space = read_back(write_dxf(items, "in")).modelspace()
    (line,) = space.query("LINE")
    assert (line.dxf.end.x, line.dxf.linetype, line.dxf.layer) == (pytest.approx(10), "DASHED", "A_B")
    assert len(space.query("HATCH")) == 1


def test_a_missing_library_is_named_with_the_fix(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "ezdxf", None)
    with pytest.raises(NoSuchPart, match=r"pip install 'kerfcall\[dxf\]'"):
        write_dxf([], "mm")


def test_a_socket_of_known_size() -> None:
    """By hand: 18 mm in 6: part A's socket is 6.05 x 10.3 mm."""
    plan = plan_of(18)
    areas = _areas(drawing_of(plan, job_of(plan)), "_SOCKETS")
    assert areas["PART_A_SOCKETS"] == pytest.approx(6.05 * 10.3)
    assert F(605, 100) == job_of(plan).patterns[0].sockets[0].width
