"""`retune compare`, run as a user runs it."""

import json
from pathlib import Path

import pytest

from retune.cli.compare import HEADERS
from retune.cli.main import main
from retune.compare import compare
from retune.pipeline import analyze

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


def test_plot_is_written(tmp_path, capsys):
    picture = tmp_path / "trio.svg"
    assert main(["compare", TRIO, "--plot", str(picture), "--quiet"]) == 0
    assert capsys.readouterr().out == ""
    assert "displacement of the roots" in picture.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([TRIO, "--plot", "picture.pdf"], "plot picture.pdf: the name must end in .svg or .png"),
        (["no such file.mid"], "no such file.mid: no such file"),
        ([TRIO, "--fixed", "viola=werkmeister-iii"], "nearest: werckmeister-iii"),
    ],
)
def test_what_cannot_be_done_is_one_line_and_status_2(capsys, arguments, message):
    assert main(["compare", *arguments]) == 2
    errors = capsys.readouterr().err
    assert message in errors
    assert errors.count("\n") == 1
