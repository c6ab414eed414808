"""Options of a project: `retune.toml` in the current folder, overridden by the command line.

The format is ours and flat: a key is the long name of an option, with - or _ between its words.

    preset = "still-lines"
    drift-limit = 10          # cents, or "none"
    fixed = ["Piano"]

Only options that decide how the result sounds have a place there; paths and processes belong to a single run.
"""

from __future__ import annotations

import json
import os
import shlex
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from math import inf, isinf
from typing import Any, NoReturn

from retune.errors import OptionError
from retune.files import read_input
from retune.options import CHORDS, ENCODINGS, WHEN_FULL, Options
from retune.wording import nearest, plain

FILE_NAME = "retune.toml"
DEFAULT_PRESET = "balanced"

FIELD_OF = {
    "prime-limit": "prime_limit",
    "drift-limit": "drift_limit_cents",
    "hold-limit": "hold_limit_cents",
    "reference": "reference_hz",
    "home": "home",
    "fixed": "fixed",
    "chords": "chords",
    "encoding": "encoding",
    "bend-range": "bend_range_semitones",
    "glide": "glide_ms",
    "when-full": "when_full",
    "keep-channel-10-free": "keep_channel_10_free",
}
"""Long name of an option → field of `Options`. Beside these there is `preset`, which sets several fields."""

