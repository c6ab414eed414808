"""Remarks on a result that is right and yet may not be what was meant: nothing was tuned, or nothing became purer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from retune.errors import Remark
from retune.tuning.partners import fixed_parts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from retune.check import CheckReport
    from retune.check.measures.pairs import Pairs
    from retune.options import Options
    from retune.score.model import Part

LESS_PURE_CENTS = 0.5  # on average; less is rounding
PRIME_OF_THIRDS = 5  # 5/4 and 6/5, by which the figures judge
RETUNED_SHARE = (
    0.8  # within 1 cent of pure before anything was done: no equal temperament comes near (experiment)
)


def doubts(parts: Sequence[Part], options: Options, checked: CheckReport) -> tuple[Remark, ...]:
    """Return what to remark on a conversion whose check found no fault."""
    pairs = (
        checked.measured.pairs_before,
        checked.measured.pairs_after,
    )  # all figures would take four times as long
    found = (_nobody_free(parts, options), _less_pure(options, *pairs))
    return tuple(remark for remark in found if remark is not None)


def _nobody_free(parts: Sequence[Part], options: Options) -> Remark | None:
    pitched = {part.index for part in parts if not part.is_percussion}
    if any("=" in text for text in options.fixed):  # who names a temperament means what is said
        return None
    if not pitched or pitched - set(fixed_parts(options, parts)):
        return None
    return Remark(code="all-fixed", message="every pitched part is fixed, so no chord was made pure")


def _less_pure(options: Options, before: Pairs, after: Pairs) -> Remark | None:
    was, became = before.mean(), after.mean()
    if was is None or became is None or became < was + LESS_PURE_CENTS:
        return None
    if (before.share_within(1.0) or 0.0) >= RETUNED_SHARE:
        reason = "it seems to have been retuned already; convert the original"
    elif options.prime_limit < PRIME_OF_THIRDS:  # thirds a comma wide are what was asked for
        return None
    else:
        reason = "much that sounds here is no chord in pure thirds and fifths; listen before you use it"
    figures = f"{became:.1f} cents from pure on average, {was:.1f} before"
    return Remark(code="less-pure", message=f"less pure than it was ({figures}): {reason}")
