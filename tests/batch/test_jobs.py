"""Which files a batch takes, and where their results go."""

import glob
import os
import sys

import pytest

from retune.batch import find_jobs, run_batch
from retune.errors import InputError, OptionError
from retune.options import Options
from tests.batch.build import piece


def names(jobs, out):
    return [os.path.relpath(job.target, out) for job in jobs]


def test_a_folder_keeps_its_tree_and_leaves_out_what_is_no_music(music, tmp_path):
    out = str(tmp_path / "out")
    found = names(find_jobs([str(music)], out), out)
    assert found == [f"hymns/old/piece {i}.mid" for i in (0, 2, 4)] + [
        f"songs/piece {i}.mid" for i in (1, 3, 5)
    ]


def test_files_folders_and_patterns_mix(music, tmp_path):
    out = str(tmp_path / "out")
    sources = [
        str(music / "songs" / "piece 1.mid"),
        str(music / "hymns"),
        str(music / "**" / "piece [35].mid"),
    ]
    found = names(find_jobs(sources, out), out)
    assert found == [
        "old/piece 0.mid",
        "old/piece 2.mid",
        "old/piece 4.mid",
        "piece 1.mid",
        "songs/piece 3.mid",
        "songs/piece 5.mid",
    ]


@pytest.mark.skipif(sys.platform == "win32", reason="rights of POSIX")
def test_a_folder_that_may_not_be_read_is_refused_and_the_rest_are_done(plain_folder):
    """And not passed over, as if all were there."""
    music, out = plain_folder / "music", str(plain_folder / "out")
    (music / "secret").mkdir(parents=True)
    (music / "1.mid").write_bytes(piece(1))
    (music / "secret").chmod(0)
    result = run_batch(find_jobs([str(music)], out), out, Options(), processes=1)
    assert result.counts == {"converted": 1, "refused": 1}
    assert (
        result.refused[0].reason == f"{music}/secret/*.mid: no permission to read the file; check its rights"
    )
    assert sorted(os.listdir(out)) == [".retune-state.jsonl", "1.mid"]


def test_results_in_the_folder_itself_are_not_taken_for_music(music):
    out = music / "retuned"
    out.mkdir()
    (out / "old result.mid").write_bytes(piece(1))
    assert len(find_jobs([str(music)], str(out))) == 6


def test_other_suffixes_become_mid(tmp_path):
    (tmp_path / "song.kar").write_bytes(piece(1))
    assert find_jobs([str(tmp_path / "song.kar")], "out")[0].target == os.path.join("out", "song.mid")


def test_two_files_for_one_place_are_refused(music, tmp_path):
    (music / "songs" / "piece 0.mid").write_bytes(piece(3))
    twice = [str(music / "songs" / "piece 0.mid"), str(music / "hymns" / "old" / "piece 0.mid")]
    with pytest.raises(OptionError, match="would both become"):
        find_jobs(twice, str(tmp_path / "out"))


@pytest.mark.parametrize(
    ("names", "encoding"),
    [(["a.kar", "a.mid"], "bend"), (["a.mid", "a.midi"], "midi2"), (["a.rmi", "a.mid"], "mts")],
)
def test_names_are_compared_as_they_will_be(names, encoding, tmp_path):
    for name in names:
        (tmp_path / name).write_bytes(piece(1))
    sources = [str(tmp_path / name) for name in names]
    with pytest.raises(OptionError, match=r"would both become .*a\.mid"):
        find_jobs(sources, str(tmp_path / "out"), encoding=encoding)
    for source in sources:
        assert len(find_jobs([source], str(tmp_path / "out"), encoding=encoding)) == 1


def test_clips_are_named_for_what_they_are(tmp_path):
    (tmp_path / "a.b.mid").write_bytes(piece(1))
    (job,) = find_jobs([str(tmp_path / "a.b.mid")], "out", encoding="midi2")
    assert job.target == os.path.join("out", "a.b.midi2")


def write_two(folder, one, other):
    for place, name in ((folder / "x", one), (folder / "y", other)):
        (place / name).parent.mkdir(parents=True)
        (place / name).write_bytes(piece(1))
    return [str(folder / "x"), str(folder / "y")]


@pytest.mark.parametrize(
    ("one", "other"),
    [("Hymn.mid", "hymn.mid"), ("Songs/a.mid", "songs/a.mid"), ("caf\u00e9.mid", "cafe\u0301.mid")],
)
def test_names_that_the_file_system_takes_for_one_are_refused(one, other, tmp_path):
    """Whether it does is seen by writing one and asking for the other."""
    sources = write_two(tmp_path, one, other)
    (tmp_path / "trial" / one).parent.mkdir(parents=True)
    (tmp_path / "trial" / one).write_bytes(b"")
    if (tmp_path / "trial" / other).exists():
        with pytest.raises(OptionError, match="would both become"):
            find_jobs(sources, str(tmp_path / "out"))
    else:
        assert len(find_jobs(sources, str(tmp_path / "out" / "deep"))) == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["trial", "x", "y"]


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_a_pattern_does_not_go_round_in_circles(music, tmp_path):
    (music / "songs" / "all").symlink_to(music)
    (music / "songs" / "again").symlink_to(music / "songs")
    (music / "hymns" / "elsewhere").symlink_to(music / "songs")
    out = str(tmp_path / "out")
    assert names(find_jobs([str(music / "**" / "piece 1.mid")], out), out) == ["songs/piece 1.mid"]
    assert names(find_jobs([str(music / "*" / "*" / "piece 1.mid")], out), out) == [
        "hymns/elsewhere/piece 1.mid",
        "songs/again/piece 1.mid",
    ]
    assert len(find_jobs([str(music)], out)) == 6


def test_patterns_match_as_in_the_standard_library(music, tmp_path, monkeypatch):
    (music / "songs" / ".hidden.mid").write_bytes(piece(1))
    (music / "songs" / "[x].mid").write_bytes(piece(1))
    (music / "songs" / "notes.txt").unlink(missing_ok=True)
    monkeypatch.chdir(music)
    patterns = [
        "**",
        "**/*.mid",
        "songs/**",
        "*/*.mid",
        "**/old/*",
        "hy*/*/p*[02].mid",
        "**/.*.mid",
        "*/[[]x].mid",
    ]
    for pattern in [*patterns, *(str(music / pattern) for pattern in patterns)]:
        expected = [path for path in glob.glob(pattern, recursive=True) if os.path.isfile(path)]
        expected = sorted(os.path.relpath(path) for path in expected if not path.endswith(".txt"))
        found = [os.path.relpath(job.source) for job in find_jobs([pattern], str(tmp_path / "out"))]
        assert [path for path in found if not path.endswith(".txt")] == expected, pattern


def test_a_result_over_its_input_is_refused(music):
    with pytest.raises(OptionError, match="over itself"):
        find_jobs([str(music / "songs" / "piece 1.mid")], str(music / "songs"))


@pytest.mark.parametrize(
    ("source", "message"),
    [("missing.mid", "no such file or folder"), ("nothing-*.mid", "nothing matches")],
)
def test_a_source_that_is_not_there(tmp_path, source, message):
    with pytest.raises(InputError, match=message):
        find_jobs([str(tmp_path / source)], "out")


def test_a_folder_without_music(tmp_path):
    with pytest.raises(InputError, match="no MIDI files in this folder"):
        find_jobs([str(tmp_path)], "out")
