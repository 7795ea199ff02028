-- Labels are compared without case; a row takes the spelling of the row it names.
update core.{log} as row_
set {column} = named.{column}
from core.{other} as named
where lower(named.{column}) = lower(row_.{column}) and named.{column} <> row_.{column}
returning row_.source_file
