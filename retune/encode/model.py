"""What the encode stage hands to the writer and to the check."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from retune.errors import Remark


@dataclass(frozen=True, slots=True, kw_only=True)
class EncodedFile:
    """One file ready to be written; `suffix` tells several files of one run apart ("" for the main file)."""

    data: bytes
    suffix: str = ""
    extension: str = ".mid"

    def beside(self, path: str) -> str:
        """Return where this file goes if the main file goes to `path`: there itself, any other beside it."""
        if not self.suffix:
            return path
        main = Path(path)
        return str(main.with_name(main.stem + self.suffix + self.extension))


@dataclass(frozen=True, slots=True, kw_only=True)
class Encoded:
    """All files of one conversion (one, unless `when_full` is "files" or parts are written apart)."""

    files: tuple[EncodedFile, ...]
    channels_used: int
    worst_error_cents: float  # largest |written − intended| of any piece, known losses included
    remarks: tuple[Remark, ...] = field(default=())
