"""One page to listen to a piece, see its tuning and change it: a single file that needs no network.

In: an analysis and its tuning. Out: the text of an HTML page (`build_page`). The page's own looks and
programs are real files in `assets/`, put into the page when it is built.
"""

from retune.page.build import build_page

__all__ = ["build_page"]
