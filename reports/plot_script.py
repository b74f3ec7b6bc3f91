"""The plot script, once a page, and the figures, compressed: the browser unpacks them itself."""

from __future__ import annotations

import base64
import gzip
import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

LEVEL = 6
"""1.96 MB as base64 in 0.13 s; level 4 takes 0.07 s and 0.07 MB more, the highest saves nothing."""


FIGURES_LEVEL = 5
"""Two fifths less of a full page's figures in 0.03 s."""


def packed_figures(figures: Mapping[str, Any]) -> str:
    """Figures by element id as base64 of gzip of JSON; the same bytes every time."""
    text = json.dumps(figures, separators=(",", ":"))
    return base64.b64encode(gzip.compress(text.encode(), FIGURES_LEVEL, mtime=0)).decode("ascii")


def plot_script() -> bytes:
    """plotly's script as it is, for a folder of pages that share it."""
    return (files("plotly") / "package_data" / "plotly.min.js").read_bytes()


@cache
def packed_plot_script() -> str:
    """plotly's script as base64 of gzip; the same bytes every time. May be called early, in a
    thread, while the ride is still being read."""
    return base64.b64encode(gzip.compress(plot_script(), LEVEL, mtime=0)).decode("ascii")
