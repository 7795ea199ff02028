-- A day that has not come yet. {log} and {day} come from schemas/logs.py, never from data.
select '{log}' as log, source_file as file, source_line as line, '{day}' as "column",
    {day}::varchar as value, 'date_in_future' as rule, 'error' as level,
    'after ' || $latest::varchar || ', the day this is computed for: check the year' as message
from core.{log}
where {day} > $latest
