"""What every worker needs, imported once before the workers are forked."""

import qdldl
import scipy.sparse

import retune.batch.work
import retune.check
import retune.encode
import retune.pipeline
import retune.plan

__all__ = ["qdldl", "retune", "scipy"]
