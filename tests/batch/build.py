"""Small pieces that differ."""

import io

import mido


def piece(seed: int, bars: int = 4) -> bytes:
    """Four voices in a cycle of chords, transposed by the seed."""
    file = mido.MidiFile(type=1, ticks_per_beat=96)
    cycle = [(60, 64, 67), (57, 60, 64), (62, 65, 69), (59, 62, 67)]
    for voice in range(3):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=f"voice {voice}")])
        for bar in range(bars):
            key = cycle[bar % 4][voice] + seed % 12
            track.append(mido.Message("note_on", channel=voice, note=key, velocity=70, time=0))
            track.append(mido.Message("note_off", channel=voice, note=key, velocity=64, time=384))
        file.tracks.append(track)
    data = io.BytesIO()
    file.save(file=data)
    return data.getvalue()


def crowded() -> bytes:
    """Fifteen programs that play a chord of three tunings each: more than a port has channels."""
    file = mido.MidiFile(type=1, ticks_per_beat=96)
    for channel in (*range(9), *range(10, 16)):
        track = mido.MidiTrack([mido.Message("program_change", channel=channel, program=channel)])
        for kind, time in (("note_on", 0), ("note_off", 384)):
            for key in (60, 64, 67):
                track.append(mido.Message(kind, channel=channel, note=key, velocity=70, time=time))
                time = 0
        file.tracks.append(track)
    data = io.BytesIO()
    file.save(file=data)
    return data.getvalue()
