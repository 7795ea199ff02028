"""The answer tables: every column of ``out``, with its type, unit and meaning.

Shares run from 0 to 1. Every estimate has ``_low`` and ``_high`` (95 %), the count of ``batches`` behind it
and ``evidence`` (``enough``: 8 batches or more, ``thin``: 3 to 7, ``too little``: fewer).
"""

from __future__ import annotations

from schemas.answer_table import OUTLOOK, Answer, declared

_TABLES = (
    declared(
        "load_summary",
        "file",
        "What came of each file: rows = accepted + set aside + later",
        """
        file text - file, as a path inside the season folder
        kind text - which log it is
        rows int rows rows in the file below its header
        accepted int rows rows taken into the store
        set_aside int rows rows not taken; each has a problem that says why
        later int rows rows of a day after the one computed for, which do not count yet
        cells_left_out int cells odd cells of rows that were taken without them
        warnings int - warnings on rows that were taken
        sha256 text - checksum of the file's bytes
        """,
    ),
    declared(
        "problems",
        "problem",
        "What is wrong in the logs, where, and what to write instead",
        """
        file text - file
        line int - line in the file, the header being line 1 of a plain file
        column text - column
        value text - what was found
        rule text - name of the rule
        level text - error (row set aside), cell (row taken without this cell), warning (row taken) or note
        message text - what was expected and what to do
        """,
    ),
    declared(
        "yields",
        "crop, plot, bed, sowing",
        "What each sowing gave",
        """
        crop text - crop
        plot text - plot
        bed text - bed
        sowing_id text - sowing; empty where the picking named none
        kg float kg picked weight
        first_pick date - first picking
        last_pick date - last picking
        area_m2 float m2 area of the sowing, from its amount and the published spacing
        kg_per_m2 float kg/m2 picked weight over area
        kg_per_plant float kg/plant picked weight over plants
        days_to_first_pick int d days from sowing to the first picking
        """,
    ),
    declared(
        "treatments",
        "crop, treatment",
        "Did a treatment give more, sowing against sowing",
        """
        crop text - crop
        treatment text - treatment
        reference text - treatment it is compared with
        sowings int sowings sowings with the treatment
        reference_sowings int sowings sowings with the reference
        kg_per_m2 float kg/m2 mean over the sowings
        ratio float ratio kg per square metre over that of the reference
        low float ratio 95 % low (bootstrap over sowings); empty below three sowings on either side
        high float ratio 95 % high
        evidence text - enough, thin or too little sowings
        """,
    ),
    declared(
        "spoilage",
        "grouping values",
        "What kept and what spoiled, by group; the batch, not the jar, is the independent unit",
        """
        grouping text - the columns grouped by
        group text - the group's values
        batches int batches batches behind the numbers
        containers int containers containers made in them
        container_months float container_months months that containers were followed
        spoiled int containers containers found spoiled so far
        used int containers containers used sound
        on_shelf int containers containers neither spoiled nor used
        lost_share float share lost by today of all that were made, whatever their age
        lost_low float share 95 % low
        lost_high float share 95 % high
        kept_12m float share share with no spoilage found by 12 months if left alone (Kaplan-Meier); empty beyond it
        kept_12m_low float share 95 % low
        kept_12m_high float share 95 % high
        pooled_kept_12m float share the same, shrunk towards all groups of the table
        followed_months float months longest follow-up; nothing is stated beyond it
        evidence text - enough, thin or too little
        """,
    ),
    declared(
        "keeping_curves",
        "group, age_days",
        "Share with no spoilage found by age",
        """
        grouping text - the columns grouped by
        group text - the group's values
        age_days int d age of the batch
        at_risk int containers containers followed at this age
        kept float share share with no spoilage found by this age
        kept_low float share 95 % low, pointwise
        kept_high float share 95 % high, pointwise
        """,
    ),
    declared(
        "salt_response",
        "method",
        "Does more salt go with less spoilage",
        """
        method text - method
        batches int batches batches with a known salt level
        hazard_ratio_per_half_point float ratio spoilage rate per half a percent point more salt; below 1 is less
        low float ratio 95 % low
        high float ratio 95 % high
        p_value float - chance of a trend this strong if salt made no difference (batches reshuffled)
        evidence text - enough (12 batches or more), thin or too little
        note text - the finding in words
        """,
    ),
    declared(
        "salt_levels",
        "method, basis, level",
        "What kept at each salt level, beside the least salt that is published; a level below that is no advice",
        """
        method text - method
        basis text - of produce (dry-salted) or of all that is in the container (brined)
        level text - salt band; it holds its lower end and not its upper end
        from_pct float pct lower end of the band
        to_pct float pct upper end; empty for the highest band
        salt_pct float pct mean salt of its batches
        batches int batches batches followed
        containers int containers containers made in them
        spoiled int containers containers found spoiled so far
        kept_12m float share share with no spoilage found by 12 months if left alone (Kaplan-Meier); empty beyond it
        kept_12m_low float share 95 % low
        kept_12m_high float share 95 % high
        kept_12m_isotonic float share the same, made never to fall as salt rises: for the picture, no test
        limit_pct float pct salt published for the method and basis; empty where the reference tables have none
        limit_source text - where that limit is published
        evidence text - enough, thin or too little
        """,
    ),
    declared(
        "spoilage_differences",
        "factor, value",
        "What differs between the batches that spoiled and those that kept, age and method allowed for",
        """
        factor text - what was recorded: lid, store, piece, starter, salt, submerged and such
        value text - its value
        batches int batches batches with this value, of methods in which values can be compared
        containers int containers containers followed
        spoiled int containers found spoiled
        expected float containers spoiled to be expected at their ages and with their methods
        ratio float ratio spoiled over expected, drawn towards 1 where little is known
        low float ratio 95 % low
        high float ratio 95 % high
        p_value float - chance that the worst looks this bad if none mattered (reshuffled); empty below three batches
        evidence text - enough, thin or too little
        """,
    ),
    declared(
        "spoilage_causes",
        "method, cause",
        "What was found on containers",
        """
        method text - method
        cause text - cause
        containers int containers containers with this finding
        lost int containers of them, containers lost
        batches int batches batches with this finding
        """,
    ),
    declared(
        "trials",
        "trial, arm",
        "Two makes compared",
        """
        trial text - trial label
        arm text - what differs in this arm
        batches int batches batches in the arm
        tasters int tasters people who scored it
        mean_liking float score mean liking, 1 to 9
        difference float score median difference in liking to the first arm, paired by taster
        low float score 95 % low
        high float score 95 % high
        p_value float - exact sign test on tasters
        evidence text - enough, thin or too little: tasters who scored both for liking
        firmness_tasters int tasters people who scored its firmness
        mean_firmness float score mean firmness, 1 to 9
        firmness_difference float score median difference in firmness to the first arm, paired by taster
        firmness_low float score 95 % low
        firmness_high float score 95 % high
        firmness_p_value float - exact sign test on tasters
        firmness_evidence text - enough, thin or too little: tasters who scored both for firmness
        containers int containers containers made in the arm
        spoiled int containers containers spoiled
        lost_share float share lost by today of all that were made, whatever their age
        lost_low float share 95 % low
        lost_high float share 95 % high
        spoiled_p_value float - chance of such a gap to the first arm (reshuffled); empty below three batches in either
        """,
    ),
    declared(
        "glut_weeks",
        "crop, week",
        "Balance per crop and week",
        """
        crop text - crop
        week date - Monday of the ISO week
        picked_kg float kg picked
        eaten_kg float kg eaten fresh
        put_by_kg float kg put by, as picked: prepared weight plus trimmings
        given_kg float kg given, swapped, sold or donated fresh
        wasted_kg float kg fresh waste that was logged
        expired_kg float kg outlived its keeping time without a use
        left_kg float kg still good at the end of the week
        capacity_kg float kg what could be eaten, given and put by that week
        over_used_kg float kg use logged beyond what was there
        is_glut bool - picked more than the capacity
        eaten_basis text - logged or assumed
        """,
    ),
    declared(
        "glut_waste",
        "crop",
        "Where each crop's kilos went; picked + over_used = eaten + put_by + given + wasted + expired + left",
        """
        crop text - crop
        picked_kg float kg picked
        eaten_kg float kg eaten fresh
        put_by_kg float kg put by, as picked
        given_kg float kg given, swapped, sold or donated fresh
        wasted_kg float kg fresh waste that was logged
        expired_kg float kg outlived its keeping time without a use
        left_kg float kg still good at the end
        over_used_kg float kg use logged beyond what was picked
        trimmings_kg float kg trimmed away, inside put_by
        from_gluts_kg float kg of the waste, what was picked beyond capacity in glut weeks
        from_gluts_share float share share of the waste that came from gluts
        even_loss_kg float kg what would have been lost had the same kilos come evenly
        worst_week date - Monday of the week with the most waste from a glut
        peak_to_mean float ratio best week over the mean week of the harvest window
        weeks_without int weeks weeks without a picking inside the harvest window
        best_two_weeks_share float share share of the season's kilos that came in the two best weeks
        gini float - unevenness of the weeks, 0 all alike to nearly 1 all in one (Gini coefficient)
        eaten_basis text - logged or assumed
        """,
    ),
    declared(
        "sowing_waste",
        "sowing",
        "Which sowing the waste came from",
        """
        sowing_id text - sowing
        crop text - crop
        kg float kg picked from it and lost
        from_gluts_kg float kg of that, from gluts
        """,
    ),
    declared(
        "shelf",
        "crop, method",
        "What is on the shelf and how long it lasts",
        """
        crop text - crop
        method text - method
        made int containers made
        used int containers used
        spoiled int containers spoiled
        on_hand int containers on hand
        used_per_month float containers/month rate of use
        low float containers/month 95 % low (exact Poisson)
        high float containers/month 95 % high
        runs_out_on date - day it runs out at this rate
        runs_out_low date - earliest, at the high rate
        runs_out_high date - latest, at the low rate
        weeks_left float weeks weeks left at this rate
        note text - such as: stop making more
        """,
    ),
    declared(
        "shelf_forecast",
        "method, crop",
        "How many containers on the shelf will be off by a day if they are left alone",
        """
        method text - method
        crop text - crop
        on_hand int containers on hand
        batches int batches batches they are of
        by_date date - the day
        expect_lost float containers expected to be off by then, what went off unseen already included
        expect_lost_low float containers 80 % low: fewer in one case of ten
        expect_lost_high float containers 80 % high: more in one case of ten
        evidence text - enough, thin or too little
        """,
    ),
    declared(
        "use_first",
        "batch",
        "Which batch to use next and which to look at",
        """
        batch_id text - batch
        crop text - crop
        method text - method
        on_hand int containers on hand
        age_days int d age
        quality_months float months published quality time for its method and store
        due_on date - day by which to use it or look at it
        reason text - why
        source text - where the time comes from
        """,
    ),
    declared(
        "needs",
        "crop",
        "What next season needs",
        """
        crop text - crop
        fresh_kg_per_week float kg/week fresh use wanted in an eating week
        containers_per_year float containers/year containers used in a year
        containers_to_make int containers containers to make next season, after what is on hand
        kg_to_put_by float kg picked weight that those containers take
        basis text - where the need comes from: setting, log, or published amount
        """,
    ),
    declared(
        "crop_timing",
        "crop",
        "How much warmth a crop needs here",
        """
        crop text - crop
        degree_days_to_first_pick float C_d warmth to the first pick
        sd float share spread between sowings, as a share (standard deviation of the logarithm)
        spread float d days from first to last pick
        n_sowings int sowings sowings learned from
        prior_weight float share weight of the published value, 1 where nothing was learned
        yield_kg_per_m float kg/m produce of a metre of row
        error_days float d typical error of a predicted first pick in this garden, days
        basis text - log and reference, reference only, reference and other crops, or days
        """,
    ),
    declared(
        "sowing_plan",
        "crop, sow_on",
        "What to sow, how much and when",
        """
        crop text - crop
        sow_on date - day to sow
        plant_out_on date - day to plant out, for crops raised as transplants
        amount float - how much
        unit text - plants or m
        area_m2 float m2 bed area it takes
        first_pick_on date - expected first pick
        first_pick_low date - early, 1 year in 10
        first_pick_high date - late, 1 year in 10
        last_pick_on date - expected last pick
        expected_kg float kg expected harvest
        ready_share float share share of weather years in which it ripens
        reason text - what it is for
        """,
    ),
    declared(
        "harvest_outlook",
        "crop, week",
        "What the plan is expected to give",
        OUTLOOK + "need_kg float kg wanted fresh",
    ),
    declared(
        "plan_comparison",
        "policy",
        "What the plan is worth, on weather years it never saw",
        """
        policy text - way of sowing
        wasted_kg float kg picked and not used
        short_kg float kg wanted fresh and not there
        weeks_without float crop_weeks crop-weeks with less than half of what was wanted
        shelf_filled_share float share share of the wanted preserves made
        peak_to_mean float ratio best week over the mean of the weeks the crop could be had, mean over crops
        sowings float sowings number of sowings
        """,
    ),
    declared(
        "cautions",
        "batch",
        "Batches that break a published limit; the record is flagged, not corrected",
        """
        batch_id text - batch
        rule text - rule
        severity text - caution or serious
        found text - what the log says
        limit text - published limit
        source text - where the limit is published
        read_as text - how the source was read
        message text - what to do
        """,
    ),
    declared(
        "season_outlook",
        "crop, week",
        "What is in the ground and still to come, week by week",
        """
        crop text - crop
        week date - Monday of the week
        kg_p10 float kg 1 time in 10 it gives less
        kg_p50 float kg middle
        kg_p90 float kg 1 time in 10 it gives more
        need_kg float kg wanted fresh; empty where no need is known
        over_kg float kg middle less what is wanted fresh
        """,
    ),
    declared(
        "last_season_outlook",
        "crop, week",
        "What last season's sowings would be expected to give, were they made again",
        OUTLOOK + "need_kg float kg wanted fresh",
    ),
)

ANSWERS: dict[str, Answer] = {table.name: table for table in _TABLES}
