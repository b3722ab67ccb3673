"""The command in a shell: alone, missed by a letter, completed, and how it ends."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import shlex
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest
from tests.cli.conftest import Run

ROOT = Path(__file__).resolve().parents[2]


def test_alone_it_shows_three_questions_whose_commands_work(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    status, out, err = run()
    assert (status, err) == (0, "")
    lines = out.splitlines()
    commands = [line.strip() for line in lines if line.startswith("    steybrae ")]
    assert [lines[lines.index(f"    {command}") - 1][-1] for command in commands] == ["?"] * 3
    for command in commands:
        assert run(*shlex.split(command)[1:])[0] == 0, command
    assert "decides nothing" in out
    assert "local avalanche forecast" in out


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        (("rout", "--sample"), "No such command 'rout'. Did you mean route? See steybrae --help."),
        (("xyz",), "No such command 'xyz'. See steybrae --help."),
        (("sheet", "scal"), "No such command 'scal'. Did you mean 'scale'? See steybrae sheet --help."),
        (
            ("route", "--samle"),
            "No such option: --samle. Did you mean --sample? See steybrae route --help.",
        ),
        (("gap", "--zzzz"), "No such option: --zzzz. See steybrae gap --help."),
        (
            ("reading", "-34deg"),
            "A value should have no sign; got one that begins with '-3'. Leave the sign out. "
            "See steybrae reading --help.",
        ),
        (
            ("ground", "--wihtin", "20m", "59.2240", "-8.0574"),
            "Every option should be one of this command's; it has no --wihtin. Did you mean --within? "
            "See its --help.",
        ),
    ],
)
def test_a_near_miss_is_answered_with_the_near_one(run: Run, typed: tuple[str, ...], sentence: str) -> None:
    assert run(*typed) == (2, "", f"steybrae: {sentence}\n")


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        (("gap", "--scale", "1:25000", "--scale", "1:50000", "--interval", "10m"), "--scale"),
        (("spacing", "--index-every", "5", "--index-every", "4"), "--index-every"),
        (("card", "--sample", "--date", "2027-01-15", "--date", "2027-01-16"), "--date"),
        (("card", "--sample", "--paper", "a5", "--page", "a4"), "--paper"),
        (("ground", "59.2240", "-8.0574", "--sample", "--within", "5m", "--within", "50m"), "--within"),
        (("sheet field", "--out", "x.pdf", "--paper", "a4", "--paper", "letter"), "--paper"),
    ],
)
def test_an_option_given_twice_is_refused(run: Run, typed: tuple[str, ...], name: str) -> None:
    """The last was taken, and the other passed over without a word."""
    command = typed[0]
    said = f"{name} takes one value; got 2. Give the one that is meant. See steybrae {command} --help."
    assert run(*command.split(), *typed[1:]) == (2, "", f"steybrae: {said}\n")


def module(*typed: str, **more: str) -> subprocess.CompletedProcess[str]:
    """Run ``python -m steybrae``."""
    return subprocess.run(
        [sys.executable, "-m", "steybrae", *typed],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, **more},
    )


def test_it_runs_as_a_module() -> None:
    ran = module("gap", "--scale", "1:25000", "--interval", "10m", "--gap", "2.5mm")
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "Slope 9.1°" in ran.stdout


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish", "powershell", "pwsh"])
@pytest.mark.parametrize(
    ("typed", "last", "found"),
    [("steybrae rou", "rou", "route"), ("steybrae route --vert", "--vert", "--vertical-error")],
)
def test_shells_complete_commands_and_options(shell: str, typed: str, last: str, found: str) -> None:
    words = {
        "_STEYBRAE_COMPLETE": f"complete_{shell}",
        "COMP_WORDS": typed,
        "COMP_CWORD": str(len(typed.split()) - 1),
        "_TYPER_COMPLETE_ARGS": typed,
        "_TYPER_COMPLETE_WORD_TO_COMPLETE": last,
        "_TYPER_COMPLETE_FISH_ACTION": "get-args",
    }
    ran = module(**words)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert found in ran.stdout


def test_the_readme_tells_exit_statuses_and_the_file_of_settings() -> None:
    text = (ROOT / "README.md").read_text("utf-8")
    for words in ("| 0 |", "| 1 |", "| 2 |", "| 130 |", "--install-completion", "`steybrae.toml`"):
        assert words in text, words


def test_the_readme_shows_what_route_prints(run: Run) -> None:
    """Real lines of the answer in its order, with ``[...]`` where some are left out."""
    _, _, section = (ROOT / "README.md").read_text("utf-8").partition("## What the answer looks like\n")
    shown = re.sub(r"^ {4}", "", re.findall(r"(?:^    .*\n)+", section, re.MULTILINE)[1], flags=re.MULTILINE)
    assert 10 <= len(shown.splitlines()) <= 20
    status, printed, err = run("route", "--sample")
    assert (status, err) == (0, "")
    pieces = [piece for piece in re.split(r"^\[\.\.\.\]\n", shown, flags=re.MULTILINE) if piece]
    at = 0
    for piece in pieces:
        assert f"\n{piece}" in f"\n{printed[at:]}", "put the lines of the answer as it is now into the README"
        at = printed.index(piece, at) + len(piece)


def test_the_readme_s_commands_can_be_run_one_after_another() -> None:
    """Three of them wrote card.pdf and three plan.html: the second and third were refused."""
    text = (ROOT / "README.md").read_text("utf-8")
    out = r" --(?:pdf|phone|out|report|figure|save|csv|geojson|answers) (\S+)"
    lines = [
        line for line in re.findall(r"^    (steybrae [^#\n]*)", text, re.MULTILINE) if "--resume" not in line
    ]
    written = [name for line in lines for name in re.findall(out, line)]
    assert len(written) > 20
    assert sorted(written) == sorted(set(written))


COMMANDS = (
    "gap",
    "spacing",
    "route",
    "ground",
    "reading",
    "card",
    "report",
    "desk",
    "area",
    "sheet practice",
)


def test_a_list_of_commands_has_whole_sentences(run: Run) -> None:
    """``steybrae sheet --help`` had "straight edge and..." and "a..."."""
    for words in ((), ("sheet",)):
        _, told, _ = run(*words, "--help")
        assert "..." not in told.partition("Commands:\n")[2]


def option_names(help_text: str) -> set[str]:
    return set(re.findall(r"^  (--[a-z-]+)", help_text, re.MULTILINE))


@pytest.mark.parametrize("command", COMMANDS)
def test_help_is_one_screen_and_the_rest_is_asked_for(
    run: Run, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    _, first, _ = run(*command.split(), "--help")
    _, whole, _ = run(*command.split(), "--help-all")
    # Names of the field alone: some options had "<path>" and "<str>" beside FILE and 1:N.
    assert not re.findall(r"<[a-z]+>", whole)
    assert len(first.splitlines()) <= 40
    assert max(map(len, (first + whole).splitlines())) <= 80
    more = option_names(whole) - option_names(first)
    told = re.findall(r"--help-all shows (\d+) more options", first)
    assert told == ([str(len(more))] if more else [])
    assert option_names(first) <= option_names(whole)


def on_terminal(*typed: str, columns: int = 80, **more: str) -> str:
    """Run the command on a terminal of its own."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    plain = {key: value for key, value in os.environ.items() if key not in ("COLUMNS", "NO_COLOR")}
    with subprocess.Popen(
        [sys.executable, "-m", "steybrae", *typed],
        stdout=theirs,
        stderr=theirs,
        env={**plain, "TERM": "xterm-256color", **more},
    ) as running:
        os.close(theirs)
        text = b""
        while True:
            try:
                got = os.read(ours, 65536)
            except OSError:  # the other end is closed
                break
            if not got:
                break
            text += got
        assert running.wait() == 0
    os.close(ours)
    return text.decode().replace("\r\n", "\n")


