-- Every label of a log with its first place: {layer} is core for rows taken, raw for all as typed.
select lower(trim({column})) as spelling, arg_min(trim({column}), (source_file, source_line)) as label,
    arg_min(source_file || ' line ' || source_line, (source_file, source_line)) as place
from {layer}.{other}
where {column} is not null
group by spelling
order by spelling
