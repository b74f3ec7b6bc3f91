"""The figures of a page, unpacked as the browser does it."""

from __future__ import annotations

import base64
import gzip
import json
from typing import Any

MARK = 'id="figures">'


def figures_text(page: str) -> str:
    """The figures as JSON text."""
    start = page.index(MARK) + len(MARK)
    packed = page[start : page.index("</script>", start)]
    return gzip.decompress(base64.b64decode(packed)).decode()


def figures_of(page: str) -> dict[str, Any]:
    """The figures by element id."""
    return json.loads(figures_text(page))
