"""Which files a batch takes, and where their results go."""

import os

import pytest

from retune.batch import find_jobs
from retune.errors import InputError, OptionError
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
