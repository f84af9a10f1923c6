"""An error that stands in the place of others: which it takes, what it tells of them, and what passes by it."""

from __future__ import annotations

import pytest

from habmap.errors import HabmapError, InputError, PlaceError


def refusal(value: object = None) -> PlaceError:
    return PlaceError("the folder cannot be written", where="there", value=value, mend="choose another")


def test_what_was_raised_is_told_as_what_was_found_and_stays_the_cause() -> None:
    full = OSError(28, "No space left on device", "/somewhere/else")
    with pytest.raises(PlaceError) as caught, refusal().instead_of(OSError):
        raise full
    assert caught.value.value == "No space left on device"
    assert caught.value.__cause__ is full


def test_what_the_error_says_itself_counts_before_what_was_raised() -> None:
    with pytest.raises(PlaceError) as caught, refusal("a value").instead_of(ValueError, KeyError):
        raise KeyError("x")
    assert caught.value.value == "a value"


@pytest.mark.parametrize(
    "raised",
    [
        RuntimeError("of another kind"),
        InputError("an own one, though a ValueError", where="here", mend="mend it"),
        PlaceError("an own one, though an OSError", where="here", mend="mend it"),
        KeyboardInterrupt(),
    ],
)
def test_others_and_errors_of_the_tree_pass_as_they_are(raised: BaseException) -> None:
    with pytest.raises(type(raised)) as caught, refusal().instead_of(OSError, ValueError):
        raise raised
    assert caught.value is raised


def test_nothing_is_raised_where_nothing_was() -> None:
    error: HabmapError = refusal()
    with error.instead_of(OSError):
        pass
    assert error.value is None
