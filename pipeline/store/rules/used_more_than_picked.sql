-- Over the whole log a crop was used by more than 5 % beyond what was picked. Logs are incomplete in real
-- life, so this is a warning; it names the first row of each of the two logs.
with picked as (
    select crop, sum(weight_kg) as kg, arg_min(source_file, picked_on) as file, arg_min(source_line, picked_on) as line
    from core.harvests
    group by crop
),
put_by as (
    select ingredient.crop, ingredient.weight_kg as kg, ingredient.source_file, ingredient.source_line
    from core.ingredients as ingredient
    union all
    select batch.crop, batch.produce_kg, batch.source_file, batch.source_line
    from core.batches as batch
    where batch.produce_kg is not null
        and not exists (select 1 from core.ingredients as part where part.batch_id = batch.batch_id)
),
used as (
    select crop, sum(kg) as kg, arg_min(source_file, source_line) as file, min(source_line) as line
    from (
        select * from put_by
        union all
        select crop, weight_kg, source_file, source_line
        from core.consumption
        where batch_id is null and weight_kg is not null
    )
    group by crop
)
select 'batches' as log, used.file, used.line, 'crop' as "column", used.crop as value,
    'used_more_than_picked' as rule, 'warning' as level,
    'all logs together use ' || round(used.kg, 1) || ' kg of ' || used.crop || ' but ' || round(picked.kg, 1)
    || ' kg were picked (first: ' || picked.file || ' line ' || picked.line || '): are pickings missing?' as message
from used
join picked using (crop)
where used.kg > picked.kg * 1.05