COLOUR = re.compile(r"\x1b\[[0-9;]*(3[0-8]|4[0-8]|9[0-7])[0-9;]*m")
ANY_ESCAPE = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")  # the bar moves the cursor, too


@pytest.mark.parametrize(
    "typed",
    [
        ("route", "--sample", "--reach", "500m", "--legs"),
        ("spacing", "--scale", "1:25000", "--interval", "10m", "--index-every", "5"),
    ],
)
def test_a_terminal_of_80_columns_without_colour(typed: tuple[str, ...]) -> None:
    told = on_terminal(*typed, NO_COLOR="1")
    assert not COLOUR.search(told)
    lines = ANY_ESCAPE.sub("", told).splitlines()
    assert max(map(len, lines)) <= 80
    assert not re.search(r"\d$\n\s*\.\d", told, re.MULTILINE)  # no figure is torn


def test_a_pipe_gets_no_escapes_and_a_dumb_terminal_none_either() -> None:
    typed = ("gap", "--scale", "1:25000", "--interval", "10m", "--gap", "2.5mm")
    piped = module(*typed, FORCE_COLOR="")
    assert "\x1b" not in piped.stdout
    assert "\x1b" not in on_terminal(*typed, TERM="dumb")
    # The same words, whatever they are printed on.
    assert " ".join(on_terminal(*typed, TERM="dumb").split()) == " ".join(piped.stdout.split())
