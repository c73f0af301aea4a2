"""One self-contained HTML page; its own policy forbids the browser to load or send anything."""

import base64
import hashlib
import html
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

SHELL_STYLE: Final = (Path(__file__).parent / "shell.css").read_text(encoding="utf-8")
"""The style that every page begins with."""
_PAGE: Final = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<meta name="robots" content="noindex">
<title>{title}</title>
<link rel="icon" href="data:,">
<style>{style}</style>
</head>
<body>
{body}
<noscript><p>This page needs JavaScript; switch it on and load the page again.</p></noscript>
{data}
<script type="module">{script}</script>
</body>
</html>
"""


def page_of(
    title: str,
    body: str,
    *,
    styles: Sequence[str] = (),
    scripts: Sequence[str] = (),
    data: Mapping[str, Any] | None = None,
    sends: bool = False,
) -> str:
    """Write one page that holds everything it needs.

    Parameters
    ----------
    title : str
        Title, as text.
    body : str
        HTML of the page, escaped where it holds text of others.
    styles : sequence of str
        CSS after the shared style.
    scripts : sequence of str
        Parts of one JavaScript module, in their order; they run once the page stands.
    data : mapping, optional
        Values by name; the script finds them as JSON in the element ``#data``.
    sends : bool
        Whether the page may send to the server it came from; otherwise to nobody.

    Returns
    -------
    str
        The page. Its policy allows its own style and script, named by their SHA-256, pictures
        inside the page and nothing else.

    Examples
    --------
    >>> page = page_of("Floor", "<main>Ring</main>", data={"end": "</script>"})
    >>> "connect-src 'none'" in page, page.count("</script>")
    (True, 2)
    """
    style, script = "\n".join((SHELL_STYLE, *styles)), "\n".join(scripts)
    reached = "'self'" if sends else "'none'"
    policy = (
        f"default-src 'none'; script-src '{_sha256(script)}'; style-src '{_sha256(style)}'; "
        f"img-src data: blob:; connect-src {reached}; base-uri 'none'; "
        "form-action 'none'"
    )
    return _PAGE.format(
        policy=policy,
        title=html.escape(title),
        style=style,
        body=body,
        data=_data(data or {}),
        script=script,
    )


def _sha256(text: str) -> str:
    """Name a style or a script as a policy does."""
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode('ascii')}"


def _data(values: Mapping[str, Any]) -> str:
    """Write values so that nothing in them can end the element they stand in."""
    text = json.dumps(values, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    harmless = text.replace("<", "\\u003c")
    return f'<script type="application/json" id="data">{harmless}</script>'
