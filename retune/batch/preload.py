"""What every worker needs, imported before there is work for it."""

import gc

import qdldl

import retune.batch.work
import retune.check
import retune.encode
import retune.encode.bend
import retune.pipeline
import retune.plan

__all__ = ["qdldl", "retune"]

gc.freeze()  # all of it stays: no worker need look through it for garbage
