"""What the log of a case tells, read once: what counts, what holds, who did what.

An answer that was taken back does not count. What was done to the machine does, taken back or not:
cautions follow time and not the path.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from diagnose.case.replay import MOVES
from diagnose.case.replay import standing as not_withdrawn
from diagnose.files import replies

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from diagnose.case.log import LoggedEvent

STANDS: Final = "stands"
LIMPS: Final = "limps"
RUNS: Final = "runs"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Whether the machine stands, limps or runs, and what in the log says so."""

    state: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A caution that was confirmed, by whom, with the lines that were confirmed.

    `lapses` and `lockout` say what kind it is; `included`: it came with the one on the screen.
    `ended` is when it ended, and `how`: released; tried out (with a remedy); gone back (from a
    remedy, which may have been tried out); unknown (the case was taken up again, and nobody
    knows); taken again, after that; or None while it is in force.
    """

    at: str
    id: str
    title: str
    by: str
    confirm: tuple[str, ...]
    lapses: bool
    lockout: bool
    included: bool = False
    ended: str | None = None
    how: str | None = None


class Told:
    """The events of a case, with what is asked of them more than once."""

    def __init__(self, events: Sequence[LoggedEvent]) -> None:
        self.bodies: list[Mapping[str, Any]] = [
            {**event.body, "at": event.at, "number": event.number} for event in events
        ]
        self.first = self.more(self.bodies[0])
        self.moves = not_withdrawn(self.bodies)
        self.trees: dict[str, Mapping[str, Any]] = {}
        for body in self.bodies:
            for symptom, tree in self.more(body).get("trees", {}).items():
                self.trees.setdefault(symptom, tree)
        # Neither what service reported nor a resume is a reply of whoever walked the case.
        spoken = [b for b in self.bodies if b["kind"] not in ("found", "resumed")]
        self.last_reply = spoken[-1]
        danger = [body for body in self.bodies if body["kind"] == replies.DANGER]
        self.danger = danger[-1] if danger else None
        # What counts of the case, with what followed from it: its opening, the moves, its end.
        self.counting = [self.bodies[0], *self.moves]
        if self.last_reply["kind"] not in (*MOVES, "opened", replies.BACK, replies.DONE):
            self.counting.append(self.last_reply)

    @staticmethod
    def more(body: Mapping[str, Any]) -> Mapping[str, Any]:
        """Return what only this kind of event has."""
        return body["more"] or {}

    def title(self, symptom: str) -> str:
        """Return a symptom in words, or its id."""
        return str(self.trees.get(symptom, {}).get("title", symptom))

    def findings(self, symptom: str) -> Mapping[str, Any]:
        """Return what the log knows of a symptom's findings, by id."""
        return self.trees.get(symptom, {}).get("findings", {})  # type: ignore[no-any-return]

    def traces(self) -> Iterator[tuple[Mapping[str, Any], Mapping[str, str]]]:
        """Yield what followed from each event that counts, with that event."""
        for body in self.counting:
            for trace in body["trail"]:
                yield body, trace

    def entered(self) -> list[str]:
        """Return the symptoms that were entered, the first one first."""
        first = self.bodies[0]["symptom"]
        # A round has no symptom of its own, but may have begun some.
        begun = [first] if first else list(self.trees)
        return list(dict.fromkeys([*begun, *self.doors.values()]))

    @property
    def doors(self) -> dict[tuple[str, str], str]:
        """The doorways that were passed, by symptom and step, with the symptom behind each."""
        entered = (trace for _, trace in self.traces() if trace["what"] == "entered")
        return {(trace["symptom"], trace["step"]): trace["why"] for trace in entered}

    @staticmethod
    def words(body: Mapping[str, Any]) -> str:
        """Return the question, the cause or the caution that an event replied to."""
        shown = body["shown"] or {}
        return str(shown.get("ask") or shown.get("finding") or shown.get("title") or "")

    def people(self) -> Iterator[tuple[str, str]]:
        """Yield who walked the case from when on."""
        for body in self.bodies:
            role = self.more(body).get("role")
            if role:
                yield body["at"], role

    @property
    def stopped_at(self) -> tuple[str, str] | None:
        """The finding for service at which the case was referred or left: symptom, step."""
        last = self.last_reply
        shown = last["shown"] or {}
        if last["kind"] not in (replies.REFER, replies.LEAVE) or shown["screen"] != "finding":
            return None
        return (last["symptom"], last["step"]) if shown["who"] == "service" else None

    def for_service(self) -> list[tuple[str, str, bool]]:
        """Return the findings for service that were shown: symptom, step, whether it was reached.

        Reached by an answer, or the place where the case stopped; else it was offered as the best
        of what was left.
        """
        met: dict[tuple[str, str], bool] = {}
        for _, trace in self.traces():
            key = (trace["symptom"], trace["step"])
            finding = self.findings(trace["symptom"]).get(trace["step"])
            if trace["what"] == "rests" and finding and finding["who"] == "service":
                met[key] = met.get(key, False) or trace["why"] != "unchecked"
        if self.stopped_at is not None:
            met[self.stopped_at] = True
        return [(symptom, step, reached) for (symptom, step), reached in met.items()]

    def cautions(self) -> list[Taken]:
        """Return every caution that was confirmed, in order, with how it ended."""
        known = self.first.get("cautions", {})
        rows: list[dict[str, Any]] = []
        open_: dict[str, dict[str, Any]] = {}
        by = ""
        for body in self.bodies:
            more = self.more(body)
            if "in_force" not in more:
                continue
            shown = body["shown"] or {}
            tried_out = body["kind"] in (replies.CURED, replies.NOT_CURED)
            for id_ in [id_ for id_ in open_ if id_ not in more["in_force"]]:
                row = open_.pop(id_)
                row["ended"] = body["at"]
                row["how"] = _ending(body, id_)
            by = more.get("role", by)
            fresh = [id_ for id_ in more["in_force"] if id_ not in open_]
            for row in rows:
                if row["how"] == "unknown" and (tried_out or row["id"] in fresh):
                    row["how"] = "tried out" if tried_out else "taken again"
            for id_ in sorted(fresh, key=lambda id_: id_ != body["caution"]):
                kind = known.get(id_, {})
                open_[id_] = {
                    "at": body["at"],
                    "id": id_,
                    "title": kind.get("title", id_),
                    "by": by,
                    "confirm": tuple(shown.get("confirm", ())),
                    "lapses": kind.get("lapses", False),
                    "lockout": kind.get("lockout", False),
                    "included": id_ != body["caution"],
                    "ended": None,
                    "how": None,
                }
                rows.append(open_[id_])
        return [Taken(**row) for row in rows]


