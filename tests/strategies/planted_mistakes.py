"""Mistakes as people make them, planted in files of three libraries, each at its exact place.

A row is (library, file, old text, new text, code, how many problems are shown). `▸` in the new text
stands before the character at which the problem has to stand, or the first of them; it is taken out
before the text is put in. Two of the libraries are of other machines, invented for these tests.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

from strategies.unseen_mistakes import OR, OURS, PUMP, SCRUBBER, SEALER, THEIRS

ROOT: Final = Path(__file__).parents[2]
LIBRARIES: Final = {
    SEALER: ROOT / "tests" / "rules" / "libraries" / SEALER,
    PUMP: ROOT / "tests" / "rules" / "libraries" / PUMP,
    SCRUBBER: ROOT / "trees",
}

PLANTED = [
    # A space or a colon that is missing, or one too many.
    (SEALER, "no-cut.yaml", "    ask: What does the knife do?", "    ask:▸What does the knife do?", "yaml", 1),
    (SEALER, "no-cut.yaml", "      It comes down: edge-felt", "      It comes down:▸edge-felt", "yaml", 1),
    (SEALER, "no-cut.yaml", "start: knife-seen", "start:▸knife-seen", "yaml", 1),
    (SEALER, "no-cut.yaml", "      Less than 4 bar: air-low\n      4 bar or more: valve-stuck", "      Less than 4 bar:▸air-low\n      4 bar or more:valve-stuck", "yaml", 1),
    (PUMP, "trickle.yaml", "{below: 1, call", "{below:▸1, call", "yaml", 1),
    (PUMP, "trickle.yaml", "below: 3, call: some", "below: 3▸ call: some", "yaml", 1),
    (PUMP, "trickle.yaml", "      - {below: 3", "      -▸{below: 3", "yaml", 1),
    (PUMP, "cautions.yaml", "    covers: [belt]", "    covers▸ [belt]", "yaml", 1),
    (PUMP, "no-water.yaml", "  belt-look:\n", "  belt-look▸\n", "yaml", 1),
    (PUMP, "no-water.yaml", "steps:\n", "steps▸\n", "yaml", 1),
    (SCRUBBER, "leak.yaml", "      A tank was filled: caps-look", "      A tank was filled▸ caps-look", "yaml", 1),
    (SCRUBBER, "leak.yaml", "    look_for: The battery sits below the hood.", "    look_for: The battery▸: below the hood.", "yaml", 1),
    (SCRUBBER, "machines/dock.yaml", "stands: Bay 3, beside the charging place", "stands: Bay 3▸: beside the charging place", "yaml", 1),
    (SCRUBBER, "site.yaml", "    call".strip() + ":\n", "call▸\n", "yaml", 1),
    (SEALER, "rounds/evening.yaml", "    look_for: No glue is left on it.", "    look_for: No glue is left▸:", "yaml", 1),
    # Quotation marks.
    (SEALER, "no-cut.yaml", "    ask: How is the edge?", "    ask: ▸'How is the edge?", "yaml", 1),
    (SEALER, "no-cut.yaml", "    ask: How is the edge?", "    ask: 'How▸'s the edge?'", "yaml", 1),
    (SEALER, "no-cut.yaml", "    ask: How is the edge?", '    ask: "How is▸" the edge?', "yaml", 1),
    (SEALER, "no-cut.yaml", "    ask: How is the edge?", '    ask: "How is the ▸"edge"?"', "yaml", 1),
    (SEALER, "no-cut.yaml", "    ask: How is the edge?", '    ask: How is the edge?▸"', "yaml", 1),
    (SEALER, "weak-seam.yaml", '      "At the fold, along all of it": bar-dirty', '      ▸"At the fold, along all of it: bar-dirty', "yaml", 1),
    (PUMP, "no-water.yaml", "title: No water comes\n", 'title: ▸"No water comes\n', "yaml", 1),
    (PUMP, "no-water.yaml", "    remedy: Rinse the strainer.", "    remedy: 'Don▸'t force the strainer.'", "yaml", 1),
    (SCRUBBER, "cautions.yaml", '      - "It cannot roll: level', "      - It cannot roll▸: level", "yaml", 1),
    (SCRUBBER, "brushes-stopped.yaml", '      "Nothing, it is dark": all-dead', '      ▸"Nothing, it is dark: all-dead', "yaml", 1),
    # What begins a text and means something else.
    (PUMP, "no-water.yaml", "    ask: Does water come now?", "    ask: ▸*Does* water come now?", "yaml", 1),
    (PUMP, "no-water.yaml", "    ask: Does water come now?", "    ask: ▸%Does water come now?", "yaml", 1),
    (PUMP, "no-water.yaml", "    ask: Does water come now?", "    ask: ▸`Does` water come now?", "yaml", 1),
    (PUMP, "no-water.yaml", "    ask: Does water come now?", "    ask: ▸!Does water come now?", "anchor", 1),
    (PUMP, "no-water.yaml", "    ask: Does water come now?", "    ask: ▸> 3 litres?", "yaml", 1),
    (PUMP, "no-water.yaml", "    ask: Does water come now?", "    ask: ▸[Does water come?]", "wrong-shape", 1),
    (PUMP, "no-water.yaml", "  - pump runs, no water", "  - pump runs▸: no water", "yaml", 1),
    (PUMP, "no-water.yaml", "    parts: [belt]", "    parts: ▸belt", "wrong-shape", 1),
    # Where a line stands.
    (SEALER, "weak-seam.yaml", "    note_down: Length of the open part", "     ▸note_down: Length of the open part", "yaml", 1),
    (SEALER, "weak-seam.yaml", "    note_down: Length of the open part", "▸note_down: Length of the open part", "yaml", 1),
    (SEALER, "weak-seam.yaml", "  time-short:\n    read", " ▸time-short:\n    read", "yaml", 1),
    (SEALER, "weak-seam.yaml", "    bands:\n", "  ▸bands:\n", "unknown-key", 1),
    (SEALER, "weak-seam.yaml", "  seam-look:\n", "    ▸seam-look:\n", "no-such-step", 1),
    (PUMP, "no-water.yaml", "    tool: size 13 spanner\n    hazards: [belt]\n", "▸\ttool: size 13 spanner\n\thazards: [belt]\n", "yaml", 1),
    (PUMP, "no-water.yaml", "    tool: size 13 spanner\n", "  ▸\u00a0 tool: size 13 spanner\n", "yaml", 1),
    (PUMP, "no-water.yaml", "    ask: How is the belt?", "    ask:▸\u00a0How is the belt?", "yaml", 1),
    (PUMP, "cautions.yaml", "    lapses: never\n", f"▸{OURS} mine\n    lapses: never\n{OR}\n    lapses: when energised\n{THEIRS} theirs\n", "yaml", 1),
    (SCRUBBER, "streaking.yaml", "also_called:\n", f"also_called:\n▸{OURS} HEAD\n  - lines\n{OR}\n  - stripes\n{THEIRS} main\n", "yaml", 1),
    # What the format wants.
    (SEALER, "weak-seam.yaml", "    chance: 12", "    ▸chanec: 12", "unknown-key", 1),
    (SEALER, "no-cut.yaml", "    ask: How is the edge?", "    ▸aks: How is the edge?", "no-such-step", 1),
    (PUMP, "cautions.yaml", "format: 2", "▸fromat: 2", "unknown-key", 1),
    (PUMP, "cautions.yaml", "    signal: DANGER", "    ▸signl: DANGER", "unknown-key", 1),
    (PUMP, "cautions.yaml", "    lapses: never", "    lapses: ▸nevr", "unknown-word", 1),
    (PUMP, "trickle.yaml", "  hose-look:\n    ask", "  ▸gauge-read:\n    ask", "repeated-key", 1),
    (SCRUBBER, "machines/aisle.yaml", "path_width: 63 cm", "path_width: ▸63", "not-a-quantity", 1),
    # Names.
    (SEALER, "cautions.yaml", "  knife: {title", "  ▸knive: {title", "unknown-hazard", 1),
    (SEALER, "cautions.yaml", "  paper-dust: {title", "  ▸fluff: {title", "unknown-hazard", 1),
    (SEALER, "cautions.yaml", "covers: [paper-dust]", "covers: [▸paper-dst]", "unknown-hazard", 1),
    (SEALER, "cautions.yaml", "includes: [cooled]", "includes: [▸coled]", "unknown-caution", 1),
    (SEALER, "no-cut.yaml", "  edge-felt:\n", "  ▸edge-fellt:\n", "unknown-step", 1),
    (SEALER, "no-cut.yaml", "continue_with: weak-seam", "continue_with: ▸weak-seem", "unknown-symptom", 1),
    (SEALER, "machines/line-one.yaml", "kind: table-sealer", "kind: ▸table-saeler", "unknown-kind", 1),
    (PUMP, "no-water.yaml", "    passes: It hums evenly", "    passes: ▸It hums evenli", "unknown-answer", 1),
    (SCRUBBER, "leak.yaml", "      Grey: where-dirty", "      ▸Grye: where-dirty", "worked-case", 1),
    (PUMP, "trickle.yaml", "    read: value", "    read: ▸valeu", "unknown-measurement", 1),
    (SCRUBBER, "cautions.yaml", "  moving-machine:", "  ▸moving-mashine:", "unknown-hazard", 1),
    (SCRUBBER, "leak.yaml", "  acid-where:\n", "  ▸acid-were:\n", "unknown-step", 1),
    (SCRUBBER, "machines/kinds/hall-scrubber.yaml", "format: 2", "format: ▸two", "not-a-number", 1),
    # Two at once.
    (SEALER, "weak-seam.yaml", "    ask: What does the gauge show?\n    look_for: 'The green field is right for this paper.'", "    ask:▸What does the gauge show?\n    look_for: 'The green field's right.'", "yaml", 2),
    (SEALER, "weak-seam.yaml", "    ask: What does the gauge show?", "    ask: What▸: the gauge?\n    minuts: 3", "yaml", 2),
]  # fmt: skip
