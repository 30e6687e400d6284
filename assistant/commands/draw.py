"""`kerfcall draw PLAN`: draws pictures and a cut sheet as PDF or SVG at true size, and the parts as DXF."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from assistant import files
from assistant.drawings.overwriting import why_not_written
from assistant.errors import BadInput, CouldNotRun, Fault
from assistant.plans.job import build_job
from assistant.plans.model import Job, Plan
from assistant.plans.plan_file import read_both

KINDS = ("svg", "pdf", "dxf")
TO_PRINT = "print it at 100 %, and measure the scales on the pages of strips before you use the strips"
NOTES = {"svg": TO_PRINT, "pdf": TO_PRINT, "dxf": "both parts at full size"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan, a TOML file")
    parser.add_argument("--shop", type=Path, metavar="FILE", help="the shop file (default: your own shop.toml)")
    parser.add_argument("--pdf", type=Path, metavar="FILE", help="all sheets, to print at 100 %%")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="the same sheets as one SVG file")
    parser.add_argument("--dxf", type=Path, metavar="FILE", help="both parts at full size, for CAD")
    parser.add_argument("--paper", choices=("a4", "letter"), help="default: a4, or letter if the shop's unit is in")


def run(args: argparse.Namespace) -> int:
    """Write every file asked for. Returns 0; raises BadInput, NoSuchPart or CouldNotRun."""
    wanted = {kind: path for kind in KINDS if (path := getattr(args, kind)) is not None}
    faults = [fault for kind, path in wanted.items() if (fault := why_not_written(kind, path, f"--{kind}")) is not None]
    if not wanted:
        faults.append(Fault("no file to write is given", "", "draw", "give --pdf FILE, --svg FILE or --dxf FILE"))
    if len({path.absolute() for path in wanted.values()}) < len(wanted):
        faults.append(Fault("one file can't hold two drawings", "", "draw", "give each file its own name"))
    if faults:
        raise BadInput(faults)
    plan, shop = read_both(args.plan, args.shop)
    job = build_job(plan, shop)
    # All are made before any is written: a missing library leaves nothing half done.
    made = {kind: _drawing(kind, plan, job, args.paper) for kind in wanted}
    for kind, path in wanted.items():
        try:
            # With the usual permissions, unlike our own files: a drawing is to be passed on.
            files.write_whole(path, made[kind], files.usual_mode())
        except OSError as error:
            raise CouldNotRun(f"{path} can't be written ({error.strerror}): choose another folder") from error
        print(f"{path}: {NOTES[kind]}")
    return 0


def _drawing(kind: str, plan: Plan, job: Job, paper: str | None) -> bytes:
    """The bytes of the file. Raises NoSuchPart if its library isn't installed."""
    if kind == "dxf":
        from assistant.drawings.dxf import write_dxf
        from assistant.drawings.models import model

        return write_dxf(model(plan, job), job.carriage.unit)

    from assistant.drawings.sheets import paper_for, sheets

    pages = sheets(plan, job, paper or paper_for(job.carriage.unit))
    if kind == "svg":
        from assistant.drawings.svg import write_svg

        return write_svg(pages, job.title)

    from assistant.drawings.pdf import write_pdf

    data, lacking = write_pdf(pages, job.title)
    if lacking:
        print(f"kerfcall: no font on this machine has {' '.join(lacking)}; the PDF shows ? instead", file=sys.stderr)
    return data
