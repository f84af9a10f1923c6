"""Withdraw a feature, and list those that are there with what they can be named by."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, replace
from datetime import datetime

from habmap.jobs.ports import Store
from habmap.work.said import check_why
from habmap.work.succession import named_feature


@dataclass(frozen=True, slots=True, kw_only=True)
class FeatureVoided:
    """A feature just withdrawn, and why; ``is_written`` is ``False`` for a preview."""

    uuid: str
    feature_id: str | None
    kind: str
    name: str
    why: str
    is_written: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FeatureLine:
    """A feature as it counts now."""

    uuid: str
    feature_id: str | None
    kind: str
    name: str
    sensitive: bool
    is_corrected: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FeatureList:
    """All features that count (``habmap/feature-list/1``)."""

    features: tuple[FeatureLine, ...]


def list_features(store: Store) -> FeatureList:
    """Return the features that count, by kind and name."""
    lines = (
        FeatureLine(
            uuid=one.uuid,
            feature_id=one.feature_id,
            kind=one.kind,
            name=one.name,
            sensitive=one.sensitive,
            is_corrected=bool(one.supersedes),
        )
        for one in store.features()
    )
    return FeatureList(features=tuple(sorted(lines, key=lambda one: (one.kind, one.name, one.uuid))))


def void_feature(store: Store, name: str, *, why: str, now: datetime, is_preview: bool = False) -> FeatureVoided:
    """Withdraw a feature: it is on no map any more, and stays on record with the reason.

    Parameters
    ----------
    name
        Its feature_id, its name, its row's id or the beginning of that (4 characters or more), of one feature only.
    why
        The reason.
    now
        Moment of recording, UTC.
    is_preview
        Look at it only.

    Raises
    ------
    UsageError
        No reason is given.
    InputError
        There is no such feature, or several are called so.
    """
    check_why(why)
    feature = named_feature(store.features(), name.strip())
    row = replace(feature, uuid=str(uuid.uuid4()), recorded_at=now, is_void=True, why=why, supersedes=(feature.uuid,))
    if not is_preview:
        store.append([row])
    return FeatureVoided(
        uuid=feature.uuid,
        feature_id=feature.feature_id,
        kind=feature.kind,
        name=feature.name,
        why=why,
        is_written=not is_preview,
    )
