"""The public face: its names, what they take and give, and that they do what the commands do."""

from __future__ import annotations

import doctest
import inspect
import io
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import retune
from retune import api, pipeline
from retune.batch import find_jobs
from retune.errors import (
    ArgumentError,
    InputError,
    OptionError,
    OutputError,
    PlanError,
    RetuneError,
)
from retune.rows import NOTE_ROW_DTYPE
from tests.cli.run import HYMN, SAMPLES, run

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "python.md"


def test_exported_names():
    names = [
        "Options",
        "RetuneError",
        "analyze",
        "check_retuned",
        "compare_tunings",
        "convert",
        "load",
        "note_rows",
        "tune",
        "window_rows",
        "write",
    ]
    assert retune.__all__ == names
    assert api.__all__ == names
    assert set(names) <= set(dir(retune))
    for name in names:
        assert getattr(retune, name) is getattr(api, name)
    with pytest.raises(AttributeError, match="module 'retune' has no attribute 'retune_all'"):
        retune.retune_all  # noqa: B018


def test_a_module_of_the_package_never_hides_a_name():
    """Importing `retune.x` sets `retune.x`: a public name of that spelling would change its meaning."""
    modules = {path.stem for path in (ROOT / "retune").iterdir()}
    assert modules.isdisjoint(retune.__all__)


def test_the_input_is_never_written_to(tmp_path, monkeypatch):
    """By whatever name: also from another folder, and after steps of one's own."""
    shutil.copy(HYMN, tmp_path / "hymn.mid")
    before = (tmp_path / "hymn.mid").read_bytes()
    monkeypatch.chdir(tmp_path)
    conversion = retune.convert("hymn.mid")
    analysis = retune.analyze(retune.load("hymn.mid"))
    (tmp_path / "other").mkdir()
    monkeypatch.chdir(tmp_path / "other")
    for result in (conversion, (analysis, retune.tune(analysis))):
        with pytest.raises(OutputError, match="this is the input file itself; choose another name"):
            retune.write(result, "../hymn.mid")
        assert retune.write(result, "hymn.mid") == ("hymn.mid",)
    assert (tmp_path / "hymn.mid").read_bytes() == before
    assert retune.write(retune.convert(before), tmp_path / "hymn.mid")  # of bytes no file is known


