-- Used and lost containers of a batch never exceed those made; the row that goes over is set aside.
with events as (
    select 'consumption' as log, batch_id, used_on as day, coalesce(containers, 1) as gone, source_file, source_line
    from core.consumption
    where batch_id is not null
    union all
    select 'spoilage', batch_id, found_on, containers, source_file, source_line
    from core.spoilage
    where batch_id is not null and containers > 0
        and coalesce(list_contains($lost_actions, action), not list_contains($harmless_causes, coalesce(cause, '')))
),
running as (
    select *, sum(gone) over (
        partition by batch_id order by day, log, source_file, source_line
        rows unbounded preceding
    ) as gone_so_far
    from events
)
select running.log, running.source_file as file, running.source_line as line, 'containers' as "column",
    running.gone::varchar as value, 'more_than_made' as rule, 'error' as level,
    'brings batch ' || batch.batch_id || ' to ' || gone_so_far::bigint || ' used or lost, but ' || batch.containers
    || ' were made (' || batch.source_file || ' line ' || batch.source_line || '): check both numbers' as message
from running
join core.batches as batch using (batch_id)
where gone_so_far > batch.containers
