"""The command as such: help, version, mistakes, faults, interrupts."""

from __future__ import annotations

import shutil
import subprocess
import sys

import pytest

from retune import __version__
from retune.cli.main import COMMANDS
from tests.cli.run import HYMN, process, run

HEAVY = ("numpy", "scipy", "sympy", "mido", "rich", "jinja2", "matplotlib", "retune.score", "retune.tuning")


def test_version():
    assert process("--version").text == f"retune {__version__}\n"


@pytest.mark.parametrize("arguments", [["--version"], ["--help"], ["no-such-command"]])
def test_answers_without_importing_stages(arguments):
    code = (
        "import sys; from retune.cli.main import main; "
        f"main({arguments!r}); print([m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.splitlines()[-1] == "[]"


def test_help_lists_every_command_with_its_summary():
    text = " ".join(run("--help").text.split())
    for name, (_, summary) in COMMANDS.items():
        assert f"{name} {summary}" in text


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["convrt", "x"], "no such command 'convrt'; nearest: convert (see retune --help)"),
        (["qqqq"], "no such command 'qqqq' (see retune --help)"),
        (["--vresion"], "no such option '--vresion'; nearest: --version (see retune --help)"),
        (["analyze", HYMN, "--jsno"], "no such option '--jsno'; nearest: --json (see retune analyze --help)"),
        (["analyze"], "missing argument 'INPUT' (see retune analyze --help)"),
        (
            ["analyze", HYMN, "--chords", "fnd"],
            "invalid value for '--chords': 'fnd' is not one of find, markers; nearest: find",
        ),
        (
            ["analyze", HYMN, "--preset", "still-line"],
            "'still-line' is not one of balanced, pure-chords, still-lines; nearest: still-lines",
        ),
        (["analyze", HYMN, "--prime-limit", "9"], "'9' is not one of 3, 5, 7, 11, 13"),
        (["analyze", HYMN, "--drift-limit", "-3"], "'-3' is not a number of cents of 0 or more, or none"),
        (["analyze", HYMN, "--hold-limit", "nan"], "'nan' is not a number of cents of 0 or more, or none"),
        (["analyze", HYMN, "--reference", "4400"], "reference: 4400 Hz is outside 380 to 500 Hz"),
        (["analyze", HYMN, "--drift", "5"], "no such option '--drift'; nearest: --drift-limit (see"),
        (
            ["analyze", HYMN, "--drift-limt", "5"],
            "no such option '--drift-limt'; nearest: --drift-limit (see",
        ),
        (["convert", HYMN, "--tuning", "x"], "no such option '--tuning' (see"),
        (["convert", HYMN, "--temperament", "x"], "no such option '--temperament' (see"),
        (["convert", HYMN, "--fixed"], "requires an argument (see retune convert --help)"),
        (["convert", HYMN, "--reference", "A=442"], "'A=442' is not a number (see"),
        (["convert", HYMN, "--bend-range", "wide"], "'wide' is not a whole number (see"),
        (["analyze", HYMN, "--explain", "x"], "'x' is not a whole number (see"),
        ([HYMN], "; a file goes to a command, such as: retune convert "),
        (
            ["preview", HYMN, "-o", "x.wav", "--bars", "8-5"],
            "'8-5': the first bar comes before the last, as in 5-8",
        ),
        (["analyze", HYMN, "--explain", "4", "--json"], "--explain prints text alone"),
        (["analyze", HYMN, "extra"], "got unexpected extra argument (extra)"),
    ],
)
def test_wrong_usage_is_one_line_with_the_nearest_word(arguments, message):
    result = run(*arguments)
    assert (result.status, result.out) == (2, b"")
    assert result.err.startswith("retune: ")
    assert result.err.count("\n") == 1
    assert message in result.err


def test_a_file_whose_name_looks_like_an_option_is_told_how_to_be_said(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shutil.copy(HYMN, "-hymn.mid")
    result = run("convert", "-hymn.mid", "--out-dir", "out")
    assert (result.status, result.err) == (
        2,
        "retune: -hymn.mid: taken for options; say ./-hymn.mid (see retune convert --help)\n",
    )
    assert run("convert", "./-hymn.mid", "--out-dir", "out").status == 0


def test_options_are_read_without_numpy():
    """A batch hands its files to other processes, and a cluster's client to other machines, before any is read."""
    script = "import sys, retune.cli.options, retune.settings, retune.batch; print('numpy' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert told.stdout == "False\n"


@pytest.fixture
def broken(tmp_path, monkeypatch):
    """A command `broken` that runs a line of Python."""
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setitem(COMMANDS, "broken", ("broken_command", "Fail."))

    def write(line: str) -> None:
        code = f"import click\n@click.command()\ndef command():\n    {line}\n"
        (tmp_path / "broken_command.py").write_text(code)

    yield write
    sys.modules.pop("broken_command", None)


def test_fault_of_the_program_is_one_line(broken):
    broken("raise ValueError('two\\nlines \\x1b[31m')")
    result = run("broken")
    assert result.status == 70
    line = (
        "retune: a fault in retune itself (ValueError: two lines ·[31m); run with --traceback to see more\n"
    )
    assert result.err == line


def test_traceback_on_request(broken, monkeypatch):
    broken("raise ValueError('why')")
    with pytest.raises(ValueError, match="why"):
        run("broken", "--traceback")
    monkeypatch.setenv("RETUNE_TRACEBACK", "1")
    with pytest.raises(ValueError, match="why"):
        run("broken")


def test_interrupt_is_one_line(broken):
    broken("raise KeyboardInterrupt")
    assert (run("broken").status, run("broken").err) == (130, "retune: stopped\n")


def test_status_of_errors(broken):
    broken("from retune.errors import CheckFailed; raise CheckFailed('x: not as intended')")
    assert (run("broken").status, run("broken").err) == (1, "retune: x: not as intended\n")


def test_reader_that_goes_away_is_no_error(tmp_path):
    """`retune … | head -1` prints nothing on stderr."""
    command = [sys.executable, "-m", "retune", "analyze", HYMN, "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as writer:
        assert writer.stdout is not None
        assert writer.stderr is not None
        writer.stdout.close()
        assert writer.stderr.read() == b""
        assert writer.wait(60) == 0


def test_no_arguments_show_the_help():
    assert run() == run("--help")
    assert run("--help").status == 0
