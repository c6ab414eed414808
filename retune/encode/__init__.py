"""Score and tuning in, files out: tuning put into messages that synthesizers understand.

Every way of carrying tuning is one module with one function of the same shape. What is not tuning is kept.
"""

from retune.encode.apart import extract_part
from retune.encode.encodings import encode, per_part
from retune.encode.model import Encoded, EncodedFile

__all__ = ["Encoded", "EncodedFile", "encode", "extract_part", "per_part"]
