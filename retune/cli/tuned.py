"""What commands begin with: a piece read and analysed, perhaps tuned, and how it is called."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from retune.cli.options import read_plan_file
from retune.cli.printing import print_remarks
from retune.files import STANDARD_STREAM, called, read_input

if TYPE_CHECKING:
    from retune.errors import Remark
    from retune.options import Options
    from retune.pipeline import Analysis
    from retune.tuning import Tuning


def analyzed_input(path: str, options: Options, plan_path: str | None) -> Analysis:
    """Read and analyse the piece in a file (`-`: standard input).

    Raises what reading and `retune.pipeline.analyze` raise.
    """
    plan = read_plan_file(plan_path, beside=path)
    data = read_input(path)
    from retune.pipeline import analyze

    return analyze(data, options, name=called(path), plan=plan)


def tuned_input(
    path: str,
    options: Options,
    plan_path: str | None,
    *,
    explain: bool = False,
    quiet: bool = False,
    also: tuple[Remark, ...] = (),
) -> tuple[Analysis, Tuning]:
    """Read, analyse and tune the piece in a file (`-`: standard input), and print what there is to remark.

    `explain`: say in the tuning where purity gave way; `also`: remarks to print beside those of the stages.
    Raises what `analyzed_input` raises.
    """
    analysis = analyzed_input(path, options, plan_path)
    from retune.cli.windows import all_remarks
    from retune.pipeline import tune

    tuning = tune(analysis, explain=explain)
    print_remarks((*all_remarks(analysis, tuning), *also), name=called(path), quiet=quiet)
    return analysis, tuning


def heading(wanted: str | None, analysis: Analysis, path: str) -> str:
    """Return the title asked for, else the one in the file, else the name of the file (of standard input: music)."""
    return wanted or analysis.score.title or ("music" if path == STANDARD_STREAM else Path(path).stem)
