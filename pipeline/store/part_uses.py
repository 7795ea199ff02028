"""Uses and losses of a batch by weight: parts of a container, which is gone once as much has been taken as it held.

2.5 kg out of a box of 11.5 kg is not the box. A row that says how many containers is left as it is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.store.store import Store

BY_WEIGHT = (("consumption", "used_on"), ("spoilage", "found_on"))


def count_parts(store: Store) -> set[str]:
    """Give each row that names a batch and a weight the containers that are gone with it; nothing is set aside.

    A container holds its share of the finished weight, else of the produce. Rows of a batch are taken in the order of
    their days. A batch without a weight is left alone: a use of it is one container.

    Returns:
        The files of which rows were counted so: what they come to hangs on another log.
    """
    touched: set[str] = set()
    for log, day in BY_WEIGHT:
        rows = store.frame(
            f"""
            with held as (
                select batch_id, coalesce(finished_kg, produce_kg) / containers as each_kg from core.batches
                where coalesce(finished_kg, produce_kg) > 0 and containers > 0
            ),
            taken as (
                select rows.source_file as file, rows.source_line as line, rows.weight_kg / each_kg as part,
                    sum(rows.weight_kg / each_kg) over (
                        partition by rows.batch_id order by rows.{day}, rows.source_file, rows.source_line
                    ) as so_far
                from core.{log} as rows
                join raw.{log} as typed using (source_file, source_line)
                join held on held.batch_id = rows.batch_id
                where rows.weight_kg > 0 and coalesce(trim(typed.containers), '') = ''
            )
            select file, line, (floor(so_far + 1e-6) - floor(so_far - part + 1e-6))::bigint as gone from taken
            """  # noqa: S608
        )
        if rows.height:
            store.set_cells(f"core.{log}", "containers", rows.rename({"gone": "value"}))
            touched |= set(rows["file"].to_list())
    return touched
