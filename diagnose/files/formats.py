"""Files of older formats, lifted to the newest: one pure function a step, on the composed nodes.

What a key is when it is left out stays what it was in the format that the file names. Keys that a
lift puts in carry the tag `LIFTED`, so that the reader knows them from the author's own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import yaml

from diagnose.files.cautions import EACH, WHEN_ENERGISED
from diagnose.files.definitions import CARD_LISTS, CAUTIONS, TREE
from diagnose.files.kinds import LIFTED
from diagnose.files.tree import OUT_OF_USE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from diagnose.files.kinds import Record

#: ISO 7010: disconnect before carrying out maintenance or repair.
DISCONNECT: Final = "M021"


def lifted(record: Record, top: yaml.MappingNode, said: int) -> None:
    """Lift a file's nodes, in place, from the format that it names to the newest."""
    for steps in _STEPS[said - 1 :]:
        if record.words in steps:
            steps[record.words](top)


def _tree_of_format_1(top: yaml.MappingNode) -> None:
    """Lists of the card are shown by a key of their own; what service has to mend is not used."""
    for step in _inside(top, "steps"):
        keys = _keys(step)
        line = keys.get("from_card")
        if line is not None and _text(line[1]) in CARD_LISTS:
            step.value.remove(line)
            listed = yaml.SequenceNode("", [line[1]], line[1].start_mark, line[1].end_mark)
            step.value.append((_key("show_card", line[0]), listed))
        who = keys.get("who")
        if who is not None and _text(who[1]) == "service" and "finding" in keys:
            step.value.append(_pair("until_mended", OUT_OF_USE, who[0]))


def _cautions_of_format_1(top: yaml.MappingNode) -> None:
    """Each line had its own confirmation; a lockout was known by its sign and by its lapsing."""
    for caution in _inside(top, "cautions"):
        keys = _keys(caution)
        if not keys:
            continue
        at = next(iter(keys.values()))[0]
        caution.value.append(_pair("confirm_lines", EACH, at))
        lapses, signs = keys.get("lapses"), keys.get("signs")
        if lapses is None or signs is None or not isinstance(signs[1], yaml.SequenceNode):
            continue
        if _text(lapses[1]) == WHEN_ENERGISED and DISCONNECT in map(_text, signs[1].value):
            caution.value.append(_pair("lockout", "true", at))


#: From format n to n + 1 at place n - 1: what is done to each kind of file that changed.
_STEPS: Final[tuple[dict[str, Callable[[yaml.MappingNode], None]], ...]] = (
    {TREE.words: _tree_of_format_1, CAUTIONS.words: _cautions_of_format_1},
    {},  # Format 3 has new keys only, which say nothing where they are left out.
)


def _inside(top: yaml.MappingNode, key: str) -> Iterator[yaml.MappingNode]:
    """Yield the mappings that stand under the ids of one key."""
    found = _keys(top).get(key)
    if found is not None and isinstance(found[1], yaml.MappingNode):
        for _, value in found[1].value:
            if isinstance(value, yaml.MappingNode):
                yield value


def _keys(node: yaml.MappingNode) -> dict[str, tuple[yaml.Node, yaml.Node]]:
    return {key.value: (key, value) for key, value in node.value if type(key) is yaml.ScalarNode}


def _text(node: yaml.Node) -> str:
    return node.value.strip() if isinstance(node, yaml.ScalarNode) else ""


def _key(name: str, at: yaml.Node) -> yaml.ScalarNode:
    return yaml.ScalarNode(LIFTED, name, at.start_mark, at.end_mark)


def _pair(name: str, value: str, at: yaml.Node) -> tuple[yaml.ScalarNode, yaml.ScalarNode]:
    return _key(name, at), yaml.ScalarNode("", value, at.start_mark, at.end_mark)
