-- Nothing is used, looked at or tasted before it was made.
select '{log}' as log, row_.source_file as file, row_.source_line as line, '{day}' as "column",
    row_.{day}::varchar as value, 'before_made' as rule, 'error' as level,
    'before batch ' || batch.batch_id || ' was made on ' || batch.made_on::varchar || ' (' || batch.source_file
    || ' line ' || batch.source_line || '): check both dates' as message
from core.{log} as row_
join core.batches as batch using (batch_id)
where row_.{day} < batch.made_on
