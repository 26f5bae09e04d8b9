"""What the reader refuses in a file: one function a code, its docstring the manual's page on it.

`whole_files.py` beside it has those on a file as such; these are on the values in it.
"""

from __future__ import annotations

from typing import NamedTuple


class Refusal(NamedTuple):
    """Why a value cannot be read, without its place."""

    code: str
    message: str


def wrong_shape(wanted: str) -> Refusal:
    """A list, a mapping or a single text stands where the format wants another of the three.

    What is meant cannot be told from such a value, so nothing below it is read.

    Passes:
        also_called: [wet lines, smears]
    Fails:
        also_called: wet lines
    """
    return Refusal("wrong-shape", wanted)


def empty_value(wanted: str) -> Refusal:
    """A key stands there, and nothing behind it.

    Whoever left it out may have meant to come back to it; at the machine a line would be missing.

    Passes:
        title: It leaves lines
    Fails:
        title:
    """
    return Refusal("empty-value", f"Write {wanted} here: nothing is there.")


def control_character(message: str) -> Refusal:
    """A character that no one can see stands in the text, or an escape for one.

    It could move the cursor, change colours or turn the text round on the screen of whoever reads
    it: a line of a caution could look like another one. One without any width makes two answers
    that look alike.

    Passes:
        title: "It leaves 3 % of the floor wet"
    Fails:
        title: "It leaves \\e[8m lines"
    """
    return Refusal("control-character", message)


def line_end(wanted: str) -> Refusal:
    """A title, a question, an answer or a name runs over more than one line.

    It is one line of a screen, of a list and of the case log. Longer texts (`do`, `look_for`,
    `remedy`, a caution's `text`) may be written over several.

    Passes:
        title: It leaves lines
    Fails:
        title: "It leaves\\nlines"
    """
    return Refusal("line-end", f"Write {wanted}, all on one line.")


def unknown_key(shown: str, of: str, hint: str) -> Refusal:
    """A key that the format does not have at this place.

    It is misspelt, or indented too far or too little; what stands behind it would be lost without a
    word. docs/format.md lists the keys.

    Passes:
        also_called: [smears]
    Fails:
        also_caled: [smears]
    """
    mend = f"Write a key that {of} has" if not hint else "Write another key"
    return Refusal("unknown-key", f'{mend}: "{shown}" is none of {of}.{hint}')


def too_far_left(shown: str, of: str) -> Refusal:
    """Return why a key that belongs into the entry above it is no entry itself."""
    message = (
        f'Write this line further to the right: "{shown}" is a key of {of}, not one of its own.'
    )
    return Refusal("unknown-key", message)


def later_key(shown: str, since: int, said: int) -> Refusal:
    """The key came with a later format than the one that the file names.

    An older program would not know it, and reads any file of a format that it knows: what the key
    says, a caution's own lines among it, would be lost there without a word. Raise `format` at the
    top of the file.

    Passes:
        machine: sample
        call_out_minutes: 90
    Fails:
        format: 1
        machine: sample
        call_out_minutes: 90
    """
    message = (
        f'Write `format: {since}` at the top: "{shown}" came with it, and this file says {said}.'
    )
    return Refusal("later-key", message)


def repeated_key(shown: str, line: int) -> Refusal:
    """The same key stands twice in one mapping.

    Only one of the two could count, and which one the author meant cannot be known.

    Passes:
        title: It leaves lines
    Fails:
        title: It leaves lines
        title: It leaves smears
    """
    message = (
        f'Write another word here, or delete one of the two: "{shown}" is in line {line} already.'
    )
    return Refusal("repeated-key", message)


def missing_key(of: str, key: str, wanted: str) -> Refusal:
    """A key that has to be there is missing.

    There is nothing sensible to take in its place. A finding has to say `who` may do its remedy,
    unless it is a doorway to another symptom.

    Passes:
        steps: {broken: {finding: It is worn, chance: 30, who: operator, remedy: Turn it.}}
    Fails:
        steps: {broken: {finding: It is worn, who: operator, remedy: Turn it.}}
    """
    return Refusal("missing-key", f"Write `{key}` too, {wanted}: {of} needs it.")


