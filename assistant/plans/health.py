"""What `ready` checks about the plans: the shop file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from assistant.errors import Fault
from assistant.health import BROKEN, WORKS, Finding, one_line, with_tilde
from assistant.joinery.units import plain_length
from assistant.plans.model import Shop


def shop_file(
    path: Path | None, mended: Callable[[Sequence[Fault]], Sequence[Fault]] = list
) -> tuple[Finding, Shop | None]:
    """The shop file: without a kerf nothing can be cut. mended: gives each fault the mend that fits the command."""
    from assistant.plans.shop_file import default_shop_path, try_shop

    try:
        shop, faults = try_shop(path)
        where = path or default_shop_path()
    except OSError as error:
        return Finding("shop file", BROKEN, one_line(error), "make sure that it can be read"), None
    if shop is not None and not faults:
        kerf = plain_length(shop.blade.kerf, shop.unit)
        data = {"path": str(where), "kerf_mm": float(shop.blade.kerf)}
        return Finding("shop file", WORKS, f"{with_tilde(where)}, kerf {kerf}", "", data), shop
    faults = list(mended(faults))
    texts = [f"{fault.where}: {fault.what}" + (f" (got {fault.value})" if fault.value else "") for fault in faults]
    each = [{"text": text, "mend": fault.mend} for text, fault in zip(texts, faults, strict=True)]
    mend = "; ".join(dict.fromkeys(fault.mend for fault in faults))
    return Finding("shop file", BROKEN, "; ".join(texts), mend, {"path": str(where), "faults": each}), None
