"""Why a file as such is refused: one function a code, its docstring the manual's page on it."""

from __future__ import annotations

from diagnose.files.refusals import Refusal


def unreadable(reason: str) -> Refusal:
    """The file cannot be opened.

    It may be a folder, belong to somebody else, or lie on a disk that is gone. The other files of
    the library work all the same.
    """
    return Refusal("unreadable", f"The file cannot be read: {reason}.")


def unreadable_folder(reason: str) -> Refusal:
    """A folder of the library cannot be listed.

    The machine cards or rounds in it are missing then, and nobody at the machine would know. Ask
    whoever owns the folder for the right to read and search it.
    """
    return Refusal("unreadable-folder", f"The folder cannot be read: {reason}.")


def too_large() -> Refusal:
    """The file is over 8 MiB.

    A tree that a person has written has a few hundred lines; a larger file is most likely
    something else, and reading it would keep somebody waiting at the machine.
    """
    return Refusal("too-large", "Split this file, one symptom a file: it is over 8 MiB.")


def too_many() -> Refusal:
    """The file holds more than some 400,000 values.

    A tree that a person has written has a few thousand. So many would take the memory and the
    minutes of whoever stands at the machine.
    """
    message = "Split this file, one symptom a file: it holds more than 400,000 values."
    return Refusal("too-many", message)


def not_text() -> Refusal:
    """The file is no text in UTF-8.

    Files from older editors are often in another encoding, in which a degree sign or an umlaut is
    another byte. Save the file anew, as UTF-8.
    """
    return Refusal("not-text", "Save the file as UTF-8: this byte is none.")


def yaml(message: str) -> Refusal:
    """The text is no YAML: it breaks off, or its punctuation says something else.

    The place is the slip itself wherever one was found with which the rest can be read; else it is
    where the text stops making sense. Most often a text with a colon needs quotes, a space is
    missing behind a colon, or a line is indented too far. The rest of the file is read as well.

    Passes:
        title: "Lines: thin and wet"
    Fails:
        title: Lines: thin and wet
    """
    return Refusal("yaml", message)


def empty() -> Refusal:
    """Nothing stands in the file, or nothing but comments.

    An empty tree would be a symptom that nobody can start.

    Passes:
        title: It leaves lines
    Fails:
        # to be written
    """
    return Refusal("empty", "Write `format: 2` and the rest here: the file is empty.")


def anchor(what: str) -> Refusal:
    """Anchors, aliases and tags of YAML (`&name`, `*name`, `!name`) are not used in these files.

    With them a value would stand in another place than where it is read, and a few lines could
    unfold to gigabytes. Write the value out. A text that begins with such a mark is put in quotes.

    Passes:
        title: "*It* leaves lines"
    Fails:
        title: &it It leaves lines
    """
    message = f"Write the value out, or put the text in quotes: {what} not used in library files."
    return Refusal("anchor", message)


def newer_format(said: str, reads: int) -> Refusal:
    """The file's `format` is newer than this program.

    It may say things that this program would overlook, a caution among them; so it is not read at
    all. Update the program.

    Passes:
        format: 2
    Fails:
        format: 99
    """
    message = f"Update the program: it reads formats up to {reads}, and this file says {said}."
    return Refusal("newer-format", message)


def not_the_file_name(what: str, said: str, file: str, hint: str) -> Refusal:
    """The id in a file is not the file's name.

    Trees, rounds and cards are found by file name and logged by id. A copied file in which the id
    was forgotten would write into the other's history.

    Passes:
        symptom: sample
    Fails:
        symptom: simple
    """
    message = f'Write the id of the file name: the {what} is "{said}", the file {file}.{hint}'
    return Refusal("not-the-file-name", message)


def taken_name(what: str, said: str) -> Refusal:
    """A file has the name of a reply that the program itself uses.

    Symptoms and machines are typed where such a reply may be typed too. Whoever chose the symptom
    `danger` would report one.
    """
    message = f'Give the {what} another name: "{said}" is a reply that the program itself uses.'
    return Refusal("taken-name", message)


def stray(name: str, is_folder: bool, hint: str) -> Refusal:
    """Something lies in the library's folder that is not read.

    Whoever put it there believes that it counts. It is an error where it was meant to be read, a
    tree that ends with `.yml` or a folder with such files whose name is misspelt: a check that
    passes would say nothing about it. Anything else, such as a picture, is a warning.
    """
    if is_folder:
        own = "A library has machines, in it kinds, and rounds."
        message = f'Move this folder: "{name}" is not read. {own}'
    else:
        message = f'Give it a name that ends with .yaml, or move it: "{name}" is not read.'
    return Refusal("stray", f"{message}{hint}")


def empty_library(hint: str) -> Refusal:
    """No symptom tree stands in the folder.

    It may be the wrong folder. Nothing can be started from it.
    """
    message = f"Name the folder of a library: no symptom tree is in this one.{hint}"
    return Refusal("empty-library", message)


#: All of them; each has its page in the manual.
FILE_REFUSALS = (
    unreadable,
    unreadable_folder,
    too_large,
    too_many,
    not_text,
    empty,
    yaml,
    anchor,
    newer_format,
    not_the_file_name,
    taken_name,
    stray,
    empty_library,
)
