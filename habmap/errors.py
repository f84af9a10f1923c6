"""What can go wrong, as one small tree.

HabmapError
├── UsageError      the command line alone shows the fault      exit 2
├── InputError      a file, layer, table or value is unfit      exit 3
│   └── InputErrors  several such faults, listed at once        exit 3
├── PlaceError      the property folder itself is unfit         exit 3
│   └── PlaceBusyError  another process holds the file          exit 3
└── OwnFaultError   a guard of habmap's own caught something    exit 3

Every error says what is wrong, where, the value found, what is allowed and how to mend it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

#: No value is repeated at more length than this [characters].
_LONGEST_REPEATED = 1_000


class HabmapError(Exception):
    """Root of all errors that habmap raises on purpose.

    Parameters
    ----------
    what
        The fault in one plain sentence, without the final stop.
    where
        File, layer, feature, row or option that holds it.
    value
        The value found there.
    allowed
        What would have been accepted.
    mend
        What the person can do about it.
    """

    exit_code: int = 3

    def __init__(
        self,
        what: str,
        *,
        where: str,
        value: object = None,
        allowed: str | None = None,
        mend: str,
    ) -> None:
        super().__init__(what)
        self.what = _short(what)
        self.where = _short(where)
        self.value = None if value is None else _short(str(value))
        self.allowed = allowed
        self.mend = mend

    def __reduce__(self) -> tuple[object, ...]:
        """Go whole to another process: a worker's error is told where it was asked for."""
        return _as_it_was, (type(self), self.args, dict(self.__dict__))

    def __str__(self) -> str:
        parts = [self.what]
        parts += [
            f"{label}: {text}"
            for label, text in (
                ("where", self.where),
                ("found", self.value),
                ("allowed", self.allowed),
                ("fix", self.mend),
            )
            if text
        ]
        return "\n  ".join(parts)

    def instead_of(self, *kinds: type[Exception]) -> _InsteadOf:
        """Raise this error where one of these is raised within: ``with PlaceError(…).instead_of(OSError):``.

        What was raised is told as what was found, unless this error says that itself. Another of this tree is told as
        it is.
        """
        return _InsteadOf(self, kinds)

    def as_record(self) -> dict[str, object]:
        """Return the error as the fields of ``habmap/error/1``."""
        return {
            "what": self.what,
            "where": self.where,
            "value": self.value,
            "allowed": self.allowed,
            "mend": self.mend,
        }


class _InsteadOf:
    """Raises an error in the place of others."""

    def __init__(self, error: HabmapError, kinds: tuple[type[Exception], ...]) -> None:
        self._error, self._kinds = error, kinds

    def __enter__(self) -> None:
        """Nothing was raised yet."""

    def __exit__(self, _kind: object, raised: BaseException | None, _traceback: object) -> None:
        if isinstance(raised, self._kinds) and not isinstance(raised, HabmapError):
            if self._error.value is None:
                self._error.value = _short(str(getattr(raised, "strerror", None) or raised))
            raise self._error from raised


class UsageError(HabmapError):
    """The command line alone shows the fault (no ``ValueError``: the parser would swallow its fields)."""

    exit_code = 2


class InputError(HabmapError, ValueError):
    """A file, layer, table or stored value is not fit for use."""


class InputErrors(InputError):
    """Several faults of one file, gathered so that they can all be mended in one go."""

    def __init__(self, faults: Sequence[HabmapError], *, where: str, mend: str | None = None) -> None:
        if not faults:
            raise ValueError("InputErrors needs at least one fault")
        first = faults[0]
        noun = "fault" if len(faults) == 1 else "faults"
        super().__init__(
            f"{len(faults)} {noun} found; nothing was written",
            where=where,
            value=first.value,
            allowed=first.allowed,
            mend=mend or first.mend,
        )
        self.faults = tuple(faults)

    def __str__(self) -> str:
        return "\n".join([f"{self.what} ({self.where})", *(f"- {fault}" for fault in self.faults)])

    def as_record(self) -> dict[str, object]:
        return {**super().as_record(), "faults": [fault.as_record() for fault in self.faults]}


class PlaceError(HabmapError, OSError):
    """The property folder cannot be opened, read or written."""


class PlaceBusyError(PlaceError):
    """Another process holds the property's file and did not let go in time."""


def _short(text: str) -> str:
    """Return a text as it is, or its beginning where somebody put a book into a cell or an option."""
    return text if len(text) <= _LONGEST_REPEATED else f"{text[: _LONGEST_REPEATED - 1]}…"


class OwnFaultError(HabmapError):
    """A guard of habmap's own caught what must not go out: a fault of the program, nothing that a person gave."""

    def __init__(self, what: str, *, value: object = None) -> None:
        super().__init__(
            what, where="what was about to be written", value=value,
            mend="nothing was written; send these words to whoever looks after habmap",
        )  # fmt: skip


def _as_it_was(kind: type[HabmapError], args: tuple[object, ...], own: dict[str, object]) -> HabmapError:
    error = kind.__new__(kind)
    error.args = args
    error.__dict__.update(own)
    return error


def no_such_unit(named: str, known: Iterable[str], *, where: str = "--unit", mend: str | None = None) -> InputError:
    """Return the fault of a unit that a property has not, nor ever had."""
    ids = printable(", ".join(sorted(known)), longest=400)
    usual = "use one of these ids" if ids else "load units with `habmap load units FILE`"
    return InputError(
        "there is no such unit",
        where=where,
        value=printable(named),
        allowed=ids or "no units are loaded yet",
        mend=mend or usual,
    )


def no_ground(what: str) -> InputError:
    """Return the fault of a property that holds no ground for what is asked."""
    return InputError(what, where="the property", mend="load its units with `habmap load units FILE`")


def printable(text: str, *, longest: int = 80) -> str:
    """Return a value from a file fit for one line of a message: no control characters, not endless."""
    clean = "".join(character if character.isprintable() else "�" for character in text)
    return clean if len(clean) <= longest else f"{clean[: longest - 1]}…"
