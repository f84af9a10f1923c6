"""How far a job is: counted by the job itself, told by whatever face called it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Final, TypeVar

#: Variable of the environment by which another program asks for lines of progress on stderr.
PROGRESS_LINES: Final = "HABMAP_PROGRESS_LINES"
#: Begins a line of progress, so that it is told apart from words for people (ASCII's record separator).
_MARK: Final = "\x1e"
#: Of very many parts the progress is told about so often.
_TELLINGS: Final = 200

Part = TypeVar("Part")


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """How far a job is.

    Attributes
    ----------
    done, count
        How many parts are behind it, of how many.
    what
        What the parts are, such as ``photos``; of named steps the name of the one under way, empty after the last.
    is_step
        Whether the parts are named steps: these are not alike, so no pace can be told from them.
    within
        How far the step under way is, where it counts too.
    """

    done: int
    count: int
    what: str
    is_step: bool = False
    within: Share | None = None

    @property
    def done_frac(self) -> float:
        """The share that is done, by the number of parts."""
        inner = 0.0 if self.within is None else self.within.done_frac
        return min(1.0, (self.done + inner) / self.count) if self.count else 1.0

    def line(self) -> str:
        """Return it as a line that another program reads with `read_share`."""
        return _MARK + json.dumps(asdict(self))


Progress = Callable[[Share], None]


def read_share(line: str) -> Share | None:
    """Return what a line says of progress; ``None`` where it is any other line."""
    if not line.startswith(_MARK):
        return None
    try:
        said = json.loads(line.removeprefix(_MARK))
    except ValueError:  # the program was ended in the middle of the line
        return None
    inner = said.pop("within")
    return Share(**said, within=None if inner is None else Share(**inner))


def counted(parts: Sequence[Part], progress: Progress | None, *, what: str) -> Iterator[Part]:
    """Yield parts that are alike, and tell how many are done whenever the next is asked for."""
    every = max(1, len(parts) // _TELLINGS)
    for done, part in enumerate(parts, 1):
        yield part
        if progress is not None and (done % every == 0 or done == len(parts)):
            progress(Share(done=done, count=len(parts), what=what))


class Steps:
    """The named steps of one job, told as they are begun; without ``progress`` nothing is told.

    A job that calls another gives it its steps: one that was begun before is not told again, so shares only rise.
    """

    def __init__(self, progress: Progress | None = None, *names: str) -> None:
        self._progress = progress
        self._names = names
        self._at = -1
        self._within_frac = 0.0

    def begin(self, name: str) -> None:
        """Tell that a step is under way, and so that all before it are done."""
        if self._progress is not None and (at := self._names.index(name)) > self._at:
            self._at, self._within_frac = at, 0.0
            self._tell(None)

    def within(self, share: Share) -> None:
        """Tell how far the step under way is."""
        if self._progress is not None and share.done_frac >= self._within_frac:
            self._within_frac = share.done_frac
            self._tell(share)

    def end(self) -> None:
        """Tell that all is done."""
        if self._progress is not None:
            count = len(self._names)
            self._progress(Share(done=count, count=count, what="", is_step=True))

    def _tell(self, within: Share | None) -> None:
        if self._progress is not None:
            name = self._names[self._at]
            self._progress(Share(done=self._at, count=len(self._names), what=name, is_step=True, within=within))
