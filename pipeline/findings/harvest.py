"""What the harvest, the shelf and next year's needs say, in plain sentences made by rule."""

from __future__ import annotations

from typing import Any

import polars as pl

from schemas.page import Finding
from schemas.words.days import full_day
from schemas.words.food import LOOK_BEFORE, TESTED_RECIPE
from schemas.words.numbers import capital, figure_of, kg
from schemas.words.ways import kind_of_food

MOST_CROPS = 3
"""Crops named by themselves; the total covers the rest."""

LEAST_LOST_KG, LEAST_LOST_SHARE = 1.0, 0.05
"""Waste below both is not worth a sentence."""

MAINLY = 0.5
"""From this share on, a glut is named as the reason of the waste."""

OVER_USED_SHARE = 0.05
"""Use logged beyond what was picked by more than this says that pickings are missing."""

SOON_WEEKS = 8.0
USE_FIRST = 3

ASSUMED = " Eating fresh is assumed at the household's need where it was not logged."


def harvest_findings(
    glut_waste: pl.DataFrame, shelf: pl.DataFrame, use_first: pl.DataFrame, needs: pl.DataFrame
) -> list[Finding]:
    """Findings on waste and gluts, the shelf and next year, most weighty first.

    Waste: the garden's total, and at most three crops that lost 1 kg and 5 % of what was picked or more. A
    glut is named as the reason where it explains half the waste or more. Evidence is ``thin`` where eating was
    assumed. Shelf: what to stop making, what runs out within eight weeks, and what to use first.

    Args:
        glut_waste: the ``glut_waste`` answer table.
        shelf: the ``shelf`` answer table.
        use_first: the ``use_first`` answer table.
        needs: the ``needs`` answer table.
    """
    lost = glut_waste.with_columns(lost_kg=pl.col("wasted_kg") + pl.col("expired_kg"))
    findings = [
        *_total(lost),
        *_crops(lost),
        *_missing_pickings(glut_waste),
        *_stock(shelf),
        *_first(use_first),
        *_to_make(needs),
    ]
    return sorted(findings, key=lambda finding: -finding.weight)


def _evidence(row: dict[str, Any]) -> tuple[str, str]:
    """Evidence, and what to add to the sentence."""
    return ("thin", ASSUMED) if row["eaten_basis"] == "assumed" else ("enough", "")


def _total(lost: pl.DataFrame) -> list[Finding]:
    """The garden's waste in one sentence."""
    picked, waste, gluts = (float(lost[name].sum()) for name in ("picked_kg", "lost_kg", "from_gluts_kg"))
    if waste < LEAST_LOST_KG:
        return []
    assumed = (lost["eaten_basis"] == "assumed").any()
    evidence, added = ("thin", ASSUMED) if assumed else ("enough", "")
    sentence = f"Of {kg(picked)} picked, {kg(waste)} were lost before they were used"
    glut = f", {kg(gluts)} of that in gluts." if gluts >= LEAST_LOST_KG else "."
    return [Finding("harvest", sentence + glut + added, evidence, weight=100 + waste)]


def _crops(lost: pl.DataFrame) -> list[Finding]:
    """The crops that lost most."""
    worth = (pl.col("lost_kg") >= LEAST_LOST_KG) & (
        pl.col("lost_kg") >= LEAST_LOST_SHARE * (pl.col("picked_kg") + pl.col("over_used_kg"))
    )
    most = lost.filter(worth).sort(["lost_kg", "crop"], descending=[True, False]).head(MOST_CROPS)
    return [_crop(row) for row in most.iter_rows(named=True)]


