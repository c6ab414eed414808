"""What a worker writes for one file."""

from pathlib import Path

import pytest

from retune.batch.work import write_files
from retune.encode import EncodedFile
from retune.errors import OutputError


def test_a_file_of_a_part_never_goes_over_the_result_of_another_input(tmp_path):
    target = tmp_path / "songs" / "a.mid"
    files = [EncodedFile(data=b"1"), EncodedFile(data=b"2", suffix="-01-bass")]
    taken = str(target.parent / "a-01-bass.mid")
    with pytest.raises(OutputError, match=r"would become .*a-01-bass\.mid, as another input does"):
        write_files(files, str(target), [taken])
    assert not target.parent.exists()
    assert list(write_files(files, str(target))) == [str(target), taken]


def test_the_main_file_goes_where_it_was_wanted(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    files = [EncodedFile(data=b"1"), EncodedFile(data=b"2", suffix="-2")]
    assert list(write_files(files, "SONG.MIDI")) == ["SONG.MIDI", "SONG-2.mid"]
    assert Path("SONG-2.mid").read_bytes() == b"2"
