"""What a user may write; it must pass the type checker as it stands (mypy, strict)."""

from pathlib import Path

import numpy as np

import retune


def shares(folder: Path) -> dict[str, float | None]:
    """Purity of every piece in a folder."""
    options = retune.Options(drift_limit_cents=10, fixed=("Piano",))
    found: dict[str, float | None] = {}
    for path in folder.glob("*.mid"):
        try:
            conversion = retune.convert(path, options)
        except retune.RetuneError as error:
            print(error)
            continue
        written: tuple[str, ...] = retune.write(conversion, path.with_suffix(".pure.mid"))
        found[written[0]] = conversion.checked.after.share_within_1_cent
    return found


def furthest(data: bytes) -> float:
    """How far the furthest note of a piece moves."""
    analysis = retune.analyze(retune.load(data), plan="plan.toml")
    tuning = retune.tune(analysis)
    retune.write((analysis, tuning), "out.mid")
    labels: list[str] = [window["label"] for window in retune.window_rows(analysis, tuning)]
    print(labels, retune.check_retuned(data, ["out.mid"]).ok)
    print([row.name for row in retune.compare_tunings(analysis).tunings])
    return float(np.nanmax(retune.note_rows(analysis, tuning)["movement_cents"]))
