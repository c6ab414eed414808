"""An analysed piece in, figures of many tunings side by side out.

In: `pipeline.Analysis`. Out: `Comparison`, with the figures of `retune.check` for each tuning, beats,
roughness and the bars where it does worst. It measures and plots; nothing is converted or written here.
"""

from retune.compare.measure import compare, measure
from retune.compare.model import BarFigure, Comparison, TuningFigures

__all__ = ["BarFigure", "Comparison", "TuningFigures", "compare", "measure"]
