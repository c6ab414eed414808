"""What a worker writes for one file."""

from pathlib import Path

from retune.batch.manifest import sha256
from retune.batch.work import write_files
from retune.encode import EncodedFile


def test_a_file_is_named_for_what_it_holds(tmp_path):
    target = tmp_path / "songs" / "a.b.mid"
    files = [
        EncodedFile(data=b"1", extension=".midi2"),
        EncodedFile(data=b"2", suffix="-2", extension=".midi2"),
    ]
    written = write_files(files, str(target))
    first, second = target.parent / "a.b.midi2", target.parent / "a.b-2.midi2"
    assert written == {str(first): sha256(b"1"), str(second): sha256(b"2")}
    assert first.read_bytes() == b"1"
    assert second.read_bytes() == b"2"


def test_the_main_file_goes_where_it_was_wanted(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    files = [EncodedFile(data=b"1"), EncodedFile(data=b"2", suffix="-2")]
    assert list(write_files(files, "SONG.MIDI")) == ["SONG.MIDI", "SONG-2.mid"]
    assert Path("SONG-2.mid").read_bytes() == b"2"
