"""Remarks on a conversion that may not be what was meant."""

from __future__ import annotations

import json

import mido

from tests.cli.run import SAMPLES, run

TRIO = SAMPLES / "string_trio.mid"


def remarks(*arguments: object) -> list[tuple[str, str]]:
    """Code and text of what a conversion remarks, which has to stand in its report and on stderr alike."""
    result = run("convert", *arguments, "--json")
    assert result.status == 0, result.err
    found = json.loads(result.out)["remarks"]
    assert all(remark["message"] in result.err for remark in found)
    return [(remark["code"], remark["message"]) for remark in found]


def test_all_parts_fixed_leave_nothing_to_tune(tmp_path):
    out = tmp_path / "out.mid"
    names = ("Violin", "Viola", "Cello", "Piano")
    fixed = [word for name in names for word in ("--fixed", name)]
    assert [code for code, _ in remarks(TRIO, "-o", out, *fixed)] == ["all-fixed"]
    assert remarks(TRIO, "-o", out, *fixed[:6]) == []
    assert remarks(TRIO, "-o", out, *(f"{word}=young-2" if word in names else word for word in fixed)) == []


def test_a_file_that_was_retuned_before_is_recognised(tmp_path):
    """Its bends are kept and added to, so that it would come out tuned twice."""
    once = tmp_path / "once.mid"
    assert remarks(TRIO, "-o", once) == []
    ((code, message),) = remarks(once, "-o", tmp_path / "twice.mid")
    assert code == "less-pure"
    assert "retuned already; convert the original" in message


def test_thirds_without_the_five_are_what_was_asked_for(tmp_path):
    """Pythagorean thirds are a comma wide, and further from 5/4 than those of equal temperament."""
    assert remarks(TRIO, "-o", tmp_path / "out.mid", "--prime-limit", "3") == []


def test_ratios_of_ones_own_are_not_called_music_retuned_before(tmp_path):
    """Major thirds of 9/7 lie 49 cents from 5/4, those of equal temperament 14."""
    plan = tmp_path / "plan.toml"
    plan.write_text('ratios.maj = "1 9/7 3/2"\nratios.min = "1 7/6 3/2"\n')
    ((code, message),) = remarks(TRIO, "-o", tmp_path / "out.mid", "--plan", plan)
    assert code == "less-pure"
    assert "pure thirds and fifths" in message


def test_what_is_hardly_less_pure_is_not_remarked_on(tmp_path):
    """A tempered fifth is 1.96 cents from 3/2; 751/500 is 2.31 from it and 6009/4000 2.59, 0.6 cents worse."""
    track = mido.MidiTrack([mido.Message("note_on", note=key, velocity=64) for key in (48, 55)])
    track += [mido.Message("note_off", note=key, time=1920 if key == 48 else 0) for key in (48, 55)]
    source, plan = tmp_path / "in.mid", tmp_path / "plan.toml"
    mido.MidiFile(tracks=[track]).save(source)
    for ratio, codes in (("751/500", []), ("6009/4000", ["less-pure"])):
        plan.write_text(f'windows = [{{at = "1.1", root = "C", chord = "5", ratios = "1 {ratio}"}}]\n')
        assert [code for code, _ in remarks(source, "-o", tmp_path / "out.mid", "--plan", plan)] == codes


def test_chord_symbols_that_are_not_there_are_told(tmp_path):
    """`--chords markers` on rehearsal letters alone, and on a lead sheet."""
    for names, codes in ((("A", "Verse", "Coda"), ["no-chord-symbols"]), (("C", "Am7", "F6"), [])):
        track = mido.MidiTrack()
        for name in names:
            track.append(mido.MetaMessage("marker", text=name))
            track += [mido.Message("note_on", note=key, velocity=64) for key in (60, 64, 67)]
            track += [
                mido.Message("note_off", note=key, time=1920 if key == 60 else 0) for key in (60, 64, 67)
            ]
        source = tmp_path / "in.mid"
        mido.MidiFile(tracks=[track]).save(source)
        found = remarks(source, "-o", tmp_path / "out.mid", "--chords", "markers")
        assert [code for code, _ in found] == codes
        assert remarks(source, "-o", tmp_path / "out.mid") == []
