"""Options of the command line that nothing obeys in a conversion."""

from __future__ import annotations

from typing import TYPE_CHECKING

from retune.errors import Remark

if TYPE_CHECKING:
    from collections.abc import Collection

    from retune.pipeline import Conversion


def idle_options(conversion: Conversion, given: Collection[str]) -> tuple[Remark, ...]:
    """Return a remark for each option without effect; `given`: fields of `Options` the command line spoke of."""
    glide = _idle_glide(conversion, given)
    return (*_idle_encoding_options(conversion, given), *((glide,) if glide else ()))


def _idle_encoding_options(conversion: Conversion, given: Collection[str]) -> tuple[Remark, ...]:
    options = conversion.analysis.options
    idle = []
    if "bend_range_semitones" in given and options.encoding not in ("bend", "mpe"):
        idle.append("--bend-range")
    if not options.keep_channel_10_free and "keep_channel_10_free" in given and options.encoding != "mpe":
        idle.append("--use-channel-10")
    return tuple(
        Remark(code="no-effect", message=f"{option} has no effect with --encoding {options.encoding}")
        for option in idle
    )


def _idle_glide(conversion: Conversion, given: Collection[str]) -> Remark | None:
    note = conversion.tuning.offsets["note"]
    if "glide_ms" not in given or (note[1:] == note[:-1]).any():  # a second row of a note: it moves
        return None
    message = "--glide has no effect: no sounding note moves; a wider --hold-limit lets them"
    return Remark(code="no-effect", message=message)
