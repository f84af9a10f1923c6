"""What opens the desk: a key that works for a minute, the cookie it turns into, and the token of its own pages."""

from __future__ import annotations

import hmac
import secrets
import time
from collections.abc import Callable
from typing import Final

#: How long a key works: a browser that a desktop helper opens twice must get in twice [s].
KEY_LIFE_S: Final = 60.0
#: Random bytes of each secret.
_BYTES: Final = 24
#: Keys are short-lived; of more than these the oldest are forgotten.
_MOST_KEYS: Final = 20


class Keys:
    """The secrets of one run of the desk; nothing of them outlives it but the line that opens the browser.

    Parameters
    ----------
    clock
        Seconds that only ever grow.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._keys: dict[str, float] = {}
        #: What the cookie holds.
        self.session: Final = secrets.token_urlsafe(_BYTES)
        #: What every form and script of the desk's own pages sends along with a write.
        self.token: Final = secrets.token_urlsafe(_BYTES)
        #: What a second start shows to be let in; it lies in a file that only this user can read.
        self.control: Final = secrets.token_urlsafe(_BYTES)

    def fresh_key(self) -> str:
        """Return a new key, good for a minute from now."""
        key = secrets.token_urlsafe(_BYTES)
        self._keys[key] = self._clock()
        for old in list(self._keys)[:-_MOST_KEYS]:
            del self._keys[old]
        return key

    def opens(self, key: str) -> bool:
        """Tell whether a key opens the desk now."""
        now = self._clock()
        return any(same(known, key) and now - born <= KEY_LIFE_S for known, born in list(self._keys.items()))


def same(one: str, other: str) -> bool:
    """Compare two secrets in a time that tells nothing of where they differ."""
    return hmac.compare_digest(one.encode(), other.encode("utf-8", "surrogatepass"))
