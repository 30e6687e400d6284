"""`kerfcall fit PLAN`: predicts whether the joint will go together, before you spoil any wood.

It cuts, says and records nothing. JSON lengths are millimetres to 1e-6, shares are from 0 to 1.
"""

from __future__ import annotations

import argparse
import json
from datetime import UTC
from fractions import Fraction
from pathlib import Path
from typing import Any

from assistant.advice.fit import COVERAGE, MOST_JOINTS, SEED, USUAL_JOINTS, Band, Chances, bands
from assistant.advice.fit_report import USUAL_LIMITS, WIDEST_LIMIT, FitReport, least_square, not_covered, warnings
from assistant.advice.prediction import FitOutcome, errors_of, movements, outcomes
from assistant.advice.squareness import squareness
from assistant.commands.figures import length_option
from assistant.commands.fit_text import report_text
from assistant.errors import BadInput, Fault
from assistant.joinery.units import plain_length
from assistant.plans.plan_file import read_both


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan, a TOML file")
    parser.add_argument("--shop", type=Path, metavar="FILE", help="the shop file (default: your own shop.toml)")
    limits = " or ".join(USUAL_LIMITS.values())
    parser.add_argument("--limit", metavar="LENGTH", help=f"the widest gap that is still good (default: {limits})")
    many = f"how many joints to simulate (default: {USUAL_JOINTS:,})"
    parser.add_argument("--joints", type=int, default=USUAL_JOINTS, metavar="N", help=many)
    parser.add_argument("--json", action="store_true", help="print JSON instead of text")


def run(args: argparse.Namespace) -> int:
    """Print the prediction. Returns 0; raises BadInput with every fault of the options and of both files."""
    faults: list[Fault] = []
    if not 1 <= args.joints <= MOST_JOINTS:
        what = f"from 1 to {MOST_JOINTS:,} joints can be simulated"
        mend = f"with {USUAL_JOINTS:,}, a chance is right to half a percent"
        faults.append(Fault(what, f"{args.joints:,}", "--joints", mend))
    try:
        plan, shop = read_both(args.plan, args.shop)
    except BadInput as error:
        raise BadInput([*faults, *error.faults]) from error
    limit = length_option(faults, "--limit", args.limit or USUAL_LIMITS[plan.unit], plan.unit)
    if limit is not None and limit > WIDEST_LIMIT:
        mend = "give the widest gap that you would still accept in a glue line"
        faults.append(Fault("the widest gap may be 5 mm at most", plain_length(limit, plan.unit), "--limit", mend))
    if faults or limit is None:
        raise BadInput(faults)
    found = outcomes(plan, shop, float(limit), args.joints)
    if not found:
        mend = "move a slot inwards, so that there is wood on both sides of it"
        what = "every slot is at the board's edge, where nothing holds the piece, so there is no fit to predict"
        raise BadInput([Fault(what, "", f"{args.plan.name}: slots", mend)])
    errors, assumed = errors_of(plan)
    square = squareness(plan, Path(shop.path))
    report = FitReport(plan, shop.blade.kerf, errors, assumed, limit, args.joints, found, movements(plan), square)
    print(json.dumps(report_json(report), indent=1) if args.json else "\n".join(report_text(report)))
    return 0


def report_json(report: FitReport) -> dict[str, Any]:
    """The prediction as JSON-ready data."""
    plan = report.plan
    clearance, depth, most = least_square(report)
    return {
        "title": plan.title,
        "kerf": _number(report.kerf),
        "clearance": _number(plan.joint.clearance),
        "limit": _number(report.limit),
        "joints": report.joints,
        "seed": SEED,
        "uncertainty": {
            **{name: _number(getattr(report.errors, name)) for name in ("setting", "kerf", "reference")},
            "assumed": list(report.assumed),
            "coverage": COVERAGE,
        },
        "fits": [_outcome_json(report, one) for one in report.outcomes],
        "square": {
            "most_degrees": _number(most),
            "depth": _number(depth),
            "clearance": _number(clearance),
            "degrees": report.square.degrees,
            "noted_utc": report.square.noted.astimezone(UTC).isoformat() if report.square.noted else None,
        },
        "wood": [
            {
                "part": one.part,
                "wood": one.wood,
                "grain": one.grain,
                "moisture_cutting": round(one.before, 3),
                "moisture_glue_up": round(one.after, 3),
                "wider": None if one.strain is None else _number(one.strain * float(plan.width)),
                "note": one.note,
            }
            for one in report.movements
        ],
        "not_covered": list(not_covered(plan)),
        "warnings": list(warnings(report)),
    }


def _outcome_json(report: FitReport, one: FitOutcome) -> dict[str, Any]:
    joint = one.prediction.joint
    return {
        "name": one.prediction.name,
        "key": one.prediction.key,
        "clearance": _number(joint.clearance),
        "fingers": joint.fingers,
        "gaps": [
            {"at": _number(gap.at), "beside": gap.side, **_band_json(band)}
            for gap, band in zip(joint.gaps, bands(joint, report.errors), strict=True)
        ],
        "room": None if one.room is None else _band_json(one.room),
        "chances": _chances_json(one.chances),
        "serves_a_step_off": _number(one.a_step_off),
        "copies": one.prediction.copies,
        "all_go": _number(one.chances.all_go(one.prediction.copies)),
        "best": {
            "clearance": None if one.best is None else _number(one.best),
            "chances": None if one.with_best is None else _chances_json(one.with_best),
            "serves_a_step_off": None if one.best_a_step_off is None else _number(one.best_a_step_off),
        },
    }


def _band_json(band: Band) -> dict[str, Any]:
    ends = {"root_sum_square": band.rss, "worst_case": band.worst}
    return {
        "middle": _number(band.middle),
        **{name: [_number(band.middle - off), _number(band.middle + off)] for name, off in ends.items()},
    }


def _chances_json(found: Chances) -> dict[str, float]:
    names = ("goes", "flush", "no_gap_over", "serves", "step", "great_step", "doubt")
    return {name: _number(getattr(found, name)) for name in names}


def _number(value: Fraction | float) -> float:
    return round(float(value), 9)
