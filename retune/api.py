"""What a Python program needs, under a dozen names: `import retune`, then `retune.convert("song.mid")`.

Music is given as a path, as the bytes of a MIDI file, or as a `Score` already read. Nothing is printed, nothing
is read beside what is named (no `retune.toml`), and only `write` writes. Every error is a `RetuneError` whose
message is one line for a person.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from retune import pipeline
from retune.errors import ArgumentError, RetuneError
from retune.files import STANDARD_STREAM, called, read_input, refuse_same_file, write_together
from retune.options import Options
from retune.rows import note_rows, refuse_mismatch, window_rows
from retune.score import Score, read_score

if TYPE_CHECKING:
    from retune.check import CheckReport
    from retune.compare import Comparison
    from retune.pipeline import Analysis, Conversion
    from retune.plan import Plan
    from retune.tuning import Tuning

Path = str | os.PathLike[str]
LONGEST_NAME = 4096  # bytes of a path (PATH_MAX of Linux)
Music = Path | bytes | Score
"""A path, the bytes of a MIDI file, or a score already read."""

__all__ = [
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


def load(music: Path | bytes) -> Score:
    """Return the score of a MIDI file: notes as columns, clock, meters, parts, and every other event.

    Raises `InputError` if it cannot be read as music. Damage that was mended is told in `Score.remarks`.

    >>> score = load("sample_scores/evening_hymn.mid")
    >>> [part.name for part in score.parts]
    ['Soprano', 'Alto', 'Tenor', 'Bass']
    >>> score.notes["key"][:4]
    array([71, 67, 62, 55], dtype=int16)
    """
    return _score(music)


def analyze(music: Music, options: Options | None = None, *, plan: Plan | Path | None = None) -> Analysis:
    """Return what was found in a piece: `Analysis(score, harmony, ratios, options, plan)`.

    `plan` is a plan, or the path of a plan file, to be obeyed. `harmony.windows` holds a row for each stretch of
    time under one harmony, its borders in ticks. Raises `InputError`, `PlanError`, `ArgumentError`.

    >>> analysis = analyze("sample_scores/evening_hymn.mid", Options(prime_limit=7))
    >>> len(analysis.harmony.windows) > 10
    True
    """
    score = _score(music)
    _refuse_options(options)
    return pipeline.analyze(score, options, name=_name(music), plan=_plan(plan))


def tune(analysis: Analysis, options: Options | None = None) -> Tuning:
    """Return offsets [cents] from equal temperament for every note, and where purity had to give way.

    `offsets` has a row for each stretch of a note (`offset_cents`, its borders in ticks), `displacement_cents` is
    (n_windows,), how far the root of each window sits from its equal-tempered pitch.

    `options` replaces those of the analysis for this tuning alone: limits and weights count, what the analysis
    has settled already (prime limit, chords) does not. Raises `ArgumentError`.

    >>> still = tune(analyze("sample_scores/evening_hymn.mid"), Options(drift_limit_cents=5))
    >>> bool(abs(still.displacement_cents).max() < 5.001)
    True
    """
    if not isinstance(analysis, pipeline.Analysis):
        raise ArgumentError(f"tune: an analysis is wanted, as analyze(music) gives it, not {_kind(analysis)}")
    _refuse_options(options)
    return pipeline.tune(analysis, options)


def convert(
    music: Music,
    options: Options | None = None,
    *,
    plan: Plan | Path | None = None,
    per_part: bool = False,
) -> Conversion:
    """Do the whole job, as `retune convert` does, and return files, figures and remarks; nothing is written.

    Parameters
    ----------
    music
        The path of a MIDI file (`str` or `pathlib.Path`), the bytes of one, or a score that `load` gave.
    options
        Limits in cents, reference pitch in Hz, glide in milliseconds, bend range in semitones; see `Options`.
    plan
        A plan, or the path of a plan file, to be obeyed.
    per_part
        Make a complete file for each part, instead of one for all.

    Returns
    -------
    Conversion
        `files` to `write`; `checked`, what decoding them shows, with figures `before` and `after`: distances and
        movements in cents, shares of time from 0 to 1; `analysis`, `tuning` (offsets in cents), `remarks`, and
        `report`, all of it as JSON-able values.

    Raises
    ------
    CheckFailed
        If the result, decoded as a receiver would, does not sound as intended.
    InputError, PlanError, OptionError
        For music, a plan or options that cannot be obeyed.
    ArgumentError
        For an argument of the wrong kind, such as an open file; it is a `TypeError`, too.

    Examples
    --------
    >>> conversion = convert("sample_scores/evening_hymn.mid")
    >>> before, after = conversion.checked.before, conversion.checked.after
    >>> before.share_within_1_cent < 0.5 < after.share_within_1_cent
    True

    """
    _refuse_options(options)
    return pipeline.convert(_score(music), options, name=_name(music), plan=_plan(plan), per_part=per_part)


def write(result: Conversion | tuple[Analysis, Tuning], path: Path) -> tuple[str, ...]:
    """Write the files of a conversion, all or none of them, and return their paths.

    An analysis and a tuning of it are encoded, and checked by decoding, first. The file goes to `path`; where a
    conversion has one for each part, their names begin like that of `path`. Raises `OutputError`, also where that is
    the file the music was read from, `CheckFailed`, and `ArgumentError`.

    >>> write(convert("sample_scores/evening_hymn.mid"), "hymn.mid")
    ('hymn.mid',)
    >>> analysis = analyze("sample_scores/evening_hymn.mid")
    >>> write((analysis, tune(analysis, Options(drift_limit_cents=0))), "pinned.mid")
    ('pinned.mid',)
    """
    if not isinstance(path, str | os.PathLike):
        raise ArgumentError(f"path: the name of a file is wanted, not {_kind(path)}")
    conversion = _finished(result, os.fspath(path))
    places = tuple(file.beside(os.fspath(path)) for file in conversion.files)
    for place in places:
        refuse_same_file(conversion.analysis.score.source, place)
    write_together([(place, file.data) for place, file in zip(places, conversion.files, strict=True)])
    return places


def check_retuned(
    original: Music, retuned: Path | bytes | Sequence[Path | bytes], options: Options | None = None
) -> CheckReport:
    """Return what decoding a retuned file shows beside its original, as `retune check` does.

    `retuned` may be several files that are played together. Of the options the reference pitch and the prime
    limit count. Raises `InputError`.

    >>> from pathlib import Path
    >>> data = convert("sample_scores/evening_hymn.mid").files[0].data
    >>> report = check_retuned("sample_scores/evening_hymn.mid", data)
    >>> report.ok, report.fidelity.notes_lost
    (True, 0)
    """
    from retune.check import check
    from retune.harmony import find_harmony

    score = _score(original)
    several = retuned if isinstance(retuned, Sequence) and not isinstance(retuned, str | bytes) else [retuned]
    if not several:
        raise ArgumentError("retuned: no file is named")
    datas = [_bytes(one) for one in several]
    names = (_name(original), _name(several[0]))
    return check(score, datas, harmony=find_harmony(score), options=options, names=names)


def compare_tunings(
    music: Music | Analysis, options: Options | None = None, *, plan: Plan | Path | None = None
) -> Comparison:
    """Return the figures of a piece under every tuning, side by side, as `retune compare` does.

    With an analysis its own options and plan count. Raises `InputError`, `PlanError`.

    >>> [tuning.name for tuning in compare_tunings("sample_scores/evening_hymn.mid").tunings][0]
    'equal'
    """
    from retune.compare import compare

    analysis = music if isinstance(music, pipeline.Analysis) else analyze(music, options, plan=plan)
    return compare(analysis)


def _finished(result: Conversion | tuple[Analysis, Tuning], name: str) -> Conversion:
    if isinstance(result, pipeline.Conversion):
        return result
    if not isinstance(result, tuple) or len(result) != 2:
        raise ArgumentError(
            f"result: a conversion is wanted, or (analysis, tuning), and then a path, not {_kind(result)}"
        )
    refuse_mismatch(*result)
    return pipeline.finish(*result, name=name)


def _score(music: Music) -> Score:
    if isinstance(music, Score):
        return music
    score = read_score(_bytes(music), name=_name(music))
    is_file = isinstance(music, str | os.PathLike) and os.fspath(music) != STANDARD_STREAM
    return replace(score, source=os.path.realpath(_name(music))) if is_file else score


def _bytes(music: Path | bytes) -> bytes:
    if isinstance(music, bytes | bytearray | memoryview):
        data = bytes(music)
        if len(data) < LONGEST_NAME and not data.startswith(b"MThd") and _is_there(data):
            raise ArgumentError(f"music: {data!r} is the name of a file as bytes; give it as text")
        return data
    if isinstance(music, str) and (music.startswith("MThd") or "\0" in music):
        raise ArgumentError("music: this is the content of a file as text; read it as bytes, in mode 'rb'")
    if not isinstance(music, str | os.PathLike):
        hint = "; give file.read() of a file open in mode 'rb'" if hasattr(music, "read") else ""
        wanted = "the path of a MIDI file, its bytes or a score is wanted"
        raise ArgumentError(f"music: {wanted}, not {_kind(music)}{hint}")
    return read_input(music)


def _is_there(name: bytes) -> bool:
    try:
        return bool(name) and os.path.exists(name)
    except ValueError:  # a zero byte
        return False


def _refuse_options(options: Options | None) -> None:
    if options is not None and not isinstance(options, Options):
        raise ArgumentError(
            f"options: retune.Options(...) is wanted, such as Options(prime_limit=7), not {_kind(options)}"
        )


def _kind(value: object) -> str:
    """How messages call a value of the wrong kind."""
    return "None" if value is None else f"a value of type {type(value).__name__}"


def _name(music: Music) -> str:
    """How messages call the music."""
    return called(os.fspath(music)) if isinstance(music, str | os.PathLike) else "input"


def _plan(plan: Plan | Path | None) -> Plan | None:
    if plan is None:
        return None
    from retune.plan import Plan, read_plan_file

    if isinstance(plan, Plan):
        return plan
    if not isinstance(plan, str | os.PathLike):
        raise ArgumentError(
            f"plan: the path of a plan file is wanted, or what retune.plan.read_plan(text) gives, not {_kind(plan)}"
        )

    return read_plan_file(plan)
