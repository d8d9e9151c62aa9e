"""Bad values for every option of every command: one sentence with what and remedy, none of the parser's own words."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from truestop.cli import main

from .conftest import Run

BAD = ("x", "", "-1", "0.5.5", "nan", "2027-13-99")
PARSERS_WORDS = re.compile(r"Value error|Input should|Usage:|Traceback|went wrong|pydantic|Invalid value|NoneType")
ARGUMENTS = {"instrument": "violin"}


def options_of(name: str) -> tuple[list[str], list[str]]:
    """The arguments a command needs, none of them there, and its options that take a value."""
    command = main.app_command(name)
    needed = [p for p in command.params if p.param_type_name == "argument" and p.required]
    valued = [p.opts[0] for p in command.params if p.param_type_name == "option" and not p.is_flag]
    return [ARGUMENTS.get(str(p.name), "nowhere.abc") for p in needed], valued


@pytest.mark.parametrize("name", [name for name in main.COMMANDS if name not in ("room", "demo", "gallery", "restore")])
def test_no_option_answers_in_the_parsers_words(
    shell: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    arguments, options = options_of(name)
    for option in options:
        for value in BAD:
            ran = shell(name, *arguments, f"{option}={value}")
            assert PARSERS_WORDS.search(ran.err) is None, (option, value, ran.err)
            assert ran.code in (0, 2), (option, value, ran.err)
            if ran.code == 2:
                assert len(ran.err.strip().splitlines()) == 1, (option, value, ran.err)


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("sheet", "STUDY", "--pulse", "1"), "--pulse: '1' is out of range. Give a number from 20 to 300."),
        (("sheet", "STUDY", "--pulse", "fast"), "--pulse: 'fast' is not a number. Give a number from 20 to 300."),
        (("sheet", "STUDY", "--shift", "1.5"), "--shift: '1.5' is not a whole number."),
        (("shifts", "STUDY", "--a4", "x"), "--a4: 'x' is not a number. Give a number."),
        (("shifts", "STUDY", "--instrument", "lute"), "Choose one of violin, viola, cello, bass."),
        (("shifts", "STUDY", "--size", ""), "'' is not a violin size truestop knows."),
        (("judge", "STUDY", "x.wav", "--recorded", "x"), "Write a day and a time like 2027-05-14T18:30"),
        (("deadline", "Study", "soon"), "DAY: 'soon' cannot be read. Day it is performed, like 2027-05-14"),
        (("shifts",), "PASSAGE is missing. A MusicXML, ABC or MIDI file"),
        (("shifts", "STUDY", "--lute"), "No such option: --lute"),
        (("shifts", "STUDY", "again"), "Got unexpected extra argument (again)."),
        (("fiddle",), "No such command 'fiddle'. truestop --help shows what it takes."),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_a_fault_in_the_command_line_says_what_and_the_remedy(
    shell: Run, study: Path, arguments: tuple[str, ...], expected: str
) -> None:
    ran = shell(*(study if argument == "STUDY" else argument for argument in arguments))
    assert ran.code == 2
    assert expected in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_the_list_of_commands_cuts_no_sentence_off(shell: Run) -> None:
    ran = shell("--help")
    assert ran.code == 0
    assert "..." not in ran.out.partition("Commands:")[2]
    assert max(len(line) for line in ran.out.splitlines()) <= 80
