"""What every worker needs, imported once before the workers are forked."""

import gc

import qdldl

import retune.batch.work
import retune.check
import retune.encode
import retune.encode.bend
import retune.pipeline
import retune.plan
from retune.tuning.sparse import csc_matrix

__all__ = ["csc_matrix", "qdldl", "retune"]

csc_matrix((1, 1))  # the first call imports what it needs
gc.freeze()  # all of it stays: no worker need look through it for garbage
