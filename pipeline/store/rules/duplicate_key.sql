-- The second row of one key. The first in file and line order stays.
select '{log}' as log, source_file as file, source_line as line, '{column}' as "column",
    {column}::varchar as value, 'duplicate_id' as rule, 'error' as level,
    'stands already in ' || first_value(source_file) over same || ' line '
    || first_value(source_line) over same || ': {mend}' as message
from core.{log}
where {column} is not null
window same as (partition by lower({column}::varchar) order by source_file, source_line)
qualify row_number() over same > 1
