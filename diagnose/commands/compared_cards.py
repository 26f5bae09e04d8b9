"""What an edit does to machine cards, kinds of machine and the site, line by line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from msgspec import Struct

from diagnose.files.library import SITE_FILE
from diagnose.study.compare_machines import Lines, compared_lines
from diagnose.text import shortened

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from diagnose.files.card import Card, MachineKind
    from diagnose.files.library import Library
    from diagnose.files.site import Site

#: As many letters of a line are shown.
_WORDS: Final = 60


class Told(Struct, kw_only=True):
    """What is said of one file: its title, data for other programs, lines; and what guards less.

    Each of `guards` has the names by which it may be allowed, and one sentence.
    """

    title: str
    data: dict[str, Any]
    lines: list[str] = []
    guards: list[tuple[tuple[str, ...], str]] = []


def compared_cards(old: Library, new: Library) -> Iterator[Told]:
    """Yield each card, kind and site that differs."""
    yield from _each("machines", old.machines, new.machines)
    yield from _each("machines/kinds", old.kinds, new.kinds)
    before, after = _site(old.site), _site(new.site)
    lines = compared_lines(before, after)
    guards = list(_contacts(lines)) + list(_dangers(old.site, new.site))
    if lines or guards:
        yield _told(f"{SITE_FILE}: the site", lines, guards)


def _each(
    inside: str,
    old: Mapping[str, Card] | Mapping[str, MachineKind],
    new: Mapping[str, Card] | Mapping[str, MachineKind],
) -> Iterator[Told]:
    for name in dict.fromkeys((*old, *new)):
        is_, was = new.get(name), old.get(name)
        if is_ is None:
            title = f"{inside}/{name}: {old[name].title}"
            yield Told(title=title, data={"removed": True}, lines=["It is gone."])
        elif was is None:
            title = f"{inside}/{name}: {is_.title}"
            yield Told(title=title, data={"added": True}, lines=["It is new."])
        elif lines := compared_lines(_said(was), _said(is_)):
            yield _told(f"{inside}/{name}: {is_.title}", lines, [])


def _said(one: Card | MachineKind) -> dict[str, Any]:
    """Return the lines of a card or a kind, its title and the kind that a card names too."""
    return {"title": one.title, "kind": one.kind or "none", **one.lines}


def _site(site: Site | None) -> dict[str, Any]:
    if site is None:
        return {}
    said: dict[str, Any] = {
        "name": site.name,
        "altitude": site.altitude,
        "call_out_minutes": site.call_out_minutes,
        "call": {who: {"name": one.name, "phone": one.phone} for who, one in site.call.items()},
        "also_danger": dict.fromkeys(site.also_danger, "means danger"),
    }
    return {name: value for name, value in said.items() if value is not None}


def _contacts(lines: Lines) -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield each contact of the site that is gone."""
    for path in lines.removed:
        if path.startswith("call.") and path.endswith(".phone"):
            who = path.split(".")[1]
            said = f"{SITE_FILE}: it no longer says whom to call ({who.replace('_', ' ')})"
            yield (who, f"{SITE_FILE}.{who}"), said


def _dangers(old: Site | None, new: Site | None) -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield each word that does not mean danger any more."""
    for word in () if old is None else old.also_danger:
        if new is None or word not in new.also_danger:
            said = f'{SITE_FILE}: "{shortened(word, _WORDS)}" no longer means danger'
            yield ("also_danger", f"{SITE_FILE}.also_danger"), said


def _told(title: str, lines: Lines, guards: list[tuple[tuple[str, ...], str]]) -> Told:
    told = [f"{path}: new, {_cut(text)}" for path, text in lines.added.items()]
    told += [f"{path}: gone, was {_cut(text)}" for path, text in lines.removed.items()]
    told += [f"{path}: {_cut(is_)}, was {_cut(was)}" for path, (was, is_) in lines.changed.items()]
    data = {
        "added": lines.added,
        "removed": lines.removed,
        "changed": [
            {"line": path, "old": was, "new": is_} for path, (was, is_) in lines.changed.items()
        ],
    }
    return Told(title=title, data={"lines": data}, lines=told, guards=guards)


def _cut(text: str) -> str:
    return shortened(text, _WORDS)
