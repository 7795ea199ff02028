"""The season review: one HTML file that stands alone, without network or script."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from reports import care_sections, past_sections, plan_sections
from reports.blocks import Answers, Drawn, Section, charts_of, crop_numbers
from reports.rendering import render
from reports.words import day_span
from schemas.logs import LOGS
from schemas.page import Finding, Garden

MOST_ACTIONS, MOST_OF_ONE_KIND = 8, 3
MOST_SEASON_SENTENCES = 7
WRITTEN_LOGS = ("yields", "spoilage", "glut_waste", "shelf", "trials", "cautions", "sowing_plan")
"""Answer tables of which at least one has rows as soon as a grower has logged anything."""


@dataclass(frozen=True)
class FirstLog:
    """A log to start with: what it is, why, and the header line of each of its files."""

    title: str
    why: str
    headers: dict[str, str]


FIRST_LOGS = (
    FirstLog(
        title="Harvests",
        why="Write down each picking. Soon you see what each crop gives, and when there is too much.",
        headers={"harvests": "picked_on,crop,weight"},
    ),
    FirstLog(
        title="Batches, and looks at them",
        why="Write down each batch you put by, and each look at it: how many containers were bad, or 0. "
        "A look that finds nothing wrong is worth as much as one that does.",
        headers={
            "batches": "batch_id,made_on,method,crop,containers,produce,salt,water",
            "spoilage": "found_on,batch_id,containers,cause",
        },
    ),
    FirstLog(
        title="Sowings",
        why="Write down each sowing. With its harvests it tells how long the crop takes in your garden, and "
        "the plan for next season can be made.",
        headers={"sowings": "sowing_id,sown_on,crop,amount"},
    ),
)
"""What to log first, in this order."""


def review_page(
    garden: Garden, findings: Sequence[Finding], answers: dict[str, pl.DataFrame], notes: Sequence[str]
) -> str:
    """The season review as one HTML file.

    Args:
        garden: facts for the head of the page.
        findings: sentences with what to do about them; larger ``weight`` first.
        answers: answer tables by name (``schemas/answers.py``); a missing table counts as empty.
        notes: sentences on how this run was made, such as what was assumed.

    Returns:
        A page that loads nothing and runs nothing. Every text from a log is escaped. Where nothing is logged
        yet, it says what to log first.
    """
    return drawn_review(garden, findings, answers, notes).html


def drawn_review(
    garden: Garden, findings: Sequence[Finding], answers: dict[str, pl.DataFrame], notes: Sequence[str]
) -> Drawn:
    """The season review as in ``review_page``, with its charts for use elsewhere; each is drawn once."""
    tables = Answers(answers)
    ranked = sorted(findings, key=lambda finding: -finding.weight)
    started = tables.has_any(*WRITTEN_LOGS)
    parts = _sections(garden, ranked, tables) if started else _only_problems(ranked, tables)
    html = render(
        "review.html.j2",
        garden=garden,
        season=day_span(garden.season_from, garden.season_to),
        started=started,
        season_sentences=[f for f in ranked if f.section == "season"][:MOST_SEASON_SENTENCES],
        actions=_actions(ranked),
        sections=parts,
        crops=crop_numbers(parts),
        first_logs=FIRST_LOGS,
        one_row_is={name: log.one_row_is for name, log in LOGS.items()},
        notes=notes,
    )
    return Drawn(html, charts_of(parts))


def _actions(ranked: Sequence[Finding]) -> list[Finding]:
    """The weightiest findings that ask for something, a few of each kind so that none crowds out the others."""
    chosen: list[Finding] = []
    for finding in ranked:
        kin = sum(other.section == finding.section for other in chosen)
        if finding.action and kin < MOST_OF_ONE_KIND and len(chosen) < MOST_ACTIONS:
            chosen.append(finding)
    return chosen


def _sections(garden: Garden, ranked: Sequence[Finding], tables: Answers) -> list[Section]:
    acted_on = _actions(ranked)

    def of(section: str) -> list[Finding]:
        """Sentences of one section that do not stand above it already."""
        return [finding for finding in ranked if finding.section == section and finding not in acted_on]

    parts = [
        past_sections.kept(tables, of("spoilage")),
        past_sections.harvest(tables, of("harvest"), garden),
        plan_sections.shelf(tables, of("shelf"), garden),
        plan_sections.coming(tables, of("outlook")),
        plan_sections.plan(tables, of("plan"), garden),
        past_sections.trials(tables, of("trials")),
        care_sections.cautions(tables),
        care_sections.problems(tables, of("data")),
    ]
    return [part for part in parts if part is not None]


def _only_problems(ranked: Sequence[Finding], tables: Answers) -> list[Section]:
    """All that a folder without accepted rows can show: why its rows were set aside."""
    data = [finding for finding in ranked if finding.section == "data"]
    part = care_sections.problems(tables, data)
    return [part] if part else []
