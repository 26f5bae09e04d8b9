"""`compare` of 1,000 trees with 10,000 steps, against composing the files that it reads.

`python tests/benchmarks/bench_compare.py` prints each figure with the limit that it is held to;
exit code 1 if one is missed. In processor seconds, with the collector as the program has it.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import yaml
from bench_core import best_of_processor, guarded
from figures import Figure, report

from diagnose import app
from diagnose.files.library import built_in

if TYPE_CHECKING:
    from collections.abc import Iterator

MACHINES = 40
#: Each of them is for machines of one kind, and has steps that not every machine meets.
FOR_SOME = 200


def compare_figures() -> Iterator[Figure]:
    """Time it for trees that are any machine's, and for a fleet of which each has its own."""
    for what, fleet in (("1,000 trees", False), (f"and a fleet of {MACHINES}", True)):
        with tempfile.TemporaryDirectory() as name:
            old, new = Path(name) / "old", Path(name) / "new"
            _write(old, fleet=fleet)
            shutil.copytree(old, new)
            for path in sorted(new.glob("tree-*7.yaml")):
                path.write_text(path.read_text().replace("[brush-drive, sharps]", "[sharps]", 1))
            for path in sorted(new.glob("machines/*.yaml")):
                path.write_text(path.read_text().replace("flooded", "sealed"))
            texts = [path.read_text() for path in sorted(Path(name).rglob("*.yaml"))]
            composing = best_of_processor(
                lambda texts=texts: [yaml.compose(t, yaml.CSafeLoader) for t in texts], 3
            )
            comparing = best_of_processor(lambda old=old, new=new: _compared(old, new), 2)
            shown = f"{composing:.2f} s, {comparing:.2f} s"
            yield f"{what}: compare / yaml.compose", comparing / composing, 9.0, shown


def _write(folder: Path, *, fleet: bool) -> None:
    (folder / "machines" / "kinds").mkdir(parents=True)
    shutil.copy(built_in() / "cautions.yaml", folder / "cautions.yaml")
    for number, (symptom, text) in enumerate(guarded(1_000, 10).items()):
        mine = _for_some(text) if fleet and number < FOR_SOME else text
        (folder / f"{symptom}.yaml").write_text(mine)
    if fleet:
        (folder / "machines" / "kinds" / "rider.yaml").write_text(
            "format: 3\nkind: rider\ntitle: A rider\n"
        )
        for number in range(MACHINES):
            kind = ("flooded", "lithium")[number % 2]
            text = f"format: 3\nmachine: m-{number}\ntitle: Machine {number}\nkind: rider\n"
            text += f"battery: {{kind: {kind}}}\n"
            (folder / "machines" / f"m-{number}.yaml").write_text(text)


def _for_some(text: str) -> str:
    text = text.replace("format: 1", "format: 3\nkinds: [rider]", 1)
    text = text.replace("service\n", "service\n    until_mended: out of use\n")
    only = "    slip: 0.05\n    passes: The blade is clean\n    applies_to: {battery.kind: [flooded]}\n"
    return text.replace("    slip: 0.05\n", only)


def _compared(old: Path, new: Path) -> None:
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        code = app.run(["compare", str(old), str(new)])
    assert code == 1, said.getvalue()[:500]
    assert "no longer in force" in said.getvalue(), said.getvalue()[:500]


if __name__ == "__main__":
    sys.exit(report(compare_figures))
