"""The whole job in one screen: bytes → score → harmony → ratios → tuning → encode → check."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from retune.collector import without_collector
from retune.doubts import doubts
from retune.errors import CheckFailed, InputError, OptionError, Remark
from retune.harmony import Harmony, find_harmony, hints_from_markers
from retune.options import Options
from retune.ratios import Ratios, choose_ratios
from retune.score import Score, read_score
from retune.threads import on_one_thread
from retune.tuning import Tuning, find_compromises, find_shifts, glided, solve_tuning
from retune.tuning.partners import fixed_parts

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from retune.check import CheckReport
    from retune.encode import Encoded, EncodedFile
    from retune.harmony import Hint
    from retune.plan.model import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """What was found in the music, and what it was asked to become."""

    score: Score
    harmony: Harmony
    ratios: Ratios
    options: Options
    plan: Plan | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Conversion:
    """A finished conversion: files to write, and the proof that they are right."""

    files: tuple[EncodedFile, ...]
    analysis: Analysis
    tuning: Tuning
    checked: CheckReport
    remarks: tuple[Remark, ...]

    @property
    def report(self) -> dict[str, Any]:
        """Everything about the conversion as JSON-able values (worked out when asked for)."""
        from retune.report import conversion_report

        analysis = self.analysis
        return conversion_report(
            analysis.score,
            analysis.harmony,
            explained(analysis, self.tuning),
            analysis.options,
            files=self.files,
            checked=self.checked,
            remarks=self.remarks,
        )


@without_collector
@on_one_thread
def analyze(
    music: bytes | Score, options: Options | None = None, *, name: str = "input", plan: Plan | None = None
) -> Analysis:
    """Bytes of a MIDI file, or the score read from them → its score, harmony and exact ratios.

    Raises `InputError` where there is no music to retune, `PlanError` where the plan cannot be obeyed.
    """
    options = options or Options()
    score = music if isinstance(music, Score) else read_score(music, name=name)
    if not len(score.notes):
        raise InputError(f"{name}: no notes in this file, so there is nothing to retune")
    if plan is not None:
        return _analyze_with_plan(score, options, plan)
    marked, remarks = _marked(score, options)
    harmony = _with_remarks(find_harmony(score, hints=marked), remarks)
    ratios = choose_ratios(harmony, prime_limit=options.prime_limit)
    return Analysis(score=score, harmony=harmony, ratios=ratios, options=options)


def _analyze_with_plan(score: Score, options: Options, plan: Plan) -> Analysis:
    from retune.plan.apply import hints, over, plan_ratios

    _refuse_unknown_fixed(score, options, plan)
    options = _with_fixed(options, plan)
    marked, remarks = _marked(score, options)
    harmony = _with_remarks(find_harmony(score, hints=over(hints(plan, score), marked)), remarks)
    ratios = choose_ratios(harmony, prime_limit=options.prime_limit)
    ratios = plan_ratios(plan, score, harmony, ratios, prime_limit=options.prime_limit)
    return Analysis(score=score, harmony=harmony, ratios=ratios, options=options, plan=plan)


def _marked(score: Score, options: Options) -> tuple[tuple[Hint, ...], tuple[Remark, ...]]:
    """The chords that the file's own symbols give, if they are to be used, and remarks on what they are not."""
    if options.chords != "markers":
        return (), ()
    found, remarks = hints_from_markers(score)
    message = "no markers, texts or lyrics that read as chord symbols; all chords were found in the notes"
    return found, remarks if found else (Remark(code="no-chord-symbols", message=message),)


def _with_remarks(harmony: Harmony, remarks: tuple[Remark, ...]) -> Harmony:
    return replace(harmony, remarks=(*harmony.remarks, *remarks))


def tune(analysis: Analysis, options: Options | None = None, *, explain: bool = True) -> Tuning:
    """An offset for every note. With `explain`, also where purity gave way and why."""
    options = _with_fixed(options or analysis.options, analysis.plan)
    score, harmony, ratios = analysis.score, analysis.harmony, analysis.ratios
    limits = _window_limits(analysis, options)
    tuning = replace(solve_tuning(score, harmony, ratios, options, limits=limits), options=options)
    return explained(analysis, tuning) if explain else tuning


