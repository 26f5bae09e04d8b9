"""How cases end: machines with a known cause, answers that slip, a person who follows the screens.

3,000 machines over the built-in symptoms, the same in every run, are walked in this process on the
demo machine `dock` by somebody who may do all that is not service's. `python
tests/benchmarks/bench_endings.py` prints a row a symptom: of the causes that the person may put
right, how many of 100 were cured and how many referred needlessly; of service's, how many were
referred with the cause among the top three; replies and minutes of a case, as medians. Where a
symptom stays below its goal, it names the check whose wrong answer costs most: of 100 of its cases,
so many more would have ended well had that one answer been right and all else the same.

The same is printed without wrong answers, for an operator with no machine card, and for a printed
chart: there, the first finding is the last, and then service is called. Exit code 1 if a goal is
missed. Not part of the test run, which holds a smaller one to wider limits.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path
from statistics import median

from figures import Figure, report

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from strategies.shop_floor import own_symptoms, visit_as

from diagnose.drill.outcomes import Machine, Outcome, Person, dearest

#: Machines over all symptoms.
MACHINES = 3_000

#: Of 100 of the person's causes cured, of 100 of service's in the top three; replies at most.
CURED, NAMED, REPLIES = 95.0, 90.0, 13.0


def endings() -> list[Figure]:
    """With slips, and what is held to the goals."""
    visit = visit_as("battery-trained", "dock")
    cases = walked("as it is", Person(visit))
    print("What costs most, where a symptom stays below:")
    for symptom, own in cases.items():
        if below(own):
            print(f"  {symptom:18}{what_costs(Person(visit), own)}", flush=True)
    print()
    walked("without slips", Person(visit), slips=False)
    walked("a printed chart", Person(visit, chart=True))
    walked("an operator, no machine card", Person(visit_as("operator", None)))
    together = [case for own in cases.values() for case in own]
    cured, named = shares(together)
    return [
        ("of 100 causes of one's own not cured, so referred needlessly", 100 - cured, 5.0, ""),
        ("of 100 for service not referred with the cause in the top three", 100 - named, 10.0, ""),
        ("replies, median", median(case.replies for case in together), REPLIES, ""),
        ("minutes, median", median(case.minutes for case in together), math.inf, ""),
    ]


def walked(what: str, person: Person, *, slips: bool = True) -> dict[str, list[Outcome]]:
    """Walk all machines, print a row a symptom and one for all, and return how they ended."""
    symptoms = own_symptoms(person.visit)
    each = MACHINES // len(symptoms)
    print(f"{what + ', of 100:':33} cured  needlessly   for service  replies  minutes")
    cases = {
        symptom: [
            person.walks(Machine(person.visit.tree, symptom, seed, slips=slips))
            for seed in range(each)
        ]
        for symptom in symptoms
    }
    for symptom, own in cases.items():
        print(row(symptom, own), flush=True)
    print(row("all", [case for own in cases.values() for case in own]), "\n", flush=True)
    return cases


def row(name: str, cases: list[Outcome]) -> str:
    """Return a row of the table."""
    cured, named = shares(cases)
    mine = sum(case.mine for case in cases)
    numbers = f"{cured:6.1f} {100 - cured:11.1f} {named:13.1f}"
    replies, minutes = (median(getattr(c, what) for c in cases) for what in ("replies", "minutes"))
    return f"  {name:18}{mine:5} + {len(cases) - mine:4} {numbers} {replies:8.1f} {minutes:8.1f}"


def shares(cases: list[Outcome]) -> tuple[float, float]:
    """Return of 100 of one's own how many were cured, and of 100 of others' how many were named."""
    mine = [case.cured for case in cases if case.mine]
    others = [case.well for case in cases if not case.mine]
    return 100 * sum(mine) / len(mine), 100 * sum(others) / len(others)


def below(cases: list[Outcome]) -> bool:
    """Whether a symptom misses a goal."""
    cured, named = shares(cases)
    return cured < CURED or named < NAMED or median(case.replies for case in cases) > REPLIES


def what_costs(person: Person, cases: list[Outcome]) -> str:
    """Return in words which checks cost most by their wrong answers, one at a time set right."""
    costs = dearest(person, cases)
    named = [
        f"{step if symptom == cases[0].symptom else f'{symptom}/{step}'} {100 * n / len(cases):.1f}"
        for (symptom, step), n in costs.steps[:3]
    ]
    rest = 100 * costs.without / len(cases)
    return f"{', '.join(named) or 'no single answer'}  (without any slip: {rest:.1f})"


if __name__ == "__main__":
    sys.exit(report(endings))
