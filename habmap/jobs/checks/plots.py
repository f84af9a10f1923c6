"""What must be so of density plots: copies of a property may have told one plot apart."""

from __future__ import annotations

from collections.abc import Iterator

from habmap.jobs.checks.facts import Facts, Fault
from habmap.jobs.plots import plots_told
from habmap.place.load.plots import NOT_MEASURED
from habmap.records import differences
from habmap.work.succession import counting, standing


def plots(facts: Facts) -> Iterator[Fault]:
    """Yield plots that were corrected or withdrawn apart, in different ways."""
    for plot_id, rows in plots_told(facts.store).items():
        rivals = standing(rows)
        last = rivals[-1]
        told = [found.words for one in rivals[:-1] for found in differences(one, last, besides=NOT_MEASURED)]
        if len({row.is_void for row in rivals}) > 1:
            told.append("one withdraws it, another does not")
        if told:
            counts = "it stays withdrawn" if counting(rows) is None else f"that of {last.recorded_at:%Y-%m-%d} counts"
            yield Fault(
                rule="plot",
                where=f"plot {plot_id}",
                what=f"two copies told it apart ({'; '.join(told)}); {counts}",
                mend="load the right row with `habmap load plots FILE --overwrite`, or withdraw it with "
                f"`habmap plot void {plot_id} --why T`",
            )
