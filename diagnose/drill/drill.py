"""The drill: replies in, the next screen out; no file, no clock, no terminal.

Where a drill stands is a frozen `Position`. The trainee picks any check, says which cautions are
put in force or ended before it, and is told what the machine shows; what was unsafe comes out at
the end. A trainee who knows the cause names it, and says whose work it is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from diagnose.case.screens import Named, RefusedScreen, phrase
from diagnose.case.walk import picked, word_of
from diagnose.drill import present, score
from diagnose.drill.exercise import Exercise, rank
from diagnose.drill.position import CAUSE, GUARD, HANDS, OVER, PICK, REMEDY, Position, Turn
from diagnose.drill.screens import SeenScreen
from diagnose.files import replies
from diagnose.files.tree import ROLES, Finding, Question, Reading
from diagnose.study.in_force import bits
from diagnose.text import did_you_mean, shortened

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.case.screens import Phrase, Screen
    from diagnose.drill.figures import Taken
    from diagnose.study.ready import ReadyTree


class Drill(Exercise):
    """The rules of one drill."""

    def start(self) -> Position:
        """Return the position at which the drill begins; what the machine card says is noted."""
        notes = []
        for number, answer in self.ready.from_card.items():
            question = self.ready.steps[number]
            assert isinstance(question, Question)
            words = question.exits[answer].answer
            notes.append(phrase("from-card", line=question.from_card, answer=words))
        return Position(notes=tuple(notes))

    def screen(self, position: Position) -> Screen:
        """Return the screen of a position."""
        return present.screen(self, position)

    def reply(self, position: Position, text: str) -> Turn:
        """Return what a reply comes to. One that cannot be understood changes nothing."""
        word = word_of(text)
        stage = position.stage
        fresh = replace(position, notes=())
        if word in (replies.LEAVE, replies.DANGER):
            notes = (phrase("end-danger"),) if word == replies.DANGER else ()
            # What was unsafe stays so, even if the trainee leaves before the end.
            outcome = score.FAILED if fresh.unsafe else score.LEFT
            return Turn(position=_over(replace(fresh, hands=""), outcome, notes))
        if not word:
            return self._refused(position, phrase("nothing-typed"))
        if word in present.REPLIES[stage]:
            if word == replies.BACK:
                return Turn(position=_back(fresh))
            if stage == PICK:
                return Turn(position=replace(fresh, stage=CAUSE))
            return self._begun(fresh)
        if stage in (GUARD, REMEDY):
            return self._at_guard(fresh, word, position)
        options = present.options(self, position)
        found = picked(options, word)
        if found is None:
            return self._refused(position, _no_such(word, options, stage))
        if stage == HANDS:
            return Turn(position=self._handed(fresh, found))
        following = GUARD if stage == PICK else HANDS
        step = self.ready.plan.number[found]
        return Turn(position=replace(fresh, stage=following, step=step))

    def _refused(self, position: Position, message: Phrase) -> Turn:
        screen = RefusedScreen(symptom=self.ready.tree.symptom, message=message)
        return Turn(position=position, interludes=(screen,))

    # Before a check, and what comes of it

    def _at_guard(self, fresh: Position, word: str, position: Position) -> Turn:
        """Take cautions, end them, hand the check over: several at once; a last `done` begins."""
        options = present.options(self, position)
        words = [word] if picked(options, word) else word.replace(",", " ").split()
        begins = len(words) > 1 and words[-1] == replies.DONE
        marked = fresh
        for one in words[:-1] if begins else words:
            found = picked(options, one)
            if found is None:
                return self._refused(position, _no_such(one, options, position.stage))
            marked = self._marked(marked, fresh, found)
        return self._begun(marked) if begins else Turn(position=marked)

    def _marked(self, position: Position, before: Position, found: str) -> Position:
        """Mark what was not marked `before` the line, and take back what was.

        So none of a line undoes what another of it did: of two that are ended, one may include the
        other.
        """
        number = self.table.number.get(found)
        if number is None:
            return replace(position, others="" if before.others == found else found)
        closure = self.table.closure
        bit = 1 << number
        if not before.in_force & bit:
            if self.table.closed(before.taking) & bit:
                wider = self._wider(before.taking, bit)
                return replace(position, taking=position.taking & ~wider)
            return replace(position, taking=position.taking | bit)
        if before.ending & bit:
            # What it includes has to stay with it.
            return replace(position, ending=position.ending & ~closure[number])
        return replace(position, ending=position.ending | self._wider(before.in_force, bit))

    def _wider(self, cautions: int, bit: int) -> int:
        """Return those of some cautions that are no longer whole without one of all."""
        return sum(1 << other for other in bits(cautions) if self.table.closure[other] & bit)

    def _begun(self, position: Position) -> Turn:
        body = self.ready.steps[position.step]
        if isinstance(body, Question):
            return self._looked(position, body)
        _, in_force = self.guarded(position)
        unsafe = (*position.unsafe, *self._missing(position.step, in_force))
        return Turn(position=self._judged(replace(position, in_force=in_force, unsafe=unsafe)))

    def _looked(self, position: Position, question: Question) -> Turn:
        step = position.step
        plan = self.ready.plan
        if position.others:
            # Whoever does it knows what it takes.
            needs = plan.needs[step]
            before = position.in_force & ~(self.table.lapsing if question.energises else 0)
            taken = self.table.called(needs, before)
            cost, in_force = self.table.take(needs, question.energises, position.in_force)
            unsafe, wrong = self._judged_helper(step, question.by, position.others)
        else:
            taken = self.table.called(self.table.closed(position.taking), position.in_force)
            cost, in_force = self.guarded(position)
            moves: list[score.UnsafeMove] = []
            if question.energises:
                lapsing = in_force & self.table.lapsing
                in_force &= ~lapsing
                moves += self._unguarded(score.NOT_ENDED, step, self.table.called(lapsing, 0))
            moves += self._missing(step, in_force)
            if rank(question.by) > rank(self.role):
                moves.append(self._not_yours(step, question.by))
            unsafe, wrong = tuple(moves), ()
        name = plan.ids[step]
        number = 1 + sum(look.step == name for look in position.looks)
        sight = self.machine.sight(step, number)
        look = score.Look(
            step=name,
            title=self.title(step),
            answer=question.exits[sight.answer].answer,
            minutes=question.minutes + cost,
            caution_minutes=cost,
            value=sight.taken.value if sight.taken else None,
            unit=_unit(self.ready, question),
            good_to=_good_to(self.ready, question, sight.taken),
            inputs=_inputs(self.ready, question, sight.taken),
            cautions=tuple(present.caution(self, number) for number in bits(taken)),
        )
        left = self.open_causes(position.looks) - self.open_causes((*position.looks, look))
        look = replace(look, ruled_out=max(0, left))
        after = Position(
            in_force=in_force,
            minutes=position.minutes + look.minutes,
            looks=(*position.looks, look),
            unsafe=(*position.unsafe, *unsafe),
            wrong_referrals=(*position.wrong_referrals, *wrong),
        )
        seen = SeenScreen(
            symptom=self.ready.tree.symptom,
            look=look,
            unsafe=unsafe if self.teach else (),
            used=after.minutes,
        )
        return Turn(position=after, interludes=(seen,))

    # What is unsafe, and what is handed to the wrong people

    def _missing(self, step: int, in_force: int) -> list[score.UnsafeMove]:
        called = self.table.called(self.ready.plan.needs[step], in_force)
        return self._unguarded(score.NOT_IN_FORCE, step, called)

    def _unguarded(self, kind: str, step: int, cautions: int) -> list[score.UnsafeMove]:
        return [
            score.UnsafeMove(
                kind=kind,
                step=self.ready.plan.ids[step],
                title=self.title(step),
                caution=present.caution(self, number),
                hazards=self._hazards(step, self.table.closure[number]),
            )
            for number in bits(cautions)
        ]

    def _not_yours(self, step: int, whose: str) -> score.UnsafeMove:
        name = self.ready.plan.ids[step]
        return score.UnsafeMove(
            kind=score.NOT_YOURS,
            step=name,
            title=self.title(step),
            whose=whose,
            hazards=self._hazards(step, -1),
        )

    def _hazards(self, step: int, cautions: int) -> tuple[Named, ...]:
        """Return the hazards of a step that some cautions are over; all of them for -1."""
        own = self.ready.steps[step].hazards
        over = [name for name in own if cautions < 0 or self.table.cover.get(name, 0) & cautions]
        if not over and cautions > 0:
            # It is asked for without a hazard of this step's own.
            over = [name for name, cover in self.table.cover.items() if cover & cautions]
        return tuple(Named(name, self.table.hazards[name]) for name in over)

    def _judged_helper(
        self, step: int, by: str, helper: str
    ) -> tuple[tuple[score.UnsafeMove, ...], tuple[score.WrongReferral, ...]]:
        if rank(helper) < rank(by):
            return (self._not_yours(step, by),), ()
        right = helper == by and rank(by) > rank(self.role)
        return (), () if right else (self._wrong(step, helper, by),)

    def _wrong(self, step: int, to: str, whose: str) -> score.WrongReferral:
        name = self.ready.plan.ids[step]
        return score.WrongReferral(step=name, title=self.title(step), to=to, whose=whose)

    # The end

    def _handed(self, position: Position, hands: str) -> Position:
        """Take whose work it is. What the trainee may do follows, under its cautions."""
        position = replace(position, hands=hands)
        named = self.ready.steps[position.step]
        assert isinstance(named, Finding)
        if hands == score.ELSEWHERE or named.continue_with:
            return self._judged(position)
        if rank(hands) < rank(named.who):
            unsafe = (*position.unsafe, self._not_yours(position.step, named.who))
            return self._judged(replace(position, unsafe=unsafe))
        own = rank(hands) <= rank(self.role)
        return replace(position, stage=REMEDY) if own else self._judged(position)

    def _judged(self, position: Position) -> Position:
        """End the drill: passed where cause and hands are right by evidence, and nothing unsafe."""
        whose = self.whose
        found = position.step == self.machine.cause
        wrong = position.wrong_referrals
        # Hands below the right ones are no referral: they are unsafe, or the cause was wrong.
        above = self.hands[self.hands.index(whose) + 1 :]
        if whose == score.ELSEWHERE:
            above = ROLES if found else ROLES[1:]
        if position.hands in above:
            wrong = (*wrong, self._wrong(self.machine.cause, position.hands, whose))
        rival = self.evidence.not_parted(position.step, self.answers(position.looks))
        right = found and position.hands == whose and rival is None
        passed = right and not position.unsafe and not wrong
        outcome = score.PASSED if passed else score.FAILED
        return _over(replace(position, wrong_referrals=wrong), outcome)


def _unit(ready: ReadyTree, question: Question) -> str:
    return ready.measurements[question.read].unit if isinstance(question, Reading) else ""


def _good_to(ready: ReadyTree, question: Question, taken: Taken | None) -> float | None:
    if not isinstance(question, Reading) or taken is None:
        return None
    uncertainty = ready.measurements[question.read].uncertainty
    return None if uncertainty is None else uncertainty.of(taken.value)


def _inputs(ready: ReadyTree, question: Question, taken: Taken | None) -> tuple[Named, ...]:
    """Return what was read for a figure, each with its name in words."""
    if not isinstance(question, Reading) or taken is None:
        return ()
    titles = {need.name: need.title for need in ready.measurements[question.read].needs}
    return tuple(Named(name, f"{titles[name]} {text}") for name, text in taken.typed)


def _over(position: Position, outcome: str, notes: tuple[Phrase, ...] = ()) -> Position:
    return replace(position, stage=OVER, outcome=outcome, notes=notes)


def _back(position: Position) -> Position:
    stage = {HANDS: CAUSE, REMEDY: HANDS}.get(position.stage, PICK)
    return replace(position, stage=stage, taking=0, ending=0, others="", hands="")


def _no_such(word: str, options: Sequence[Named], stage: str) -> Phrase:
    offered = present.REPLIES[stage]
    # A slip of the hand is no alarm, in the class room neither.
    known = [*(option.id for option in options), *offered]
    hint = did_you_mean(word, [one for one in known if one != replies.DANGER])
    typed = shortened(word)
    if not options:
        return phrase("no-such-reply", typed=typed, offered=", ".join(offered), hint=hint)
    return phrase("no-such-answer", typed=typed, last=len(options), hint=hint)
