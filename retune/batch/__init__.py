"""Many files: inputs → outputs in the same tree, a row a file, whatever happens on the way.

In: files, folders and globs, an output folder, options. Out: a `Row` for every file, streamed into a manifest.
A consumer of the pipeline: one file of a batch is converted exactly as `retune convert` would convert it.
"""

from retune.batch.jobs import Job, find_jobs
from retune.batch.manifest import Row
from retune.batch.run import BatchResult, run_batch

__all__ = ["BatchResult", "Job", "Row", "find_jobs", "run_batch"]
