"""The tables of the shared garden report: every column with its type, unit and meaning.

A row or cell that rests on too few plots is withheld: its figures are empty. Plots of one grower count as one.
"""

from __future__ import annotations

from schemas.answer_table import OUTLOOK, Answer, declared

ALL_CROPS = "all crops"
OTHER_CROPS = "other crops"
"""Names of rows that stand for more than one crop."""

_TABLES = (
    declared(
        "shared_garden",
        "garden",
        "What all shared plots have and gave together",
        """
        plots int plots plots that agreed to share
        area_m2 float m2 their area, where it is known
        kg float kg picked in the season
        kg_per_m2 float kg/m2 picked over the area of the plots, for those whose area is known
        first_day date - first day of the season
        last_day date - last day of the season, or the day of the count
        smallest_group int plots fewest plots behind a figure that is shown
        """,
    ),
    declared(
        "shared_crops",
        "crop",
        "What each crop gave on all shared plots",
        """
        crop text - crop, other crops or all crops
        plots int plots plots it was picked on; empty where withheld
        kg float kg picked in the season; empty where withheld
        kg_per_m2 float kg/m2 picked over the area sown, for sowings whose area is known
        """,
    ),
    declared(
        "shared_calendar",
        "crop, month",
        "When the harvest came; months, never days",
        """
        crop text - crop, or other crops
        month date - first day of the month
        plots int plots plots it was picked on that month; empty where withheld
        kg float kg picked; empty where withheld
        """,
    ),
    declared(
        "shared_uses",
        "crop, use",
        "What became of fresh produce, as far as it was logged",
        """
        crop text - crop, other crops or all crops
        use text - eaten, given, swapped, sold, donated, put by or thrown away
        plots int plots plots that logged it; empty where withheld
        kg float kg weight as picked; empty where withheld
        """,
    ),
    declared(
        "shared_spoilage",
        "method",
        "What kept and what spoiled on all shared plots, by way of keeping",
        """
        method text - way of keeping
        plots int plots plots that kept food this way
        batches int batches batches behind the numbers
        containers int containers containers made
        spoiled int containers containers found spoiled so far
        lost_share float share share spoiled by today, use competing (Aalen-Johansen)
        lost_low float share 95 % low
        lost_high float share 95 % high
        kept_12m float share share with no spoilage found by 12 months if left alone (Kaplan-Meier)
        kept_12m_low float share 95 % low
        kept_12m_high float share 95 % high
        lost_per_100 float containers containers lost of 100 followed for a year
        plot_sd_per_100 float containers standard deviation of that between plots, beyond what batches explain
        evidence text - enough, thin or too little
        """,
    ),
    declared(
        "shared_keeping",
        "method, age_months",
        "Share with no spoilage found by age on all shared plots",
        """
        method text - way of keeping
        age_months int months age of the batch
        kept float share share with no spoilage found if left alone
        kept_low float share 95 % low, pointwise
        kept_high float share 95 % high, pointwise
        """,
    ),
    declared(
        "shared_surplus",
        "crop, week",
        "Weeks in which plots had more of a crop than they could use, or too little of it",
        """
        crop text - crop
        week date - Monday of the week
        plots_with_more int plots plots that picked more than they could use; empty below the smallest group
        plots_with_less int plots plots with less than half of what they want; empty below the smallest group
        """,
    ),
    declared(
        "shared_sowings",
        "crop, sow_on, plot",
        "Who sows what when, so that the garden's harvest comes evenly",
        """
        crop text - crop
        sow_on date - day to sow
        plot text - label of the plot whose turn it is; empty where no single plot has room
        plant_out_on date - day to plant out, for crops raised as transplants
        amount float - how much
        unit text - plants or m
        area_m2 float m2 bed area it takes
        first_pick_on date - expected first pick
        last_pick_on date - expected last pick
        expected_kg float kg expected harvest
        """,
    ),
    declared(
        "shared_outlook",
        "crop, week",
        "What those sowings are expected to give, all plots together",
        OUTLOOK + "need_kg float kg what an even harvest would be",
    ),
    declared(
        "shared_plan_worth",
        "policy",
        "What sowing in turn is worth, on weather years the plan never saw",
        """
        policy text - way of sowing
        wasted_kg float kg beyond an even harvest and not used in time
        short_kg float kg short of an even harvest
        weeks_without float crop_weeks crop-weeks with less than half of an even harvest
        peak_to_mean float ratio best week over mean week, mean over crops
        sowings float sowings number of sowings
        """,
    ),
    declared(
        "shared_withheld",
        "table, why",
        "What was withheld, and why; never how much it was",
        """
        table text - table or log it would have stood in
        why text - reason
        cells int - figures withheld; empty where whole rows or plots were left out
        """,
    ),
)

SHARED: dict[str, Answer] = {table.name: table for table in _TABLES}
