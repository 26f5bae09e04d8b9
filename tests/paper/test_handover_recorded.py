"""The page for service as it was read through once, from its fullest telling to its shortest.

One case with a doorway, a remedy in vain, an answer taken back, a reading, notes, a second person
and a lockout. Whoever changes the page on purpose reads the new one and keeps it here.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.paper.handover_sheet import FULL, ONE_PARAGRAPH, PACKED, SHORT_CHECKS, telling

if TYPE_CHECKING:
    from conftest import Desk

RECORDED = Path(__file__).with_name("handover_recorded.txt")
ANA = ["note E3", "Nothing odd", "back", "A puddle", "done", "Blocked", "not cured"]
ANA += ["note hour meter 1851 h", "leave"]
BO = ["volts=24.6", "They stand still", "done", "unsure", "not it", "refer"]


def test_a_page_is_told_as_it_was_recorded(desk: Desk) -> None:
    assert desk.trees is not None
    file = desk.trees / "alpha.yaml"
    text = file.read_text().replace("format: 1", "format: 2")
    text = text.replace("    who: service\n", "    who: service\n    until_mended: out of use\n")
    text = text.replace("is not picked up.", "is not picked up. It is left behind.")
    file.write_text(text.replace("do: Walk round it.", "do: Walk round it.\n    note_down: Code"))
    name = desk.start("alpha", ANA, "one", "--name", "Ana")
    desk.resume(name, BO, "--name", "Bo")
    page = desk.page(name)
    told = [telling(page, detail) for detail in (FULL, PACKED, SHORT_CHECKS, ONE_PARAGRAPH)]
    pages = "\n\n\n".join("\n".join(lines) for lines in told).replace(name, "K7Q2")
    assert f"{pages}\n" == RECORDED.read_text(encoding="utf-8")
    # However many causes are service's, it is asked for four things, for three where room is short.
    many = replace(page, asked=page.asked * 3)
    for detail, most in ((FULL, 4), (PACKED, 3)):
        asked = "\n".join(telling(many, detail))
        assert asked.count("Measure the motor") + asked.count("Test it.") == most