def not_a_number(wanted: str) -> Refusal:
    """A number is wanted, written plainly and without a unit.

    Minutes, chances and limits are computed with. Which unit they are in is fixed by the format.

    Passes:
        steps: {little: {chance: 20}}
    Fails:
        steps: {little: {chance: 20 %}}
    """
    return Refusal("not-a-number", f"Write {wanted}, without a unit.")


def out_of_range(shown: str, wanted: str) -> Refusal:
    """A number lies outside what it can be.

    A chance of nought would hide a finding for ever, and half of all answers wrong is a coin.

    Passes:
        steps: {little: {chance: 0.5}}
    Fails:
        steps: {little: {chance: 0}}
    """
    return Refusal("out-of-range", f"Write {wanted}: {shown} is out of range.")


def not_an_id(shown: str) -> Refusal:
    """An id holds small letters, digits and hyphens only, and begins with a letter.

    Ids are file names, are typed as arguments and stand in the case log; in this form they come
    through all of these unchanged.

    Passes:
        machine: sample
    Fails:
        machine: Dock Machine
    """
    message = (
        f'Write small letters, digits and hyphens, a letter first, 100 at most: "{shown}" is no id.'
    )
    return Refusal("not-an-id", message)


def not_a_name(shown: str, wanted: str) -> Refusal:
    """The name of an input holds small letters, digits and underlines only, a letter first.

    It stands in the formula, where a hyphen is a minus, and is typed before the figure that is
    read: `before=100 L`. 40 characters are enough for it.

    Passes:
        measurements:
          slip: {formula: t_in, inputs: {t_in: {title: turns, unit: rpm, least: 1, most: 9}}}
    Fails:
        measurements:
          slip: {formula: t-in, inputs: {t-in: {title: turns, unit: rpm, least: 1, most: 9}}}
    """
    return Refusal("not-a-name", f'"{shown}" is no name of an input: write {wanted}.')


def unknown_word(message: str) -> Refusal:
    """Only certain words may stand here, and this is none of them.

    They decide who may do a step, what a caution looks like or when it ends, so nothing near to
    them will do. `yes`, `no`, `on` and `off` are words like any other: write true or false.

    Passes:
        every: week
    Fails:
        every: weekly
    """
    return Refusal("unknown-word", message)


def not_a_quantity(shown: str, wanted: str) -> Refusal:
    """A quantity on a machine card is a number with its unit.

    Cards are copied from nameplates of all countries; a number alone can be litres or gallons.

    Passes:
        tanks: {clean: 110 L}
    Fails:
        tanks: {clean: "110"}
    """
    message = f'Write {wanted}: "{shown}" is no quantity.'
    return Refusal("not-a-quantity", message)


def too_few(least: int) -> Refusal:
    """A list or mapping has fewer entries than make sense.

    A question with a single answer asks nothing, and a caution without a line to confirm says
    nothing.

    Passes:
        steps: {first: {answers: {It is broken: broken, It looks right: second}}}
    Fails:
        steps: {first: {answers: {It looks right: second}}}
    """
    return Refusal("too-few", f"Write at least {least} here.")


def no_such_step(message: str) -> Refusal:
    """A step is a check (`ask`), a reading (`read`) or a finding (`finding`): just one of these.

    The key says which it is, and so which other keys it has. For a band it is `below` or
    `otherwise`.

    Passes:
        steps: {first: {ask: "Is it dry?", answers: {Dry: broken, Wet: second}}}
    Fails:
        steps: {first: {ask: "Is it dry?", read: value, answers: {Dry: broken, Wet: second}}}
    """
    return Refusal("no-such-step", message[0].upper() + message[1:])


#: All of them; each has its page in the manual.
VALUE_REFUSALS = (
    unknown_key,
    later_key,
    missing_key,
    repeated_key,
    empty_value,
    wrong_shape,
    too_few,
    not_an_id,
    not_a_name,
    unknown_word,
    not_a_number,
    out_of_range,
    not_a_quantity,
    no_such_step,
    control_character,
    line_end,
)
