"""More tunings than channels: loans, zones, further ports and several files, from bytes to bytes.

`convert` decodes what was written with a receiver of its own and raises if a note is not as it should be.
"""

import io

import mido
import pytest

from retune import pipeline
from retune.check import check
from retune.encode import Encoded, encode
from retune.errors import OptionError
from retune.options import Options
from retune.score import Score
from retune.tuning import Tuning
from retune.units import bend_step_cents
from tests.encode.build import Event, file_of, in_order, note, score_of, tuning_of
from tests.encode.receiver import hear

LENT_ON_THE_SAME_TICK = (  # track, channel, note-on and note-off at 96 ticks a crotchet, key
    (1, 13, 96, 144, 68),
    (1, 13, 96, 287, 52),
    (0, 6, 144, 528, 65),
    (1, 13, 144, 480, 66),
    (1, 13, 144, 528, 68),
    (1, 13, 144, 335, 59),
    (0, 6, 192, 528, 57),
    (0, 6, 192, 528, 63),
    (0, 2, 192, 383, 58),
    (0, 15, 192, 383, 52),
    (0, 15, 192, 383, 58),
    (0, 15, 192, 288, 55),
    (0, 15, 192, 528, 51),
    (2, 0, 192, 383, 66),
    (2, 0, 192, 383, 63),
    (2, 0, 192, 480, 64),
    (2, 0, 192, 671, 62),
    (2, 0, 192, 576, 52),
    (0, 2, 288, 479, 48),
    (0, 2, 288, 479, 64),
    (0, 15, 288, 384, 57),
    (0, 15, 288, 336, 60),
    (3, 1, 528, 719, 61),
)


def test_a_channel_on_loan_is_not_shared_out():
    """A channel lent to one instrument is no free channel for its owner when notes on that tick are moved."""
    tracks: list[list[list[Event]]] = [[], [], [], []]
    for track, channel, on, off, key in LENT_ON_THE_SAME_TICK:
        tracks[track].append(note(5 * on, 5 * off, key, channel))
    conversion = pipeline.convert(file_of([in_order(*notes) for notes in tracks]), Options())
    assert conversion.checked.ok


def band(parts: int, *, drums: bool = False, reset_at: int = 0) -> bytes:
    """Parts in tracks of their own, each with its own program and two chords; channel 10 is left for drums."""
    tracks: list[list[Event]] = []
    for part in range(parts):
        channel = part if part < 9 else part + 1
        chords = [
            note(960 * k, 960 * k + 959, 40 + part + key, channel)
            for k, root in enumerate((0, 5))
            for key in (root, root + 4, root + 7)
        ]
        tracks.append([(0, f"program_change channel={channel} program={5 * part}"), *in_order(*chords)])
    if drums:
        tracks.append(in_order(*(note(240 * k, 240 * k + 120, 36 + k % 3, 9) for k in range(8))))
    if reset_at:
        tracks.append([(reset_at, "sysex 7E 7F 09 01")])
    return file_of(tracks)


@pytest.mark.parametrize("parts", [11, 13, 14, 15])
@pytest.mark.parametrize("drums", [False, True])
def test_zones_leave_room_for_the_other_parts(parts, drums):
    """Every part keeps its program: fewer zones where two would not leave a channel for each other part."""
    conversion = pipeline.convert(band(parts, drums=drums), Options(encoding="mpe"))
    assert conversion.checked.ok
    assert any(r.code == "zones-full" for r in conversion.remarks)


@pytest.mark.parametrize("encoding", ["bend", "mpe"])
def test_further_ports_are_opened(encoding):
    """With further ports every note has its own tuning; without, some share (SMF 1.0 has ports as meta FF 21)."""
    data = band(12, drums=True)
    conversion = pipeline.convert(data, Options(encoding=encoding, when_full="ports"))
    ports = {
        message.port
        for track in mido.MidiFile(file=io.BytesIO(conversion.files[0].data)).tracks
        for message in track
        if message.type == "midi_port"
    }
    assert len(ports) > 1
    assert conversion.checked.ok
    assert conversion.checked.error.worst_cents <= bend_step_cents(2) / 2 + 1e-6
    assert pipeline.convert(data, Options(encoding=encoding)).checked.error.worst_cents > 1.0


