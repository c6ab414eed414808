"""`retune preview`: hear a tuning, or see and hear it on a page."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from retune.cli.options import (
    bars_option,
    ending,
    input_argument,
    options_from,
    output_option,
    part_option,
    plan_option,
    quiet_option,
    tuning_options,
)
from retune.cli.printing import print_written
from retune.cli.tuned import heading, tuned_input
from retune.cli.values import Word
from retune.errors import OptionError, Remark
from retune.files import STANDARD_STREAM, read_input, refuse_overwriting, write_output
from retune.wording import bars_words

if TYPE_CHECKING:
    from retune.listen import Preview, Wishes
    from retune.pipeline import Analysis
    from retune.tuning import Tuning

ENDINGS = ("wav", "flac", "html")
LOUD_PEAK_DBFS = -6.0


def _sounds() -> tuple[str, ...]:
    from retune.listen.wishes import SOUNDS

    return SOUNDS


@click.command("preview")
@input_argument
@output_option(
    "Where to write: .wav, .flac, or .html for a page; - for WAV on standard output. Has no default."
)
@click.option(
    "--hear",
    type=Word(("retuned", "original", "ab")),
    default="retuned",
    help="The retuned music, the original, or both: `ab` plays each phrase as it was (after one click) and "
    "retuned (after two), equally loud. Default: retuned.",
)
@part_option("Hear this part: its name or number; repeatable. Default: all parts.")
@click.option(
    "--with",
    "beside",
    type=Word(("nothing", "drone", "rest")),
    default="nothing",
    help="What sounds with --part: nothing, a low drone on the roots of the chords, or the rest of the parts, "
    "softer. Default: nothing.",
)
@bars_option("Hear")
@click.option(
    "--times",
    type=click.IntRange(1, 1000),
    default=1,
    metavar="N",
    help="Play it so many times in a row, without a break. Default: 1.",
)
@click.option(
    "--speed",
    type=float,
    default=1.0,
    metavar="FACTOR",
    help="Play slower or faster at the same pitch, 0.1 to 4. Default: 1.",
)
@click.option(
    "--sound",
    type=Word(_sounds),
    help="organ, voice, pure: steady tones of exact pitch; soundfont: every part on the organ of a SoundFont; "
    "original: a SoundFont with the file's own instruments, whose vibrato may hide the tuning. Default: organ.",
)
@click.option(
    "--soundfont",
    "soundfont_path",
    metavar="FILE",
    help="The SoundFont (SF2) to play with; says --sound soundfont. Default: the one of the `audio` extra.",
)
@click.option(
    "--player",
    type=Word(("auto", "midirenderer", "fluidsynth")),
    default="auto",
    help="What plays a SoundFont. Default: auto, the first that is installed.",
)
@click.option("--drums", is_flag=True, help="Mark percussion with clicks. Default: leave it out.")
@click.option(
    "--peak",
    "peak_dbfs",
    type=float,
    default=-12.0,
    metavar="DB",
    help="Level of the loudest sample below full scale, -60 to -1 dB. Default: -12 dB.",
)
@click.option(
    "--sample-rate",
    "rate",
    type=int,
    default=44100,
    metavar="HZ",
    help="Samples a second. Default: 44100 Hz.",
)
@click.option("--bits", type=Word(("16", "24")), default="16", help="Bits a sample. Default: 16 bits.")
@plan_option
@quiet_option
@tuning_options
def command(
    input_path: str,
    output_path: str,
    bars: tuple[int, int | None] | None,
    soundfont_path: str | None,
    sound: str | None,
    bits: str,
    plan_path: str | None,
    quiet: bool,
    **values: Any,
) -> None:
    """Write INPUT as sound, retuned or before and after, or as a page to hear, see and change it.

    Steady tones are harder on the ear than music of the same peak: start with the volume low, above all on
    headphones.
    """
    kind = ending(output_path, ENDINGS, for_stdout="wav")
    options = options_from(values)
    refuse_overwriting((input_path,), (output_path,))
    wishes = _wishes(bars, sound, soundfont_path, values)
    analysis, tuning = tuned_input(
        input_path, options, plan_path, explain=kind == "html", quiet=quiet, also=_loudness_remark(wishes)
    )
    if kind == "html":
        _write_page(analysis, tuning, wishes, input_path, output_path)
        print_written(output_path, quiet=quiet)
        return
    from retune.listen import preview, sound_file

    with _progress(show=not quiet) as report:
        sounding = preview(
            analysis.score,
            analysis.harmony,
            tuning,
            wishes,
            reference_hz=analysis.options.reference_hz,
            on_progress=report,
        )
    write_output(output_path, sound_file(sounding.samples, rate=sounding.rate, bits=int(bits), kind=kind))
    if not quiet and output_path != STANDARD_STREAM:
        click.echo(_cue_sheet(sounding), nl=False)
    print_written(output_path, quiet=quiet)


def _wishes(
    bars: tuple[int, int | None] | None, sound: str | None, soundfont_path: str | None, values: dict[str, Any]
) -> Wishes:
    from retune.listen import Wishes

    soundfont = None if soundfont_path is None else read_input(soundfont_path)
    first, last = bars or (None, None)
    sound = sound or ("organ" if soundfont is None else "soundfont")
    return Wishes(first_bar=first, last_bar=last, sound=sound, soundfont=soundfont, **values)


def _loudness_remark(wishes: Wishes) -> tuple[Remark, ...]:
    if wishes.peak_dbfs <= LOUD_PEAK_DBFS:
        return ()
    message = f"peak {wishes.peak_dbfs:g} dB is loud for steady tones; turn the volume down before you listen"
    return (Remark(code="loud-preview", message=message),)


def _write_page(
    analysis: Analysis, tuning: Tuning, wishes: Wishes, input_path: str, output_path: str
) -> None:
    from retune.listen import Wishes
    from retune.page import build_page

    if wishes != Wishes():
        raise OptionError(
            f"{output_path}: a page holds the whole piece and its own sound; --hear, --part, --bars and the other "
            "options of sound go with .wav or .flac"
        )
    title = heading(None, analysis, input_path)
    write_output(output_path, build_page(analysis, tuning, title=title).encode())


@contextmanager
def _progress(*, show: bool) -> Iterator[Callable[[float], None] | None]:
    """Show a bar on a terminal while the sound is made; elsewhere nothing."""
    if not (show and sys.stderr.isatty()):
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("rendering", total=1.0)
        yield lambda share: bar.update(task, completed=share)


def _cue_sheet(sounding: Preview) -> str:
    """Return what is heard when, a line each."""
    lines = [
        f"{_clock(cue.start_s)} - {_clock(cue.end_s)}  {cue.what}, {bars_words(cue.first_bar, cue.last_bar)}\n"
        for cue in sounding.cues
    ]
    return "".join(lines)


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds, 1), 60.0)
    return f"{int(minutes)}:{rest:04.1f}"
