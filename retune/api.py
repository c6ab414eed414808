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
from retune.errors import RetuneError
from retune.files import STANDARD_STREAM, called, read_input, refuse_same_file, write_together
from retune.options import Options
from retune.rows import note_rows, window_rows
from retune.score import Score, read_score

if TYPE_CHECKING:
    from retune.check import CheckReport
    from retune.compare import Comparison
    from retune.pipeline import Analysis, Conversion
    from retune.plan import Plan
    from retune.tuning import Tuning

Path = str | os.PathLike[str]
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

    `plan` is a plan, or the path of a plan file, to be obeyed. Raises `InputError`, `PlanError`.

    >>> analysis = analyze("sample_scores/evening_hymn.mid", Options(prime_limit=7))
    >>> len(analysis.harmony.windows) > 10
    True
    """
    score = _score(music)
    return pipeline.analyze(score, options, name=_name(music), plan=_plan(plan))


def tune(analysis: Analysis, options: Options | None = None) -> Tuning:
    """Return an offset in cents for every note, and where purity had to give way.

    `options` replaces those of the analysis for this tuning alone: limits and weights count, what the analysis
    has settled already (prime limit, chords) does not.

    >>> still = tune(analyze("sample_scores/evening_hymn.mid"), Options(drift_limit_cents=5))
    >>> bool(abs(still.displacement_cents).max() < 5.001)
    True
    """
    return pipeline.tune(analysis, options)


def convert(
    music: Music,
    options: Options | None = None,
    *,
    plan: Plan | Path | None = None,
    per_part: bool = False,
) -> Conversion:
    """Do the whole job, as `retune convert` does, and return files, figures and remarks; nothing is written.

    With `per_part` the conversion has a complete file for each part.
    The result is decoded again as a receiver would: `CheckFailed` is raised if it does not sound as intended.
    Raises also `InputError`, `PlanError`.

    >>> conversion = convert("sample_scores/evening_hymn.mid")
    >>> before, after = conversion.checked.before, conversion.checked.after
    >>> before.share_within_1_cent < 0.5 < after.share_within_1_cent
    True
    """
    return pipeline.convert(_score(music), options, name=_name(music), plan=_plan(plan), per_part=per_part)


def write(result: Conversion | tuple[Analysis, Tuning], path: Path) -> tuple[str, ...]:
    """Write the files of a conversion, all or none of them, and return their paths.

    An analysis and a tuning of it are encoded, and checked by decoding, first. The file goes to `path`; where a
    conversion has one for each part, their names begin like that of `path`. Raises `OutputError`, also where that is
    the file the music was read from, and `CheckFailed`.

    >>> write(convert("sample_scores/evening_hymn.mid"), "hymn.mid")
    ('hymn.mid',)
    >>> analysis = analyze("sample_scores/evening_hymn.mid")
    >>> write((analysis, tune(analysis, Options(drift_limit_cents=0))), "pinned.mid")
    ('pinned.mid',)
    """
    conversion = pipeline.finish(*result, name=os.fspath(path)) if isinstance(result, tuple) else result
    places = tuple(file.beside(os.fspath(path)) for file in conversion.files)
    for place in places:
        refuse_same_file(conversion.analysis.score.source, place)
    write_together([(place, file.data) for place, file in zip(places, conversion.files, strict=True)])
    return places


def check_retuned(
    original: Music, retuned: Path | bytes | Sequence[Path | bytes], options: Options | None = None
) -> CheckReport:
    """Return what decoding a retuned file shows beside its original, as `retune check` does.

    `retuned` may be several files that are played together. Of the options only the reference pitch counts.
    Raises `InputError`.

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
    datas = [_bytes(one) for one in several]
    names = (_name(original), _name(several[0]) if several else "retuned file")
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


def _score(music: Music) -> Score:
    if isinstance(music, Score):
        return music
    score = read_score(_bytes(music), name=_name(music))
    is_file = isinstance(music, str | os.PathLike) and os.fspath(music) != STANDARD_STREAM
    return replace(score, source=os.path.realpath(_name(music))) if is_file else score


def _bytes(music: Path | bytes) -> bytes:
    return bytes(music) if isinstance(music, bytes | bytearray | memoryview) else read_input(music)


def _name(music: Music) -> str:
    """How messages call the music."""
    return called(os.fspath(music)) if isinstance(music, str | os.PathLike) else "input"


def _plan(plan: Plan | Path | None) -> Plan | None:
    if not isinstance(plan, str | os.PathLike):
        return plan
    from retune.plan import read_plan_file

    return read_plan_file(plan)