@pytest.mark.parametrize("encoding", ["bend", "mpe"])
def test_several_files_are_written(encoding):
    """One file a part, each in tune by itself, checked together."""
    conversion = pipeline.convert(band(12, drums=True), Options(encoding=encoding, when_full="files"))
    files = conversion.files
    assert len({file.suffix for file in files}) == len(files) == 13
    assert conversion.checked.ok
    assert conversion.checked.error.worst_cents <= bend_step_cents(2) / 2 + 1e-6
    alone = [hear(file.data) for file in files]
    assert sorted(len(heard) for heard in alone) == [6] * 12 + [8]


def test_a_device_reset_reaches_further_ports():
    """GM System On (RP-003 p. 3) puts programs back on every port that the notes of one went to."""
    conversion = pipeline.convert(band(12, reset_at=940), Options(when_full="ports"))
    assert conversion.checked.ok


def test_settings_of_channels_without_notes_do_not_reach_members():
    """Volume and program of a channel that would lie in the zone: no note may get them (M1-100-UM v1.1 2.2.1)."""
    quiet = [(100, f"control_change channel={c} control=7 value=20") for c in range(1, 16)]
    quiet += [(100, f"program_change channel={c} program=41") for c in range(1, 16)]
    chords = in_order(*(note(960 * k, 960 * k + 900, key) for k in range(4) for key in (60, 64 + k % 2, 67)))
    conversion = pipeline.convert(file_of([chords, quiet]), Options(encoding="mpe"))
    assert conversion.checked.ok


@pytest.mark.parametrize("names", [("High", "Low"), ("", ""), ("Same", "Same")])
@pytest.mark.parametrize("encoding", ["bend", "mpe"])
@pytest.mark.parametrize("when_full", ["ports", "share", "files"])
def test_key_pressure_goes_along_to_further_ports(names, encoding, when_full):
    """Also from tracks whose names do not tell which track a further one belongs to."""
    tracks = []
    for channel, name in enumerate(names):
        keys = [40 + channel + 3 * k for k in range(20)]
        presses = [(300, f"polytouch channel={channel} note={key} value={key}") for key in keys]
        named = [(0, f"meta track_name name={name}")] if name else []
        tracks.append([*named, *in_order(*(note(0, 900, key, channel, key) for key in keys), presses)])
    options = Options(encoding=encoding, when_full=when_full)
    assert pipeline.convert(file_of(tracks), options).checked.ok


def crowd(channels: int, notes: int) -> Score:
    """One key, `notes` times on each channel of a track, all at once; those of a later channel end earlier."""
    groups = []
    for k in range(channels * notes):
        channel, number = divmod(k, notes)
        off = 4000 + 10 * ((channels - channel) * notes + number)
        groups.append(note(10 * k, off, 60, channel + (channel >= 9), velocity=1 + k))
    return score_of([in_order(*groups)])


def in_zone(score: Score) -> tuple[Tuning, Encoded]:
    """Every note in a tuning of its own."""
    tuning = tuning_of(score, [float(k % 7 - 3) for k in range(len(score.notes))])
    return tuning, encode(score, tuning, Options(encoding="mpe"))


def test_equal_keys_that_share_a_member_end_in_the_order_they_began_in():
    """Twenty at once on fourteen members; the releases of a key are told apart by their order alone."""
    score = crowd(2, 10)
    tuning, encoded = in_zone(score)
    assert [remark.code for remark in encoded.remarks] == ["channels-full"]
    assert check(score, encoded, intended=tuning).problems == ()


def test_equal_keys_that_must_cross_on_a_member_are_refused():
    """Fifteen channels, each ending before the one before it: fourteen members cannot tell them apart."""
    with pytest.raises(OptionError, match=r"^bar 1, beat 1\.29: so many equal keys sound at once") as caught:
        in_zone(crowd(15, 1))
    assert caught.value.exit_status == 2
    assert in_zone(crowd(14, 1))[1].remarks == ()
