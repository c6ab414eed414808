"""Converted files as real synthesizers sound them: partials measured in the sound, against pure ratios.

FluidSynth cuts every pitch down to a whole cent and scales bends by 127/128, so it cannot prove better than about a
cent; TiMidity++ moves in 256ths of a semitone and plays low notes in steps of its own. midirenderer shows the message
itself to a tenth of a cent.
"""

from __future__ import annotations

import io
import math
from itertools import combinations

import mido
import numpy as np
import pytest

from retune.options import Options
from retune.pipeline import convert
from tests.check.build import smf
from tests.synths.measure import cents_near, frequency_near, swell
from tests.synths.receivers import RECEIVERS, Receiver, hear, render_midirenderer

PURE = {0: 1 / 1, 3: 6 / 5, 4: 5 / 4, 5: 4 / 3, 7: 3 / 2, 8: 8 / 5, 9: 5 / 3}
MIDIRENDERER, FLUIDSYNTH, TIMIDITY = RECEIVERS


@pytest.fixture(params=RECEIVERS, ids=lambda receiver: receiver.name)
def receiver(request: pytest.FixtureRequest) -> Receiver:
    found: Receiver = request.param
    if found.missing:
        pytest.skip(f"{found.name} is not installed (apt-get install {found.program})")
    return found


def chords(*chords_: tuple[int, ...], seconds: float = 2.0) -> bytes:
    """A file of chords, a track and channel for each voice; 1000 ticks are a second.

    A rest comes first: TiMidity++ drops some notes at the very start.
    """
    file = mido.MidiFile(ticks_per_beat=500)
    for voice in range(len(chords_[0])):
        track = mido.MidiTrack([mido.MetaMessage("text", text="rest", time=300)])
        for chord in chords_:
            note = {"channel": voice, "note": chord[voice], "velocity": 80}
            track.append(mido.Message("note_on", **note))
            track.append(mido.Message("note_off", time=int(seconds * 1000), **note))
        file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def notes_of(data: bytes) -> list[tuple[float, float, int, int]]:
    """(start s, end s, channel, key) by mido alone, at 120 to the minute."""
    file = mido.MidiFile(file=io.BytesIO(data))
    per_second, sounding, found = 2 * file.ticks_per_beat, {}, []
    tick = 0
    for message in mido.merge_tracks(file.tracks):
        tick += message.time
        if message.type == "note_on" and message.velocity:
            sounding[message.channel, message.note] = tick
        elif message.type in ("note_on", "note_off"):
            start = sounding.pop((message.channel, message.note))
            found.append((start / per_second, tick / per_second, message.channel, message.note))
    return sorted(found)


def interval_errors(receiver: Receiver, data: bytes) -> list[float]:
    """Every interval of notes that start together, as heard, less its pure size [cents]."""
    notes = notes_of(data)
    heard = dict(zip(notes, hear(receiver, data, notes), strict=True))
    errors = []
    for low, high in combinations(sorted(notes, key=lambda note: note[3]), 2):
        semitones = (high[3] - low[3]) % 12
        if low[0] == high[0] and semitones in PURE:
            pure = 1200 * math.log2(PURE[semitones]) - 100 * semitones
            errors.append(heard[high] - heard[low] - pure)
    return errors


TRIAD = ((48, 64, 67),)
CADENCE = ((48, 64, 67, 72), (53, 60, 69, 72), (43, 62, 67, 71), (48, 60, 67, 76))  # I IV V I


def test_hand_made_bytes_of_a_pure_triad(receiver: Receiver) -> None:
    """C-E-G on three channels at range 2, a bend before each note: 5/4 is 4F 3B, 3/2 is 50 40 (MIDI 1.0 p. 19)."""
    on = "00 E0 00 40 00 E1 4F 3B 00 E2 50 40 00 90 3C 50 00 91 40 50 00 92 43 50"
    off = "8B 34 80 3C 40 00 81 40 40 00 82 43 40"
    errors = interval_errors(receiver, smf(f"{on} {off}", division=500))
    assert len(errors) == 3
    assert max(map(abs, errors)) < receiver.tolerance_cents


@pytest.mark.parametrize("music", [TRIAD, CADENCE], ids=["triad", "cadence"])
def test_converted_chords_sound_pure(receiver: Receiver, music: tuple[tuple[int, ...], ...]) -> None:
    """Every third, fifth, fourth and sixth within a cent of its ratio, or within the synthesizer's own step."""
    original = chords(*music)
    assert max(map(abs, interval_errors(receiver, original))) > 12  # equal temperament is heard as such
    errors = interval_errors(receiver, convert(original, Options()).files[0].data)
    assert len(errors) >= 3 * len(music)
    assert max(map(abs, errors)) < max(receiver.tolerance_cents, 0.1)