NAMES = ("preset", *FIELD_OF)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What was said about options, before presets and defaults are filled in."""

    preset: str | None = None
    given: Mapping[str, Any] = field(default_factory=dict)  # field of Options → value
    path: str | None = None  # the file it was read from, if any

    def overridden(self, preset: str | None, given: Mapping[str, Any]) -> Settings:
        """These settings with others said over them.

        A preset said over them puts aside all they say of what presets decide.
        """
        kept = dict(self.given)
        if preset is not None:
            for name in _fields_of_presets():
                kept.pop(name, None)
        return replace(self, preset=preset or self.preset, given={**kept, **given})

    def options(self) -> Options:
        """The options these settings come to. Raises `OptionError` for a value that cannot be obeyed."""
        start = Options()
        if self.preset is not None:
            from retune.tuning.presets import PRESETS

            start = PRESETS[self.preset](start)
        return replace(start, **self.given)

    def as_toml(self) -> str:
        """All options as they are in force, as the text of a `retune.toml` that gives them again."""
        options = self.options()
        lines = [f"preset = {_toml(self.preset or DEFAULT_PRESET)}"]
        lines += [f"{name} = {_toml(getattr(options, field))}" for name, field in FIELD_OF.items()]
        return "\n".join(lines) + "\n"


def settings_here(folder: str = ".") -> Settings:
    """Settings of the project folder; empty ones if it has no `retune.toml`.

    Raises `OptionError`, naming file and line, for anything that cannot be obeyed, and `InputError` for a file
    that cannot be read.
    """
    path = FILE_NAME if folder == "." else os.path.join(folder, FILE_NAME)
    if not os.path.lexists(path):
        return Settings()
    data = read_input(path, of_folder="options stand in a file of this name; rename the folder")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise OptionError(f"{plain(path)}, line {line}: not UTF-8 text; save it as UTF-8") from None
    return read_settings(text, name=path)


def as_arguments(options: Options) -> str:
    """Options as one types them for a shell: `--prime-limit 7 --fixed Piano`, "" where all are as by default."""
    from retune.tuning.presets import PRESETS

    decided = ("purity_first", "line_weight")  # by presets alone
    bases = {name: make(Options()) for name, make in PRESETS.items()}
    alike = (
        name
        for name, base in bases.items()
        if all(getattr(base, one) == getattr(options, one) for one in decided)
    )
    preset = next(alike, DEFAULT_PRESET)
    base = bases[preset]
    words = [] if preset == DEFAULT_PRESET else ["--preset", preset]
    for name, attribute in FIELD_OF.items():
        value = getattr(options, attribute)
        if value == getattr(base, attribute):
            continue
        if isinstance(value, bool):  # the one there is
            words.append("--keep-channel-10-free" if value else "--use-channel-10")
        else:
            for one in value if isinstance(value, tuple) else (value,):
                words += [f"--{name}", _argument(one)]
    return shlex.join(words)


def _argument(value: Any) -> str:
    if isinstance(value, float):
        return "none" if isinf(value) else repr(value).removesuffix(".0")
    return str(value)


def with_temperament_files(options: Options, also: Iterable[str] = ()) -> Options:
    """The options with the text of every temperament file named by their fixed parts, or by those of a plan (`also`).

    Raises `InputError` or `OptionError` for a file that cannot be read.
    """
    named = [text.partition("=")[2] for text in (*options.fixed, *also)]
    if not any(named):
        return options
    from retune.tuning.temperaments import file_named, read_temperament_file

    files = dict.fromkeys(name for name in map(file_named, named) if name is not None)
    return replace(options, temperaments=tuple((name, read_temperament_file(name)) for name in files))


def read_settings(text: str, *, name: str = FILE_NAME) -> Settings:
    """Settings from the text of a `retune.toml`. Raises `OptionError`, naming `name` and the line."""
    preset: str | None = None
    given: dict[str, Any] = {}
    said: dict[str, str] = {}
    for key, value in _parsed(text, name).items():
        option = key.replace("_", "-")
        if option not in NAMES:
            hint = nearest(option, NAMES) or f"; known: {', '.join(NAMES)}"
            _refuse(text, name, key, f"no such option {key!r}{hint}")
        if option in said:
            _refuse(text, name, key, f"said already, as {said[option]!r}; keep one of the two")
        said[option] = key
        try:
            if option == "preset":
                preset = _preset(value)
            else:
                given[FIELD_OF[option]] = _value(option, value)
        except OptionError as error:
            _refuse(text, name, key, str(error))
    return Settings(preset=preset, given=given, path=name)


def _parsed(text: str, name: str) -> dict[str, Any]:
    import tomllib

    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        from retune.toml_lines import place_of

        line, column, reason = place_of(error, text)
        raise OptionError(f"{plain(name)}, line {line}, column {column}: {reason}") from None


def _refuse(text: str, name: str, key: str, message: str) -> NoReturn:
    from retune.toml_lines import line_of

    raise OptionError(f"{plain(name)}, line {line_of(text, (key,))}: {message}")


def _preset(value: object) -> str:
    from retune.tuning.presets import PRESETS

    if not isinstance(value, str) or value not in PRESETS:
        raise OptionError(
            f"preset: {_toml(value)} is not one of {', '.join(PRESETS)}{nearest(str(value), PRESETS)}"
        )
    return value


def _value(option: str, value: object) -> Any:
    """The value of a field of `Options`; `Options` itself says which values are legal."""
    try:
        readable = _KIND_OF[option](value)
    except (ValueError, OverflowError) as error:
        raise OptionError(f"{option}: {_toml(value)} is {error}") from None
    try:
        Options(**{FIELD_OF[option]: readable})
    except OptionError as error:
        raise OptionError(f"{error}{nearest(str(value), _WORDS_OF.get(option, ()))}") from None
    return readable


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("not a number")
    return float(value)


def _whole(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError("not a whole number")
    return value


def _limit(value: object) -> float:
    if value == "none":
        return inf
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError('not a number of cents, nor "none"')
    return float(value)


def _word(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError("not a word in quotes")
    return value


def _truth(value: object) -> bool:
    if not isinstance(value, bool):
        raise ValueError("neither true nor false")
    return value


def _parts(value: object) -> tuple[str, ...]:
    parts = [value] if isinstance(value, str) else value
    if not isinstance(parts, list) or not all(isinstance(part, str) for part in parts):
        raise ValueError('not a list of parts, such as ["Piano"]')
    return tuple(parts)


_KIND_OF: dict[str, Callable[[object], Any]] = {
    "prime-limit": _whole,
    "drift-limit": _limit,
    "hold-limit": _limit,
    "reference": _number,
    "home": _word,
    "fixed": _parts,
    "chords": _word,
    "encoding": _word,
    "bend-range": _whole,
    "glide": _number,
    "when-full": _word,
    "keep-channel-10-free": _truth,
}
_WORDS_OF = {"encoding": ENCODINGS, "chords": CHORDS, "when-full": WHEN_FULL}


def _fields_of_presets() -> set[str]:
    """Fields of `Options` that presets decide."""
    from retune.tuning.presets import PRESETS

    plainly = Options()
    return {
        name
        for preset in PRESETS.values()
        for name in Options.__dataclass_fields__
        if getattr(preset(plainly), name) != getattr(plainly, name)
    }


def _toml(value: object) -> str:
    """A value as TOML writes it."""
    if isinstance(value, tuple | list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, float):
        return '"none"' if isinf(value) else repr(int(value) if value.is_integer() else value)
    if isinstance(value, str):
        # A basic string of TOML is a string of JSON, but for the delete character (TOML 1.0, String).
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)