def standing(outcome: str, events: Sequence[LoggedEvent]) -> Standing:
    """Return whether a machine stands, limps or runs, as far as the log of its case knows.

    In this order: a cured machine runs. It stands after a danger; while a lockout is in force, or
    was when the case was taken up again and nobody has confirmed anything since; and where a
    finding for service says how to leave it, if the answers led there or the case stopped at it.
    Else it limps: it is not cured, and nothing in the log keeps anybody from using it.
    """
    told = Told(events)
    if outcome == "cured":
        return Standing(state=RUNS, why="tried out and cured")
    if told.danger is not None:
        return Standing(state=STANDS, why="a danger was reported")
    locked = [taken for taken in told.cautions() if taken.lockout and taken.how is None]
    if locked:
        return Standing(state=STANDS, why=f"{locked[-1].title}: in force, not released")
    if any(taken.lockout and taken.how == "unknown" for taken in told.cautions()):
        return Standing(state=STANDS, why="the log does not know of its lockout's release")
    for symptom, step, reached in reversed(told.for_service()):
        safe = told.findings(symptom)[step]["leave_safe"]
        if safe and reached:
            return Standing(state=STANDS, why="a cause for service, to be left safe")
    return Standing(state=LIMPS, why="not cured; nothing in the log keeps anybody from using it")


def _ending(body: Mapping[str, Any], caution: str) -> str:
    """Return how a caution ended with an event."""
    if body["kind"] == replies.DONE and body["caution"] == caution:
        return "released"
    return {"resumed": "unknown", replies.BACK: "gone back"}.get(body["kind"], "tried out")
