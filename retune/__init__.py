"""Retune MIDI files to just intonation: chords pure, lines steady, drift bounded.

    import retune

    conversion = retune.convert("song.mid", retune.Options(drift_limit_cents=10))
    retune.write(conversion, "song_retuned.mid")

The names below come from `retune.api` and are loaded when they are first used, so that `import retune` costs
nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

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

if TYPE_CHECKING:
    from retune.api import (
        Options,
        RetuneError,
        analyze,
        check_retuned,
        compare_tunings,
        convert,
        load,
        note_rows,
        tune,
        window_rows,
        write,
    )


def __getattr__(name: str) -> Any:
    """Load a public name on first use (PEP 562)."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from retune import api

    value = globals()[name] = getattr(api, name)
    return value


def __dir__() -> list[str]:
    """List the public names, loaded or not."""
    return sorted({*globals(), *__all__})
