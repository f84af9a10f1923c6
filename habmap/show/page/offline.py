"""Seal a page: every link it holds becomes the vendored file itself, and the browser is told to fetch nothing.

folium writes links to scripts and styles on other machines. Here each is replaced by the copy that ships with habmap; a
link without a copy is an error, not a blank page at the meeting. A Content-Security-Policy with the hash of each script
and style then makes the browser refuse everything else, whatever text the page may carry.

References
----------
W3C, Content Security Policy Level 3, section 2.3.1 (hash sources): the hash is of the exact text between the tags.
"""

from __future__ import annotations

import base64
import hashlib
import re
from functools import lru_cache
from importlib.resources import files
from typing import Final

from habmap.errors import HabmapError

#: Links that folium 0.20 writes for the parts of it that are used here, and the file that stands in for each.
LEAFLET_SCRIPT: Final = "https://cdn.jsdelivr.net/npm/leaflet@1.9.3/dist/leaflet.js"
LEAFLET_STYLE: Final = "https://cdn.jsdelivr.net/npm/leaflet@1.9.3/dist/leaflet.css"
VENDORED: Final = {LEAFLET_SCRIPT: "leaflet/leaflet.js", LEAFLET_STYLE: "leaflet/leaflet.css"}
_SCRIPT_LINK: Final = re.compile(r"<script\b[^>]*\bsrc=\"([^\"]*)\"[^>]*>\s*</script>")
_STYLE_LINK: Final = re.compile(r"<link\b[^>]*\bhref=\"([^\"]*)\"[^>]*/?>")
_INLINE_SCRIPT: Final = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_INLINE_STYLE: Final = re.compile(r"<style>(.*?)</style>", re.DOTALL)
_CSS_URL: Final = re.compile(r"url\((?!#)[^)]*\)")
#: folium forbids zooming with two fingers; a reader with weak eyes needs it.
_FOLIUM_VIEWPORT: Final = re.compile(
    r"<meta name=\"viewport\" content=\"width=device-width,[^\"]*user-scalable=no\" />"
)
POLICY_SLOT: Final = "<!--policy-->"


class UnsealedPageError(HabmapError):
    """The page would fetch something when it is opened."""


@lru_cache(maxsize=16)
def asset(name: str) -> str:
    """Return the text of a file under ``show/assets``."""
    return (files("habmap.show") / "assets" / name).read_text(encoding="utf-8")


def seal(page: str) -> str:
    """Return the page with all links replaced by vendored text and a policy of hashes in its head.

    Parameters
    ----------
    page
        HTML with :data:`POLICY_SLOT` at the head of ``<head>``, before any script or style.

    Raises
    ------
    UnsealedPageError
        The page links to a file that is not vendored, or has no slot for the policy.
    """
    if page.count(POLICY_SLOT) != 1:
        raise UnsealedPageError(
            "the page has no single slot for its policy",
            where="the page",
            allowed=POLICY_SLOT,
            mend="put it into the template's head",
        )
    page = _FOLIUM_VIEWPORT.sub("", page)
    page = _SCRIPT_LINK.sub(lambda link: f"<script>{_script(link[1])}</script>", page)
    page = _STYLE_LINK.sub(lambda link: f"<style>{_style(link[1])}</style>", page)
    return page.replace(POLICY_SLOT, _policy(page))


def _vendored(address: str) -> str:
    try:
        return asset(VENDORED[address])
    except KeyError:
        raise UnsealedPageError(
            "the page links to a file that does not ship with habmap",
            where="the page",
            value=address,
            allowed=", ".join(sorted(VENDORED)),
            mend="use the folium version that pyproject.toml names, or vendor the file under habmap/show/assets",
        ) from None


def _script(address: str) -> str:
    text = _vendored(address)
    license = asset(VENDORED[address].rpartition("/")[0] + "/LICENSE")
    without_map = re.sub(
        r"//# sourceMappingURL=.*", "", text
    )  # else the developer tools ask for a file that is not there
    return f"/*\n{license.strip()}\n*/\n{without_map}".replace("</script", "<\\/script")


def _style(address: str) -> str:
    """Return the style without its pictures: marker and layer icons that habmap never shows."""
    return _CSS_URL.sub("none", _vendored(address))


def _hashes(texts: list[str]) -> str:
    digests = (base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in texts)
    return " ".join(dict.fromkeys(f"'sha256-{digest}'" for digest in digests))


def _policy(page: str) -> str:
    scripts, styles = _hashes(_INLINE_SCRIPT.findall(page)), _hashes(_INLINE_STYLE.findall(page))
    return (
        '<meta http-equiv="Content-Security-Policy" content="'
        f"default-src 'none'; img-src data:; script-src {scripts}; style-src {styles}; "
        "base-uri 'none'; form-action 'none'\">"
    )
