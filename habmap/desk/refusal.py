"""What the desk says to whoever it does not let in, or cannot answer: a page of one sentence."""

from __future__ import annotations

import html
from typing import Final

from starlette.responses import HTMLResponse, Response

#: It loads nothing: the desk's own style is behind the door too.
_PAGE: Final = """<!DOCTYPE html>
<html lang="en">
<head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>habmap</title></head>
<body><main><h1>{}</h1></main></body>
</html>
"""


def refusal(status: int, words: str) -> Response:
    """Return a refusal in plain words, as a page that every reader can read."""
    return HTMLResponse(_PAGE.format(html.escape(words)), status_code=status)
