-- Days that have come, but lie after the day this is computed for: not there yet, and nothing to mend.
select '{log}' as log, source_file as file, min(source_line) as line, '{day}' as "column",
    null::varchar as value, 'date_later' as rule, 'note' as level,
    case when count(*) = 1 then '1 row is' else count(*) || ' rows are' end
        || ' of a day after ' || $as_of::varchar || ', the day this is computed for (up to '
        || max({day})::varchar || '): later, so not counted, and nothing to mend' as message,
    count(*) as later
from core.{log}
where {day} > $as_of and {day} <= $latest
group by source_file
