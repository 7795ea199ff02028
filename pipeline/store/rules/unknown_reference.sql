-- A label that the other log does not have. Silent where the other log is kept nowhere and rows can do without.
select '{log}' as log, source_file as file, source_line as line, '{column}' as "column",
    {column} as value, 'unknown_{what}' as rule, '{level}' as level,
    'no such {what} in the {other} log' as message
from core.{log} as row_
where {column} is not null
    and not exists (select 1 from core.{other} as named where lower(named.{column}) = lower(row_.{column}))
    and ('{level}' = 'error' or exists (select 1 from core.{other}))