def _crop(row: dict[str, Any]) -> Finding:
    """Where one crop's waste came from, and what even picking would have done."""
    evidence, added = _evidence(row)
    sentence = f"{capital(row['crop'])}: of {kg(row['picked_kg'])} picked, {kg(row['lost_kg'])} were lost"
    if row["from_gluts_kg"] < MAINLY * row["lost_kg"]:
        action = "Grow less of it, or plan beforehand where the surplus goes."
        gluts = f"; gluts explain {kg(row['from_gluts_kg'])} of that" if row["from_gluts_kg"] > 0 else ""
        return Finding("harvest", f"{sentence}{gluts}.{added}", evidence, action, row["lost_kg"])
    sentence += (
        f"; {kg(row['from_gluts_kg'])} of that because it came all at once, most of it in the week of "
        f"{full_day(row['worst_week'])}."
    )
    action = "Decide before the next such week what to put by or give away."
    if row["even_loss_kg"] <= MAINLY * row["lost_kg"]:
        sentence += f" The same kilos picked evenly would have lost about {kg(row['even_loss_kg'])}."
        action = "Smaller sowings, further apart; for trees and bushes, plan beforehand where the surplus goes."
    return Finding("harvest", sentence + added, evidence, action, row["lost_kg"])


def _missing_pickings(glut_waste: pl.DataFrame) -> list[Finding]:
    """Crops of which more was used than picked."""
    beyond = glut_waste.filter(
        pl.col("over_used_kg") >= LEAST_LOST_KG,
        pl.col("over_used_kg") > OVER_USED_SHARE * pl.col("picked_kg"),
    )
    return [
        Finding(
            "data",
            f"{capital(row['crop'])}: {kg(row['over_used_kg'])} more was logged as used than as picked by then.",
            action="Write down every picking, also what goes straight into the pot; note what was bought in.",
            weight=row["over_used_kg"],
        )
        for row in beyond.iter_rows(named=True)
    ]


def _stock(shelf: pl.DataFrame) -> list[Finding]:
    """What there is more than enough of, and what runs out soon."""
    enough = shelf.filter(pl.col("note").fill_null("").str.contains("stop making more", literal=True))
    findings = []
    if enough.height:
        rows = enough.sort("on_hand", "crop", "method", descending=[True, False, False]).iter_rows(named=True)
        named = ", ".join(f"{kind_of_food(row['crop'], row['method'])} ({row['on_hand']})" for row in rows)
        sentence = f"On hand for more than two years at your rate of use: {named}."
        weight = float(enough["on_hand"].max() or 0)  # type: ignore[arg-type]
        findings.append(Finding("shelf", sentence, action="Make no more of these next year.", weight=weight))
    soon = shelf.filter((pl.col("on_hand") > 0) & (pl.col("weeks_left") <= SOON_WEEKS))
    for row in soon.iter_rows(named=True):
        sentence = f"{capital(kind_of_food(row['crop'], row['method']))}: {_runs_out(row)}"
        findings.append(Finding("shelf", sentence, weight=SOON_WEEKS - row["weeks_left"]))
    return findings


def _runs_out(row: dict[str, Any]) -> str:
    """When a shelf is empty, with its range."""
    latest = full_day(row["runs_out_high"]) if row["runs_out_high"] else "much later"
    return (
        f"{figure_of(row['on_hand'], 'container')} on hand, gone about {full_day(row['runs_out_on'])} "
        "at your rate of use "
        f"(between {full_day(row['runs_out_low'])} and {latest})."
    )


def _first(use_first: pl.DataFrame) -> list[Finding]:
    """The batches to take from the shelf, or to look at, next."""
    dated = use_first.filter(pl.col("due_on").is_not_null()).head(USE_FIRST)
    if dated.height == 0:
        return []
    named = [f"{row['batch_id']} ({row['crop']}, by {full_day(row['due_on'])})" for row in dated.iter_rows(named=True)]
    action = f"{LOOK_BEFORE} {TESTED_RECIPE}"
    return [Finding("shelf", f"Use or look at first: {', '.join(named)}.", action=action, weight=50.0)]


def _to_make(needs: pl.DataFrame) -> list[Finding]:
    """Containers to make next year."""
    wanted = needs.filter(pl.col("containers_to_make") > 0).sort(
        ["containers_to_make", "crop"], descending=[True, False]
    )
    findings = []
    for row in wanted.iter_rows(named=True):
        weight = f", about {kg(row['kg_to_put_by'])} as picked" if row["kg_to_put_by"] else ""
        sentence = (
            f"{capital(row['crop'])}: {figure_of(row['containers_to_make'], 'container')} to make next year{weight}."
        )
        findings.append(Finding("plan", sentence, weight=float(row["containers_to_make"])))
    return findings
