"""Lays out all sheets of a job: both parts, the joint, stages of a lined joint, strips at full size, the cut sheet."""

from __future__ import annotations

from collections.abc import Iterator

from assistant.drawings import corner, parts, stages, strips
from assistant.drawings.cut_sheet import cut_sheet
from assistant.drawings.flow import Flow, Sheet, cells, column_widths, framed
from assistant.drawings.picture import Page, Picture
from assistant.joinery.lined import Stages
from assistant.joinery.model import Pattern
from assistant.joinery.units import Unit
from assistant.plans.boards import board_list
from assistant.plans.model import Job, Plan
from assistant.plans.pieces import BLANK, pieces


def paper_for(unit: Unit) -> str:
    """The usual paper for the shop's unit: "a4", or "letter" for inches."""
    return "letter" if unit == Unit.INCH else "a4"


def sheets(plan: Plan, job: Job, paper: str) -> tuple[Page, ...]:
    """Every page of the drawings. job: built from this plan. paper: "a4" or "letter"."""
    wide, tall = Sheet.of(paper, landscape=True), Sheet.of(paper)
    flows = [_part_flow(job, pattern, wide) for pattern in job.patterns]
    flows.append(_joint_flow(plan, job, wide))
    if drawn := stage_pictures(plan, job, wide.inner):
        flows.append(Flow("stages", wide))
        for each in drawn:
            flows[-1].add(each, 4)
    flows += [_strips_flow(job, wide), cut_sheet(job, board_list(plan), tall)]
    return framed([page for flow in flows for page in flow.pages], job.title)


def _part_flow(job: Job, pattern: Pattern, sheet: Sheet) -> Flow:
    flow = Flow(parts.cut_words(job, pattern), sheet)
    size = parts.fitting(pattern, sheet.inner)
    if not pattern.is_second_half:  # the first half shows the whole end
        flow.add(parts.dimensions(job, pattern, size), 6)
    flow.add(parts.passes(job, pattern, size), 6)
    rows = parts.table(job, pattern)
    widths = column_widths(rows)
    head, *body = (cells(row, widths, right=(1, 2, 3), bold=n == 0) for n, row in enumerate(rows))
    flow.grid(body, head)
    return flow


def _members(plan: Plan) -> dict[str, corner.CornerBoard]:
    """Both boards as they are when everything is cut, even a part of which the plan has no board."""
    found = {}
    # Pieces are in cutting order, so the final sockets of a lined part come last and are the ones kept.
    for piece in pieces(plan):
        if piece.is_blank or piece.part not in plan.thickness:
            continue
        wall = bottom = 0.0
        if plan.lining is not None and piece.part in plan.lining.parts:
            wall, bottom = float(plan.lining.wall), float(plan.lining.thickness)
        thickness = float(plan.thickness[piece.part])
        found[piece.part] = corner.CornerBoard(piece.segments, thickness, float(piece.depth), wall, bottom)
    return found


def joint_pictures(plan: Plan, job: Job, width: float, height: float) -> tuple[Picture, ...]:
    """Pictures of the joint, closed and open."""
    if plan.joint.slotted:
        wood = plan.slot_height if plan.slot_height is not None else plan.thickness["A"]
        return stages.slotted(job.ends, wood, job.clearance, width)
    members = _members(plan)
    return corner.pictures(members["A"], members["B"], height)


def _joint_flow(plan: Plan, job: Job, sheet: Sheet) -> Flow:
    flow = Flow("the joint", sheet)
    drawn = joint_pictures(plan, job, sheet.inner, sheet.room - 2)
    if sum(each.width for each in drawn) <= sheet.inner:
        flow.beside(drawn)
    else:
        for each in drawn:
            flow.add(each, 6)
    return flow


def woods(plan: Plan) -> stages.Woods:
    """The plan's names of its woods, or words that distinguish them."""
    return stages.Woods(plan.species or "its own wood", plan.lining_species or "contrasting wood")


def lined_stages(plan: Plan, job: Job) -> Iterator[Stages]:
    """The stages of each lined part, taken from the job's own patterns."""
    by_name: dict[tuple[str, int], Pattern] = {
        (job.patterns[s.pattern].part, s.stage): job.patterns[s.pattern] for s in job.setups
    }
    for part in "AB":
        keys = ((part, 1), (part + BLANK, 1), (part, 2))
        if plan.lining is not None and all(key in by_name for key in keys):
            opened, blank, final = (by_name[key] for key in keys)
            yield Stages(part, opened.segments, opened.depth, blank.segments, blank.depth, final.segments, final.depth)


def stage_pictures(plan: Plan, job: Job, width: float) -> list[Picture]:
    if plan.lining is None:
        return []
    unit, side = job.carriage.unit, job.carriage.stop_side
    found = [
        picture
        for one in lined_stages(plan, job)
        for picture in stages.lined_pictures(one, plan.lining, woods(plan), width, unit, side)
    ]
    return [stages.legend(woods(plan), width), *found] if found else []


def _strips_flow(job: Job, sheet: Sheet) -> Flow:
    flow = Flow("strips at full size", sheet, scaled=True)
    bars = strips.scale_bars(sheet.inner)
    for pattern in job.ends:
        for tile in strips.tiles(job, pattern, sheet.inner):
            # The scales are on every page of strips, so that each page can be measured before it is used.
            if not flow.has_pages or flow.left < tile.height:
                flow.new_page()
                flow.add(bars, 4)
            flow.add(tile, 2)
    return flow
