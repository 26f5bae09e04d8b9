"""Thirty mistakes, written down before the reader and the checker were made to find their causes.

Each is (library, file, old text, new text, code, how many problems are shown). `▸` in the new text
stands before the character at which the one problem has to stand; it is taken out first. The code of
a unit that is not known was `not-a-quantity` when the row was written, and right.
"""

from __future__ import annotations

#: The marks of a merge, put together here so that no merge takes them for its own.
OURS, BEFORE, OR, THEIRS = (7 * sign for sign in "<|=>")

SEALER, PUMP, SCRUBBER = "bag-sealer", "well-pump", "built-in"

UNSEEN = [
    # Punctuation of one line.
    (SEALER, "weak-seam.yaml", "    ask: What does the gauge show?", "    ask:▸What does the gauge show?", "yaml", 1),
    (SEALER, "weak-seam.yaml", '    ask: "How does it open?"', '    ask: ▸"How does it open?', "yaml", 1),
    (SEALER, "weak-seam.yaml", "    look_for: 'The green field is right for this paper.'", "    look_for: 'The paper▸'s field is the green one.'", "yaml", 1),
    (SEALER, "weak-seam.yaml", "      Less than the green field: heat-low", "      Less than the green field▸ heat-low", "yaml", 1),
    (SEALER, "no-cut.yaml", "    remedy: Change the knife.", "    remedy: Change it▸: two screws hold it.", "yaml", 1),
    (SEALER, "no-cut.yaml", "      It is nicked: edge-nicked", "     ▸It is nicked: edge-nicked", "yaml", 1),
    (SEALER, "no-cut.yaml", "    hazards: [knife, paper-dust]", "    hazards: ▸[knife, paper-dust", "yaml", 1),
    (SEALER, "rounds/evening.yaml", "    do: Wipe the bar.", "    do: ▸@Wipe the bar.", "yaml", 1),
    (PUMP, "no-water.yaml", "    ask: How is the belt?", "    ask: ▸*How* is the belt?", "yaml", 1),
    (PUMP, "no-water.yaml", "    remedy: Rinse the strainer.", "▸\tremedy: Rinse the strainer.", "yaml", 1),
    (PUMP, "no-water.yaml", "    tool: size 13 spanner", "    tool:▸\u00a0size 13 spanner", "yaml", 1),
    (PUMP, "no-water.yaml", "  - taps are dry\n", "  -▸taps are dry\n", "yaml", 1),
    (PUMP, "cautions.yaml", "    text: Nobody stands at an open well.", '    text: "Nobody stands▸" at an open well.', "yaml", 1),
    (SCRUBBER, "leak.yaml", "    ask: Where does it come from?\n", '    ask: "Where does it come from?"▸"\n', "yaml", 1),
    (SCRUBBER, "streaking.yaml", "start: ", f"▸{OURS} mine\nstart: ", "yaml", 1),
    # What the format wants.
    (SEALER, "weak-seam.yaml", "    do: Count the seconds that the bar is down.", "    do: ▸[Count the seconds that the bar is down.]", "wrong-shape", 1),
    (SEALER, "weak-seam.yaml", "    chance: 12", "    ▸chanse: 12", "unknown-key", 1),
    (PUMP, "trickle.yaml", "start: gauge-read", "▸strt: gauge-read", "unknown-key", 1),
    (PUMP, "trickle.yaml", "    ask: What does the hose look like?", "    ▸aks: What does the hose look like?", "no-such-step", 1),
    (SCRUBBER, "machines/dock.yaml", "tanks: {clean: 96 L,", "tanks: {clean: ▸96 Lt,", "card-value", 1),
    (SCRUBBER, "cautions.yaml", "    signal: CAUTION\n    signs: [W011]", "    signal: ▸CAUTOIN\n    signs: [W011]", "unknown-word", 1),
    # Names.
    (SEALER, "cautions.yaml", "  hot-bar: {title", "  ▸hot-baar: {title", "unknown-hazard", 1),
    (SEALER, "weak-seam.yaml", "  seam-look:\n", "  ▸saem-look:\n", "unknown-step", 1),
    (SEALER, "no-cut.yaml", "It comes down: edge-felt", "It comes down: ▸edge-flet", "unknown-step", 1),
    (PUMP, "cautions.yaml", "    covers: [belt]", "    covers: [▸bellt]", "unknown-hazard", 1),
    (PUMP, "no-water.yaml", "      It rattles: belt-look", "      ▸It ratles: belt-look", "worked-case", 1),
    (PUMP, "rounds/monday.yaml", "    starts: trickle", "    starts: ▸trikle", "unknown-symptom", 1),
    (SCRUBBER, "cautions.yaml", "  lockout:\n", "  ▸lokcout:\n", "unknown-caution", 1),
    (SCRUBBER, "machines/kinds/hall-scrubber.yaml", "kind: hall-scrubber", "kind: ▸hall-scruber", "not-the-file-name", 1),
    (SCRUBBER, "leak.yaml", "  joints-look:\n", "  ▸caps-look:\n", "repeated-key", 1),
]  # fmt: skip
