"""Events of the log at random, and words that were met in logs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import msgspec
from hypothesis import strategies as st

from diagnose.case.screens import Cause
from diagnose.case.state import Trace
from diagnose.files.site import Contact
from diagnose.log.events import (
    CameTo,
    CardAnswer,
    CaseOver,
    CautionKept,
    CautionShown,
    FigureTaken,
    FindingKept,
    Found,
    ItemReplied,
    Mark,
    Noted,
    Opened,
    Outset,
    PassedStep,
    ReadingTaken,
    Released,
    Replied,
    Resumed,
    RoundOpened,
    Shown,
    TreeKept,
)
from diagnose.measure.model import Expected

if TYPE_CHECKING:
    from hypothesis.strategies import SearchStrategy

    from diagnose.log.events import Event

#: What a text may hold; halves of letters come from command lines and are replaced when written.
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
numbers = st.floats(allow_nan=False, allow_infinity=False)
chances = st.floats(0, 1)
CARD: Final = st.one_of(
    st.none(),
    st.fixed_dictionaries(
        {"machine": texts, "title": texts},
        optional={"battery": st.dictionaries(texts, texts, max_size=2), "hours": texts},
    ),
)


def several(strategy: SearchStrategy, most: int = 2) -> SearchStrategy:  # type: ignore[type-arg]
    return st.lists(strategy, max_size=most).map(tuple)


def named(strategy: SearchStrategy) -> SearchStrategy:  # type: ignore[type-arg]
    return st.dictionaries(texts, strategy, max_size=2)


def _all_of(kind: type[msgspec.Struct], **own: SearchStrategy) -> SearchStrategy:  # type: ignore[type-arg]
    """Return all values of a kind; what has a default may be left out."""
    fields = msgspec.structs.fields(kind)
    needed = {f.name: own[f.name] for f in fields if f.required}
    rest = {f.name: own[f.name] for f in fields if not f.required}
    return st.fixed_dictionaries(needed, optional=rest).map(lambda known: kind(**known))


traces = st.builds(Trace, what=texts, symptom=texts, step=texts, why=texts)
cautions_shown = _all_of(
    CautionShown,
    **dict.fromkeys(("id", "title", "signal", "text"), texts),
    **{name: several(texts) for name in ("signs", "confirm", "hazards", "includes")},
    again=st.booleans(),
)
shown = _all_of(
    Shown,
    **dict.fromkeys(
        (
            *("screen", "title", "do", "ask", "look_for", "tool", "finding", "who", "remedy"),
            *(
                "leave_safe",
                "until_mended",
                "ask_service",
                "phase",
                "lines",
                "signal",
                "text",
                "read",
            ),
        ),
        texts,
    ),
    **{
        name: several(texts)
        for name in ("answers", "before_trying", "parts", "signs", "confirm", "hazards")
    },
    **dict.fromkeys(("minutes_left", "probability", "minutes"), numbers),
    likelier=several(st.builds(Cause, step=texts, finding=texts, probability=numbers)),
    **{name: st.integers(0, 99) for name in ("open", "number", "total")},
    checked=st.booleans(),
    again=st.booleans(),
    cautions=several(cautions_shown),
)
figures = _all_of(
    FigureTaken,
    value=numbers,
    unit=texts,
    band=texts,
    good_to=st.none() | numbers,
    expected=st.one_of(
        st.none(),
        st.builds(Expected, low=st.none() | numbers, high=st.none() | numbers, source=texts),
    ),
    workings=several(texts),
)
readings = _all_of(
    ReadingTaken,
    inputs=named(texts),
    si=several(st.tuples(texts, numbers, texts)),
    figure=figures,
)
trees = _all_of(
    TreeKept,
    title=texts,
    hash=texts,
    from_card=several(_all_of(CardAnswer, step=texts, words=texts, line=texts, answer=texts)),
    findings=named(
        _all_of(
            FindingKept,
            finding=texts,
            chance=numbers,
            who=texts,
            parts=several(texts),
            ask_service=texts,
            leave_safe=texts,
            hazards=several(texts),
        )
    ),
)
came_to = _all_of(
    CameTo,
    total=st.integers(0, 9),
    done=st.integers(0, 9),
    marks=several(_all_of(Mark, item=texts, do=texts, mark=texts, starts=texts)),
    locked=st.booleans(),
)
outsets = _all_of(
    Outset,
    role=texts,
    name=texts,
    card=CARD,
    cautions=named(
        _all_of(
            CautionKept,
            title=texts,
            lapses=st.booleans(),
            lockout=st.booleans(),
            worn=st.booleans(),
        )
    ),
    site=texts,
    call=named(_all_of(Contact, name=texts, phone=texts)),
)
_every = {"trail": several(traces), "in_force": several(texts)}
_held = _every | {
    "likely": named(several(st.builds(Cause, step=texts, finding=texts, probability=chances))),
    "trees": named(trees),
    "passed": several(
        _all_of(PassedStep, symptom=texts, step=texts, words=texts, why=texts, reason=texts)
    ),
}
ALARMS: Final = ("danger", "mistake")
cures = several(st.tuples(texts, texts))

EVENTS: Final[dict[type, SearchStrategy[Event]]] = {
    Opened: _all_of(
        Opened,
        symptom=texts,
        words=texts,
        seen=st.dictionaries(texts, texts, max_size=2),
        outset=outsets,
        **_held,
    ),
    RoundOpened: _all_of(
        RoundOpened, round=texts, title=texts, every=texts, outset=outsets, **_every
    ),
    Replied: _all_of(
        Replied,
        reply=st.sampled_from(["answer", "done", "cured", "refer", "back", "leave", *ALARMS]),
        symptom=texts,
        step=texts,
        shown=shown,
        caution=texts,
        refused=several(texts),
        typed=texts,
        answer=texts,
        to=texts,
        reading=st.one_of(st.none(), readings),
        cures=cures,
        closing=named(chances),
        **_held,
    ),
    ItemReplied: _all_of(
        ItemReplied,
        reply=st.sampled_from(["done", "not right", "not now", "back", "leave", *ALARMS]),
        item=texts,
        shown=shown,
        caution=texts,
        refused=several(texts),
        typed=texts,
        answer=texts,
        starts=texts,
        came_to=came_to,
        **_every,
    ),
    CaseOver: _all_of(CaseOver, symptom=texts, how=texts, came_to=came_to, **_every),
    Resumed: _all_of(
        Resumed,
        symptom=texts,
        role=texts,
        name=texts,
        fits=st.integers(0, 9),
        misfits=st.integers(0, 9),
        came_to=came_to,
        **_held,
    ),
    Noted: _all_of(Noted, text=texts, step=texts, symptom=texts, what=texts, **_every),
    Found: _all_of(
        Found,
        symptom=texts,
        finding=texts,
        cures=cures,
        name=texts,
        released=st.none() | st.booleans(),
        other=texts,
        **_every,
    ),
    Released: _all_of(Released, name=texts, **_every),
}
events: SearchStrategy[Event] = st.one_of(*EVENTS.values())
ends = st.sampled_from(["left", "cured", "referred", "walked", "withdrawn", "danger"]).map(
    lambda why: (Trace(what="ended", symptom="s", step="", why=why),)
)