def explained(analysis: Analysis, tuning: Tuning) -> Tuning:
    """The tuning with the places where purity or a line gave way, and why."""
    options = tuning.options or analysis.options
    score, harmony, ratios = analysis.score, analysis.harmony, analysis.ratios
    limits = _window_limits(analysis, options)
    return replace(
        tuning,
        compromises=find_compromises(score, harmony, ratios, tuning, options, limits=limits),
        shifts=find_shifts(score, harmony, ratios, tuning, options),
    )


def _window_limits(
    analysis: Analysis, options: Options
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """The limits of each window, where a plan gives them."""
    if analysis.plan is None:
        return None
    from retune.plan.apply import window_limits

    return window_limits(analysis.plan, analysis.score, analysis.harmony, options)


def _with_fixed(options: Options, plan: Plan | None) -> Options:
    """The options with the fixed parts of the plan among theirs."""
    if plan is None:
        return options
    return replace(options, fixed=tuple(dict.fromkeys((*options.fixed, *plan.fixed))))


def _refuse_unknown_fixed(score: Score, options: Options, plan: Plan) -> None:
    """Raise `PlanError`, with its line, for a fixed part of the plan that is not there, or has no such temperament."""
    for index, text in enumerate(plan.fixed):
        try:
            fixed_parts(replace(options, fixed=(text,)), score.parts)
        except OptionError as error:
            raise plan.source.error(("fixed", index), str(error)) from None


@without_collector
@on_one_thread
def convert(
    music: bytes | Score,
    options: Options | None = None,
    *,
    name: str = "input",
    plan: Plan | None = None,
    per_part: bool = False,
) -> Conversion:
    """The whole job: bytes of a MIDI file → bytes of retuned files, checked by decoding them again.

    With `per_part` there is a complete file for each part.
    Raises `CheckFailed` when the result does not decode to what was intended (nothing is to be kept then),
    and whatever `analyze` raises.
    """
    analysis = analyze(music, options, name=name, plan=plan)
    return finish(analysis, tune(analysis, explain=False), name=name, per_part=per_part)


@without_collector
@on_one_thread
def finish(analysis: Analysis, tuning: Tuning, *, name: str = "input", per_part: bool = False) -> Conversion:
    """An analysis and a tuning of it → bytes of retuned files, checked. Raises `CheckFailed`."""
    from retune import encode
    from retune.check import check

    analysis = replace(analysis, options=tuning.options or analysis.options)
    sounding = glided(analysis.score, tuning, analysis.options.glide_ms)
    make = encode.per_part if per_part else encode.encode
    encoded = make(analysis.score, sounding, analysis.options)
    checked = check(
        analysis.score,
        encoded,
        intended=sounding,
        harmony=analysis.harmony,
        ratios=analysis.ratios,
        options=analysis.options,
    )
    problems = checked.problems or (_problems_apart(analysis, sounding, encoded) if per_part else ())
    if problems:
        raise CheckFailed(f"{name}: the retuned file does not decode as intended: {problems[0]}")
    remarks = (
        *analysis.score.remarks,
        *analysis.harmony.remarks,
        *tuning.remarks,
        *encoded.remarks,
        *doubts(analysis.score.parts, analysis.options, checked),
    )
    return Conversion(files=encoded.files, analysis=analysis, tuning=tuning, checked=checked, remarks=remarks)


def _problems_apart(analysis: Analysis, tuning: Tuning, encoded: Encoded) -> tuple[str, ...]:
    """What is amiss with the file of a part when it is played alone."""
    from retune.check import check
    from retune.encode import extract_part
    from retune.encode.plain.plain import plain

    # What a part plays in a zone is told to the manager, too, and tables are those of the channel it had.
    score, tuning, _ = plain(analysis.score, tuning, analysis.options)
    return tuple(
        f"the file of {part.name}: {problem}"
        for part, file in zip(score.parts, encoded.files, strict=True)
        for alone, tuned in [extract_part(score, tuning, part)]
        for problem in check(
            replace(alone, remarks=score.remarks), replace(encoded, files=(file,)), intended=tuned
        ).problems
    )