ENCODINGS = [
    (MIDIRENDERER, Options(bend_range_semitones=12), 0.2),
    (MIDIRENDERER, Options(encoding="mpe"), 0.7),  # half a step of range 48 is 0.29 a note
    (FLUIDSYNTH, Options(encoding="mpe"), 1.6),
    (FLUIDSYNTH, Options(encoding="mts"), 1.1),
    (TIMIDITY, Options(encoding="mts"), 1.5),
]


@pytest.mark.parametrize(
    ("synth", "options", "tolerance"),
    ENCODINGS,
    ids=[
        f"{synth.name}-{options.encoding}-{options.bend_range_semitones}" for synth, options, _ in ENCODINGS
    ],
)
def test_other_encodings_where_they_are_obeyed(synth: Receiver, options: Options, tolerance: float) -> None:
    """Which receiver obeys which encoding: docs/receivers.md."""
    if synth.missing:
        pytest.skip(f"{synth.name} is not installed (apt-get install {synth.program})")
    errors = interval_errors(synth, convert(chords(*CADENCE), options).files[0].data)
    assert max(map(abs, errors)) < tolerance


def zone_of_the_input(*chord: int) -> bytes:
    """A zone that leaves its range to the standard, 48 semitones; each member bends by 300 cents (MPE 2.2.5)."""
    zone = [
        mido.Message("control_change", control=c, value=v) for c, v in ((101, 0), (100, 6), (6, len(chord)))
    ]
    track = mido.MidiTrack([mido.MetaMessage("text", text="rest", time=300), *zone])
    for member, key in enumerate(chord, 1):
        track.append(mido.Message("pitchwheel", channel=member, pitch=512))
        track.append(mido.Message("note_on", channel=member, note=key, velocity=80))
    for member, key in enumerate(chord, 1):
        track.append(mido.Message("note_off", channel=member, note=key, time=2000 * (member == 1)))
    file = mido.MidiFile(ticks_per_beat=500)
    file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def test_a_zone_of_the_input_sounds_without_one(receiver: Receiver) -> None:
    """None of the three knows zones: as it is, the file plays a twenty-fourth of its bends; converted, all of them."""
    original = zone_of_the_input(48, 64, 67)
    data = convert(original, Options()).files[0].data
    assert hear(receiver, original, notes_of(original)) == pytest.approx([12.5] * 3, abs=1.5)
    heard = hear(receiver, data, notes_of(data), 350.0)
    of_key = dict(zip([note[3] for note in notes_of(data)], heard, strict=True))
    pure = {48: 0.0, 64: -13.686, 67: 1.955}
    scale = 127 / 128 if receiver is FLUIDSYNTH else 1.0  # docs/receivers.md
    for key, cents in of_key.items():
        wanted = scale * (300 + pure[key] - pure[48])
        assert cents == pytest.approx(wanted, abs=max(2 * receiver.tolerance_cents, 0.2))


def test_third_stops_beating() -> None:
    """C4 and E4 beat 10.4 times a second in equal temperament (Capleton 2007, table of beat rates), not when pure.

    The fifth partial of C and the fourth of E meet near 1308 Hz; church organ, program 19.
    """

    def played(data: bytes) -> tuple[float, float]:
        file = mido.MidiFile(file=io.BytesIO(data))
        organ = [mido.Message("program_change", channel=c, program=19) for c in range(9)]
        file.tracks[0][:0] = organ
        out = io.BytesIO()
        file.save(file=out)
        sound, rate = render_midirenderer(out.getvalue())
        return swell(sound[int(0.6 * rate) : int(5.6 * rate)], rate, 1270, 1347)

    original = chords((60, 64), seconds=6.0)
    beats, depth = played(original)
    assert beats == pytest.approx(10.4, abs=0.1)
    assert depth > 0.2
    assert played(convert(original, Options()).files[0].data)[1] < 0.05


@pytest.mark.parametrize("cents", [-13.686, 0.0, 1.955, 33.3])
def test_the_meter_itself(cents: float) -> None:
    """Tones made here, with overtones and a neighbour a semitone away, are read to a thousandth of a cent."""
    rate, times = 48000.0, np.arange(48000) / 48000
    hertz = 261.6256 * 2 ** (cents / 1200)
    sound = sum(np.cos(2 * np.pi * k * hertz * times + k) / k for k in range(1, 9))
    sound = sound + 0.8 * np.cos(2 * np.pi * 277.18 * 2 ** (50 / 1200) * times)
    assert 1200 * math.log2(frequency_near(sound, rate, 261.6256) / hertz) == pytest.approx(0.0, abs=1e-3)
    assert cents_near(sound, rate, 60) == pytest.approx(cents, abs=2e-3)


def test_the_meter_refuses_what_is_not_there() -> None:
    times = np.arange(48000) / 48000
    with pytest.raises(ValueError, match="no partial within"):
        frequency_near(np.cos(2 * np.pi * 278 * times), 48000.0, 261.6)