def test_import_loads_nothing():
    code = (
        "import sys, retune; print([m for m in ('numpy', 'mido', 'click', 'retune.api') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_music_is_a_path_bytes_or_a_score():
    data = Path(HYMN).read_bytes()
    wanted = retune.convert(data).files
    assert retune.convert(HYMN).files == wanted
    assert retune.convert(Path(HYMN)).files == wanted
    assert retune.convert(retune.load(HYMN)).files == wanted
    assert pipeline.convert(data).files == wanted


def test_convert_and_write_are_what_the_command_does(tmp_path):
    options = ["--prime-limit", "7", "--drift-limit", "4", "--glide", "10"]
    report = tmp_path / "report.json"
    run("convert", HYMN, "-o", tmp_path / "command.mid", "--report", report, *options)
    conversion = retune.convert(HYMN, retune.Options(prime_limit=7, drift_limit_cents=4, glide_ms=10))
    assert retune.write(conversion, tmp_path / "call.mid") == (str(tmp_path / "call.mid"),)
    assert (tmp_path / "call.mid").read_bytes() == (tmp_path / "command.mid").read_bytes()
    told = json.loads(report.read_text())
    assert told.pop("written") == [str(tmp_path / "command.mid")]
    assert told == json.loads(json.dumps(conversion.report))


def test_rows_are_what_analyze_prints():
    printed = json.loads(run("analyze", HYMN, "--json").text)
    analysis = retune.analyze(HYMN)
    rows = retune.window_rows(analysis, retune.tune(analysis))
    assert json.loads(json.dumps(rows)) == printed["windows"]


def test_compare_is_what_the_command_prints():
    printed = json.loads(run("compare", HYMN, "--json").text)
    assert json.loads(json.dumps(retune.compare_tunings(HYMN).as_json())) == printed
    assert json.loads(json.dumps(retune.compare_tunings(retune.analyze(HYMN)).as_json())) == printed


def test_check_is_what_the_command_prints(tmp_path):
    out = tmp_path / "out.mid"
    retune.write(retune.convert(HYMN), out)
    printed = json.loads(run("check", HYMN, out, "--json").text)
    assert json.loads(json.dumps(retune.check_retuned(HYMN, out).as_json())) == printed
    assert retune.check_retuned(HYMN, [out.read_bytes()]).ok
    other = retune.check_retuned(HYMN, SAMPLES / "slow_piano.mid")
    assert not other.ok
    assert other.fidelity.notes_lost > 0


def test_an_analysis_and_a_tuning_make_the_same_file(tmp_path):
    analysis = retune.analyze(HYMN)
    retune.write((analysis, retune.tune(analysis)), tmp_path / "a.mid")
    assert (tmp_path / "a.mid").read_bytes() == retune.convert(HYMN).files[0].data


def test_other_options_for_one_tuning():
    analysis = retune.analyze(HYMN)
    pinned = retune.tune(analysis, retune.Options(drift_limit_cents=0))
    assert np.abs(pinned.displacement_cents).max() < 1e-6
    assert np.abs(retune.tune(analysis).displacement_cents).max() > 1


def test_a_plan_is_a_path_or_a_plan(tmp_path):
    from retune.plan import read_plan

    (tmp_path / "plan.toml").write_text('ratios.min = "1 7/6 3/2"\n')
    by_path = retune.convert(HYMN, plan=tmp_path / "plan.toml").files
    assert by_path == retune.convert(HYMN, plan=read_plan('ratios.min = "1 7/6 3/2"\n')).files
    assert by_path != retune.convert(HYMN).files


def test_errors_name_the_file(tmp_path):
    bad = tmp_path / "letter.mid"
    bad.write_text("Dear choir")
    with pytest.raises(InputError, match=r"letter\.mid: this is a text file"):
        retune.convert(bad)
    with pytest.raises(InputError, match=r"nowhere\.mid: no such file"):
        retune.load(tmp_path / "nowhere.mid")
    with pytest.raises(InputError, match="input: "):
        retune.load(b"Dear choir")
    bad.write_bytes(b'ratios.min = "1 7/6 3/2"\nfixed = "\xe9"\n')
    with pytest.raises(PlanError, match=r"letter\.mid, line 2: not UTF-8"):
        retune.analyze(HYMN, plan=bad)
    with pytest.raises(OutputError, match="does not exist; create it first"):
        retune.write(retune.convert(HYMN), tmp_path / "no" / "x.mid")


def test_a_tuning_of_another_piece_is_not_written(tmp_path):
    """And told as such, before anything is encoded."""
    trio, hymn = retune.analyze(SAMPLES / "string_trio.mid"), retune.analyze(HYMN)
    with pytest.raises(ArgumentError, match="the tuning is of another piece"):
        retune.write((trio, retune.tune(hymn)), tmp_path / "x.mid")
    assert not (tmp_path / "x.mid").exists()


@pytest.fixture(scope="module")
def loop():
    """A sample with percussion, its tuning and rows."""
    analysis = retune.analyze(SAMPLES / "pop_loop.mid")
    tuning = retune.tune(analysis)
    return analysis, tuning, retune.note_rows(analysis, tuning)


def test_note_rows_say_what_each_note_does(loop):
    analysis, tuning, rows = loop
    assert rows.dtype == NOTE_ROW_DTYPE
    assert len(rows) == len(analysis.score.notes)
    drums = ~analysis.score.pitched
    assert 0 < drums.sum() < len(rows)
    assert np.isnan(rows["offset_cents"][drums]).all()
    assert np.isnan(rows["movement_cents"][drums]).all()
    assert (rows["window"][drums] == -1).all()
    assert (rows["role"][drums] == "").all()
    for note in np.flatnonzero(~drums).tolist():
        cents = tuning.offsets["offset_cents"][tuning.offsets["note"] == note]
        assert rows["offset_cents"][note] == cents[0]
        assert rows["movement_cents"][note] == cents.max() - cents.min()
    windows = analysis.harmony.windows
    started = rows[~drums]
    assert (windows["start_tick"][started["window"]] <= started["onset_tick"]).all()
    assert (started["onset_tick"] <= windows["end_tick"][started["window"]]).all()
    assert (rows["part"] == analysis.score.notes["part"] + 1).all()


def test_note_rows_keep_time(loop):
    analysis, _, rows = loop
    assert np.allclose(rows["onset_q"] * analysis.score.clock.ticks_per_quarter, rows["onset_tick"])
    assert np.allclose(analysis.score.clock.ticks(rows["release_s"]), rows["release_tick"])
    assert rows["bar"][0] == 1
    assert (rows["beat"] >= 1).all()


def test_rows_go_into_a_data_frame(loop):
    pandas = pytest.importorskip("pandas")
    analysis, tuning, rows = loop
    frame = pandas.DataFrame(rows)
    assert list(frame.columns) == list(NOTE_ROW_DTYPE.names)
    assert len(frame) == len(rows)
    assert frame["offset_cents"].notna().sum() == analysis.score.pitched.sum()
    windows = pandas.DataFrame(retune.window_rows(analysis, tuning))
    assert len(windows) == len(analysis.harmony.windows)
    assert "displacement_cents" in windows.columns


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A current folder with the sample scores in it."""
    shutil.copytree(
        SAMPLES, tmp_path / "sample_scores", ignore=shutil.ignore_patterns("*.py", "_*", "pieces")
    )
    monkeypatch.chdir(tmp_path)
    return tmp_path


def blocks() -> str:
    """The console blocks of the page, those with pandas only where it is installed."""
    found = re.findall(r"^```pycon\n(.*?)^```$", PAGE.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)
    assert len(found) >= 8
    import importlib.util

    missing = importlib.util.find_spec("pandas") is None
    return "\n".join(block for block in found if not (missing and "import pandas" in block))


def test_examples_of_the_page(folder):
    _run_examples(blocks(), "docs/python.md")
    parts = [f"trio-0{n}-{name}.mid" for n, name in enumerate(("violin", "viola", "cello", "piano"), 1)]
    assert sorted(path.name for path in folder.glob("*.mid")) == ["hymn.mid", *parts, "trio.mid"]


@pytest.mark.parametrize(
    "name", [name for name in api.__all__ if inspect.getmodule(getattr(api, name)) is api]
)
def test_examples_of_the_docstrings(name, folder):
    text = inspect.getdoc(getattr(api, name))
    assert ">>>" in text
    _run_examples(text, name)


def _run_examples(text: str, name: str) -> None:
    examples = doctest.DocTestParser().get_doctest(text, dict(vars(api)), name, name, 0)
    said: list[str] = []
    doctest.DocTestRunner(verbose=False).run(examples, out=said.append)
    assert said == [], "".join(said)


DATA = Path(HYMN).read_bytes()


@pytest.mark.parametrize(
    ("music", "message"),
    [
        (3, "not a value of type int"),
        (None, "a score is wanted, not None"),
        (io.BytesIO(DATA), r"type BytesIO; give file\.read\(\) of a file open in mode 'rb'"),
        (HYMN.encode(), "is the name of a file as bytes; give it as text"),
        (DATA.decode("latin1"), "the content of a file as text; read it as bytes, in mode 'rb'"),
        ([HYMN], "not a value of type list"),
    ],
)
@pytest.mark.parametrize("function", [retune.load, retune.convert, retune.analyze, retune.compare_tunings])
def test_music_of_a_wrong_kind_is_told_in_a_line(function, music, message):
    with pytest.raises(ArgumentError, match=message) as refused:
        function(music)
    assert len(str(refused.value)) < 200
    assert isinstance(refused.value, TypeError)  # for whoever looks for that
    assert isinstance(refused.value, RetuneError)


def test_bytes_and_their_kin_are_music():
    for data in (DATA, bytearray(DATA), memoryview(DATA)):
        assert len(retune.load(data).notes) == 103


def test_other_arguments_of_a_wrong_kind_are_told_in_a_line(tmp_path):
    analysis = retune.analyze(HYMN)
    tuning = retune.tune(analysis)
    other = retune.tune(retune.analyze(SAMPLES / "pop_loop.mid"))
    conversion = retune.convert(HYMN)
    wrong = [
        (
            lambda: retune.convert(HYMN, {"prime_limit": 7}),
            "such as Options\\(prime_limit=7\\), not a value of type dict",
        ),
        (
            lambda: retune.tune(HYMN),
            "an analysis is wanted, as analyze\\(music\\) gives it, not a value of type str",
        ),
        (lambda: retune.tune(analysis, "balanced"), "options: .* type str"),
        (lambda: retune.analyze(HYMN, plan={}), "plan: the path of a plan file is wanted, .* type dict"),
        (lambda: retune.write(tuning, tmp_path / "x.mid"), "result: a conversion is wanted"),
        (
            lambda: retune.write((tuning, analysis), tmp_path / "x.mid"),
            "in this order, not Tuning and Analysis",
        ),
        (lambda: retune.write((analysis, other), tmp_path / "x.mid"), "the tuning is of another piece"),
        (lambda: retune.write("x.mid", conversion), "path: the name of a file is wanted, not .* Conversion"),
        (lambda: retune.note_rows(analysis, other), "the tuning is of another piece"),
        (lambda: retune.window_rows(tuning, analysis), "in this order"),
        (lambda: retune.check_retuned(HYMN, []), "no file is named"),
        (lambda: find_jobs(HYMN, "out"), "is one name; give a list"),
    ]
    for call, message in wrong:
        with pytest.raises(ArgumentError, match=message):
            call()
    assert list(tmp_path.iterdir()) == []


def test_numbers_of_numpy_are_numbers():
    options = retune.Options(
        prime_limit=np.int64(7), bend_range_semitones=np.int64(12), drift_limit_cents=np.float32(5)
    )
    assert options == retune.Options(prime_limit=7, bend_range_semitones=12, drift_limit_cents=5.0)
    assert json.loads(json.dumps(retune.convert(HYMN, options).report))["options"]["prime_limit"] == 7


@pytest.mark.parametrize("given", ["7", None, 7.5, [7], float("nan")])
@pytest.mark.parametrize("field", ["prime_limit", "bend_range_semitones"])
def test_what_is_no_whole_number_is_refused(field, given):
    with pytest.raises(OptionError, match="is not a whole number"):
        retune.Options(**{field: given})


@pytest.mark.parametrize("function", [retune.convert, retune.Options])
def test_help_tells_the_units(function):
    said = inspect.getdoc(function)
    for unit in ("cents", "Hz", "milliseconds", "semitones"):
        assert unit in said
