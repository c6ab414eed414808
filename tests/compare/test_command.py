"""`retune compare`, run as a user runs it."""

import json
from pathlib import Path

import pytest

from retune.cli.compare import HEADERS
from retune.cli.main import main
from retune.compare import compare
from retune.pipeline import analyze
from tests.cli.run import run

SAMPLES = Path(__file__).parents[2] / "sample_scores"
TRIO = str(SAMPLES / "string_trio.mid")


def test_table_has_a_line_a_tuning(capsys):
    assert main(["compare", TRIO]) == 0
    head, *lines = capsys.readouterr().out.splitlines()
    assert head.split("  ")[0] == HEADERS[0]
    names = [tuning.name for tuning in compare(analyze(Path(TRIO).read_bytes())).tunings]
    assert [line[: max(map(len, names))].rstrip() for line in lines] == names
    equal = lines[0].split()
    assert equal[4:7] == ["0.00", "0.00", "0.00"], "in equal temperament nothing moves"


def test_json_is_what_the_library_says(capsys):
    assert main(["compare", TRIO, "--json", "--drift-limit", "5"]) == 0
    printed = json.loads(capsys.readouterr().out)
    from retune.options import Options

    assert printed == compare(analyze(Path(TRIO).read_bytes(), Options(drift_limit_cents=5.0))).as_json()


def test_plot_is_written_in_every_form(tmp_path):
    """PNG: ISO/IEC 15948 clause 5.2; PDF: ISO 32000-1, 7.5.2."""
    for form, start in (("svg", b"<?xml"), ("png", b"\x89PNG\r\n\x1a\n"), ("pdf", b"%PDF-")):
        drawn = tmp_path / f"trio.{form}"
        result = run("compare", TRIO, "--plot", drawn, "--quiet")
        assert (result.status, result.out, result.err) == (0, b"", "")
        assert drawn.read_bytes().startswith(start)


def test_plot_on_standard_output_is_alone_there(tmp_path):
    drawn = tmp_path / "trio.svg"
    assert run("compare", TRIO, "--plot", drawn, "--quiet").status == 0
    assert run("compare", TRIO, "--plot", "-").out == drawn.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([TRIO, "--plot", "a.gif"], "a.gif: the ending says what to write; use one of .svg, .png, .pdf"),
        ([TRIO, "--plot", "-", "--json"], "--json and --plot - both want standard output"),
        (["no such file.mid"], "no such file.mid: no such file"),
        ([TRIO, "--fixed", "viola=werkmeister-iii"], "nearest: werckmeister-iii"),
    ],
)
def test_what_cannot_be_done_is_one_line_and_status_2(capsys, arguments, message):
    assert main(["compare", *arguments]) == 2
    errors = capsys.readouterr().err
    assert message in errors
    assert errors.count("\n") == 1
