"""The shared garden: who is in it, what is shown, and that nobody is exposed."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from typing import Any

import numpy as np
import polars as pl
import pytest
from core_frames import core, reference
from shared_folders import AS_OF, GROWERS, everything, folder, picked, plots, shared_report, simulated_folders
from small_plans import LETTUCE, NORMALS

from pipeline.errors import UsageError
from pipeline.garden.keeping import FEW_LOSSES, LOSSES, keeping_tables, plot_spread
from pipeline.garden.plots import FolderLogs, holds_a_name, pool
from pipeline.garden.report import DECLINED, NO_PLOT, SharedGarden, shared_garden
from pipeline.garden.suppression import CELL_TYPES, DOMINATED, FEW, PROTECTS, Rule, feasible_intervals
from pipeline.garden.timetable import deal_out, even_needs, shared_plan
from pipeline.settings import Settings
from pipeline.share import share
from pipeline.store.folder import opened
from pipeline.store.load import load_folder
from schemas.contracts import polars_types
from schemas.shared import ALL_CROPS, OTHER_CROPS, SHARED

SITE = Settings(latitude=50.0)
CROPS = reference(bean={"row_spacing_cm": 50}, kale={}, okra={}, leek={})
FOUR = plots(("P1", 40, None, True), ("P2", 50, None, True), ("P3", 60, None, True), ("P4", 30, None, True))


def shared(*folders: FolderLogs) -> SharedGarden:
    return shared_garden(folders, CROPS, dt.date(2026, 12, 1), seed=1)


def kilos(garden: SharedGarden) -> dict[str, float | None]:
    return dict(garden.tables["shared_crops"].select("crop", "kg").iter_rows())


BEANS = picked("bean", 7, {"P1": 5.0, "P2": 6.0, "P3": 7.0, "P4": 8.0})


def test_every_table_has_the_columns_of_its_contract() -> None:
    types = polars_types()
    garden = shared(folder(plots=FOUR, harvests=BEANS))
    assert list(garden.tables) == list(SHARED)
    for name, frame in garden.tables.items():
        assert dict(frame.schema) == {column.name: types[column.dtype] for column in SHARED[name].columns}


def test_only_plots_that_agreed_are_in_any_figure() -> None:
    """P4 said no, P5 said nothing, P6 is in no list; each picked 1000 kg."""
    listed = plots(("P1", 40, None, True), ("P2", 40, None, True), ("P3", 40, None, True), ("P4", 30, None, False))
    harvests = BEANS[:3] + picked("bean", 7, {"P4": 1000.0, "P5": 1000.0, "P6": 1000.0})
    garden = shared(folder(plots=[*listed, *plots(("P5", 30, None, None))], harvests=harvests))
    assert kilos(garden) == {"bean": 18.0, ALL_CROPS: 18.0}
    assert garden.tables["shared_garden"].row(0, named=True)["area_m2"] == 120.0
    assert garden.tables["shared_withheld"].filter(pl.col("table") == "plots")["why"].to_list() == [DECLINED]


def test_a_row_belongs_to_the_plot_it_names_or_to_that_of_its_sowing_or_batch() -> None:
    rows: dict[str, Any] = {
        "plots": plots(("P1", 40, None, True), ("P2", 40, None, True)),
        "sowings": [{"sowing_id": "s", "sown_on": dt.date(2026, 4, 1), "crop": "bean", "plot": " p1 "}],
        "harvests": [
            {"picked_on": dt.date(2026, 7, 1), "crop": "bean", "weight_kg": 1.0, "sowing_id": "s"},
            {"picked_on": dt.date(2026, 7, 1), "crop": "bean", "weight_kg": 2.0, "plot": "P2"},
            {"picked_on": dt.date(2026, 7, 1), "crop": "bean", "weight_kg": 4.0},
        ],
        "batches": [{"batch_id": "b", "made_on": dt.date(2026, 7, 2), "method": "jam", "crop": "bean", "plot": "P2"}],
        "spoilage": [
            {"found_on": dt.date(2026, 8, 1), "batch_id": "b", "containers": 0},
            {"found_on": dt.date(2026, 8, 1), "crop": "bean", "weight_kg": 1.0},
        ],
    }
    of_two = pool([folder(**rows)])
    assert of_two["harvests"].select("plot", "weight_kg").rows() == [("1/p1", 1.0), ("1/p2", 2.0)]
    assert of_two["spoilage"].select("plot", "batch_id").rows() == [("1/p2", "1/b")]
    assert of_two.unattributed.rows() == [("harvests", 1), ("spoilage", 1)]
    alone = pool([folder(plots=plots(("P1", 40, None, True)), harvests=rows["harvests"][2:])])
    assert alone["harvests"]["plot"].to_list() == ["1/p1"]
    assert alone.unattributed.is_empty()


def test_a_picking_that_names_two_plots_needs_both_to_agree() -> None:
    rows: dict[str, Any] = {
        "plots": plots(("P1", 40, None, True), ("P2", 40, None, False)),
        "sowings": [{"sowing_id": "s", "sown_on": dt.date(2026, 4, 1), "crop": "bean", "plot": "P2"}],
        "harvests": [
            {"picked_on": dt.date(2026, 7, 1), "crop": "bean", "weight_kg": 1.0, "sowing_id": "s", "plot": "P1"}
        ],
    }
    assert pool([folder(**rows)])["harvests"].is_empty()


def test_rows_that_name_no_plot_are_named_by_log_and_not_counted_in_the_tables() -> None:
    harvests = BEANS + picked("bean", 8, {None: 3.0})
    garden = shared(folder(plots=FOUR, harvests=harvests))
    assert kilos(garden)["bean"] == 26.0
    assert garden.tables["shared_withheld"].rows() == [("harvests", NO_PLOT, None)]
    assert garden.unattributed.rows() == [("harvests", 1)]


def test_no_name_taster_note_or_day_leaves() -> None:
    secret = "SECRET-NOTE away from 3 May"
    listed = [
        {"plot": f"P{n}", "area_m2": 40.0, "grower": f"{first} Grower", "share": True}
        for n, first in enumerate(("Wilhelmina", "Ozymandias", "Perpetua"))
    ]
    listed.append({"plot": "Quentin's corner", "area_m2": 40.0, "grower": "Quentin", "share": True})
    harvests = [
        {
            "picked_on": dt.date(2026, 7, 13 + n),
            "crop": "bean",
            "weight_kg": 5.0 + n,
            "plot": row["plot"],
            "grower": "Bartholomew",
            "note": secret,
        }
        for n, row in enumerate(listed)
    ]
    tastings = [{"tasted_on": dt.date(2026, 8, 1), "batch_id": "b", "taster": "Zebedee", "liking": 7}]
    garden = shared(folder(plots=listed, harvests=harvests, tastings=tastings))
    text = everything(dict(garden.tables)) + " ".join(garden.notes)
    for word in ("Wilhelmina", "Ozymandias", "Perpetua", "Quentin", "Bartholomew", "Zebedee", "SECRET", "corner"):
        assert word.casefold() not in text.casefold()
    assert "2026-07-1" not in text
    assert kilos(garden)["bean"] == 26.0


def test_a_label_that_holds_a_person_s_name_becomes_a_number() -> None:
    listed = plots(("North bed", 10, "Perpetua", True), ("Quentin's corner", 10, "Quentin Marl", True))
    assert pool([folder(plots=listed)]).plots["label"].to_list() == ["plot no. 1", "plot no. 2"]
    public = [row | {"label": row["plot"]} for row in listed]
    assert pool([folder(plots=public)]).plots["label"].to_list() == ["North bed", "plot no. 2"]
    other = plots(
        ("Quentins Beet", 10, "Quentin", True),
        ("chez Jose", 10, "José Marl", True),
        ("Jo's bed", 10, "Jo", True),
        ("李明的地", 10, "李明", True),
        ("Josephine's bed is no one's", 10, None, True),
        ("sunny slope", 10, "Sun Wu", True),
        ("quiet end", 10, None, True),
    )
    labels = pool([folder(plots=[row | {"label": row["plot"]} for row in other])]).plots["label"].to_list()
    assert [label for label in labels if not label.startswith("plot no.")] == ["quiet end"]
    two = pool([folder(plots=plots(("P1", 10, None, True))), folder(plots=plots(("P1", 10, None, True)))])
    assert two.plots["label"].to_list() == ["garden 1, plot no. 1", "garden 2, plot no. 1"]


@pytest.mark.parametrize("plot", ["QuentinsBeet", "Quentins Beet", "Wilhelminin kout", "marlow-patch", "Bartholomew"])
def test_no_plot_goes_by_its_own_name_unless_it_is_a_number(plot: str) -> None:
    """Joined, declined, in part, or of a plot whose grower cell is blank: no program knows every form of a name."""
    assert pool([folder(plots=plots((plot, 10, None, True)))]).plots["label"].to_list() == ["plot no. 1"]
    numbers = plots(("12", 10, None, True), ("3", 10, None, True))
    assert pool([folder(plots=numbers)]).plots["label"].to_list() == ["plot no. 3", "plot no. 12"]


@pytest.mark.parametrize(
    "spelled",
    [
        "José Núñez", "jose nunez", " JOSE   NUNEZ ", "Núñez, José", "J. Núñez", "José N.", "J.N.", "JoséNúñez",
        "Nunez", "Mr José Núñez", "José Núñez & Ada Bell", "José María Núñez",
    ],
)  # fmt: skip
def test_one_grower_in_several_folders_is_one_however_spelled(spelled: str) -> None:
    """Three gardens of two people: nothing may be shown."""
    names = ("José Núñez", spelled, "Bo Marlow")
    folders = [
        folder(plots=plots(("P1", 40, name, True)), harvests=picked("bean", 7, {"P1": 5.0 + n}))
        for n, name in enumerate(names)
    ]
    assert pool(folders).plots["holder"].n_unique() == 2
    assert kilos(shared(*folders)) == {}


@pytest.mark.parametrize("other", ["Ada Núñez", "José Marlow", "Josefa Bell", "Núria Pons"])
def test_two_growers_of_one_family_or_first_name_are_two(other: str) -> None:
    folders = [folder(plots=plots(("P1", 40, name, True))) for name in ("José Núñez", other)]
    assert pool(folders).plots["holder"].n_unique() == 2


def test_umlauts_spelled_out_are_the_same_name() -> None:
    folders = [folder(plots=plots(("P1", 40, name, True))) for name in ("Jürgen Møller", "Juergen Moeller")]
    assert pool(folders).plots["holder"].n_unique() == 1


def test_spoiled_jars_of_one_plot_alone_are_withheld() -> None:
    """Four plots made jam; only P4's spoiled: whoever is told of 8 spoiled jars is told of P4's."""
    batches, looks = [], []
    for plot, spoiled in (("P1", 0), ("P2", 0), ("P3", 0), ("P4", 4)):
        made, found = _batches(plot, spoiled)
        batches += made
        looks += found
    garden = shared(folder(plots=FOUR, batches=batches, spoilage=looks))
    row = garden.tables["shared_spoilage"].row(0, named=True)
    assert [row[name] for name in ("method", "plots", "batches", "containers")] == ["jam", 4, 8, 80]
    assert all(row[name] is None for name in LOSSES)
    assert garden.tables["shared_keeping"].is_empty()
    assert FEW_LOSSES in garden.tables["shared_withheld"]["why"].to_list()


def test_shared_figures_carry_three_digits() -> None:
    harvests = picked("bean", 7, {"P1": 512.345, "P2": 601.21, "P3": 701.999, "P4": 33.333})
    garden = shared(folder(plots=FOUR, harvests=harvests))
    assert kilos(garden) == {"bean": 1850.0, ALL_CROPS: 1850.0}
    for name, table in garden.tables.items():
        for column in table.select(pl.col(pl.Float64)).iter_columns():
            if column.name != "amount":
                assert column.equals(column.round_sig_figs(3)), (name, column.name)


def test_plots_of_one_grower_count_as_one() -> None:
    """Holdings, as the handbook calls them: three plots of one person are that person's figures."""
    listed = plots(("P1", 40, "Ada", True), ("P2", 40, "ada ", True), ("P3", 40, "Ada", True), ("P4", 40, "Bo", True))
    garden = shared(folder(plots=listed, harvests=BEANS))
    assert kilos(garden) == {}
    assert garden.tables["shared_garden"].select("plots", "area_m2", "kg").row(0) == (None, None, None)


@pytest.mark.parametrize("count", [1, 2])
def test_one_or_two_plots_share_nothing(count: int) -> None:
    garden = shared(folder(plots=FOUR[:count], harvests=BEANS[:count]))
    shown = {name: frame for name, frame in garden.tables.items() if name not in {"shared_withheld", "shared_garden"}}
    assert {name: frame.height for name, frame in shown.items() if frame.height} == {}
    assert garden.tables["shared_garden"].select("plots", "area_m2", "kg", "kg_per_m2").row(0) == (None,) * 4


def test_the_smallest_group_of_the_settings_counts_and_the_largest_of_several() -> None:
    strict = folder(Settings(smallest_group=5), plots=FOUR, harvests=BEANS)
    assert kilos(shared(strict)) == {}
    both = shared(strict, folder(Settings(smallest_group=3), plots=FOUR, harvests=BEANS))
    assert both.tables["shared_garden"]["smallest_group"].item() == 5
    assert kilos(both)["bean"] == 52.0


def test_crops_on_too_few_plots_stand_together_or_in_no_total() -> None:
    okra, leek = picked("okra", 8, {"P1": 2.0, "P2": 3.0}), picked("leek", 9, {"P3": 4.0})
    together = shared(folder(plots=FOUR, harvests=BEANS + okra + leek))
    assert kilos(together) == {"bean": 26.0, OTHER_CROPS: 9.0, ALL_CROPS: 35.0}
    left_out = shared(folder(plots=FOUR, harvests=BEANS + okra))
    assert kilos(left_out) == {"bean": 26.0, ALL_CROPS: 26.0}
    fact = left_out.tables["shared_garden"].row(0, named=True)
    assert (fact["kg"], fact["kg_per_m2"]) == (26.0, 0.144)
    assert "okra" not in everything(dict(left_out.tables))


def test_kilos_per_square_metre_do_not_give_the_pickings_without_an_area_away() -> None:
    """Only P4's beans have no sowing; kg per m2 times a bed that anyone can pace out would leave its 8 kg."""
    sowings = [
        {
            "sowing_id": f"s{n}",
            "sown_on": dt.date(2026, 4, 1),
            "crop": "bean",
            "plot": f"P{n}",
            "amount_value": 4.0,
            "amount_unit": "m",
        }
        for n in (1, 2, 3)
    ]
    harvests = [row | {"sowing_id": f"s{n}"} for n, row in enumerate(BEANS[:3], 1)]
    known = shared(folder(plots=FOUR, sowings=sowings, harvests=harvests))
    assert known.tables["shared_crops"].row(0) == ("bean", 3, 18.0, 18.0 / 6.0)
    one_without = shared(folder(plots=FOUR, sowings=sowings, harvests=[*harvests, BEANS[3]]))
    assert one_without.tables["shared_crops"].row(0) == ("bean", 4, 26.0, None)


def test_uses_are_added_up_by_use_and_small_ones_are_withheld() -> None:
    """Four folders of one plot each: rows name no plot and need not."""
    folders = []
    for kg, use in ((2.0, "given"), (3.0, "given"), (4.0, "given"), (5.0, "donated")):
        rows = [
            {"used_on": dt.date(2026, 7, 6), "crop": "bean", "weight_kg": kg, "use": use},
            {"used_on": dt.date(2026, 7, 6), "crop": "bean", "weight_kg": 1.0},
        ]
        waste = [{"found_on": dt.date(2026, 7, 9), "crop": "bean", "weight_kg": 1.5, "action": "composted"}]
        one = plots(("P1", 40, None, True))
        folders.append(folder(plots=one, harvests=picked("bean", 7, {"P1": 9.0}), consumption=rows, spoilage=waste))
    uses = shared(*folders).tables["shared_uses"]
    of_all = {use: kg for crop, use, _, kg in uses.iter_rows() if crop == ALL_CROPS}
    assert of_all == {"donated": None, "eaten": 4.0, "given": 9.0, "thrown away": 6.0}
    assert uses.filter(pl.col("use") == "donated")["kg"].to_list() == [None, None]


def test_uses_that_name_their_plot_are_shared_from_one_folder() -> None:
    """Five plots in one folder; the fifth keeps to itself, and a use without a plot belongs to none."""
    rows = [
        {"used_on": dt.date(2026, 7, 6), "crop": "bean", "weight_kg": kg, "use": "given", "plot": plot}
        for plot, kg in (("P1", 2.0), ("P2", 3.0), ("p3", 4.0), ("P4", 5.0), ("P5", 50.0), (None, 70.0))
    ]
    waste = [
        {"found_on": dt.date(2026, 7, 9), "crop": "bean", "weight_kg": 1.5, "action": "composted", "plot": f"P{n}"}
        for n in (1, 2, 3)
    ]
    own = plots(*((f"P{n}", 40, None, n < 5) for n in range(1, 6)))
    garden = shared(folder(plots=own, consumption=rows, spoilage=waste))
    of_all = {use: kg for crop, use, _, kg in garden.tables["shared_uses"].iter_rows() if crop == ALL_CROPS}
    assert (of_all["given"], of_all["thrown away"]) == (14.0, 4.5)
    assert dict(garden.unattributed.iter_rows())["consumption"] == 1


def test_a_use_that_names_another_plot_than_its_batch_needs_the_consent_of_both() -> None:
    made = [_batches(plot, 0)[0][0] | {"batch_id": f"b{n}"} for n, plot in enumerate(("P1", "P2", "P3", "P5"))]
    uses = [
        {"used_on": dt.date(2026, 7, 6), "batch_id": f"b{n}", "containers": 1, "plot": "P4"} for n in range(len(made))
    ]
    own = plots(*((f"P{n}", 40, None, n < 5) for n in range(1, 6)))
    used = pool([folder(plots=own, batches=made, consumption=uses)])["consumption"]
    assert sorted(used["batch_id"].str.tail(2)) == ["b0", "b1", "b2"]


def _batches(plot: str, spoiled: int) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    made = [
        {"batch_id": f"{plot}{n}", "made_on": dt.date(2025, 7, 1), "method": "jam", "containers": 10, "plot": plot}
        for n in (1, 2)
    ]
    found = [
        {"found_on": dt.date(2026, 7, 1), "batch_id": f"{plot}{n}", "containers": spoiled, "cause": "mould"}
        for n in (1, 2)
    ]
    return made, found


def test_what_kept_is_pooled_and_needs_enough_plots() -> None:
    batches, looks = [], []
    for plot, spoiled in (("P1", 0), ("P2", 1), ("P3", 2), ("P4", 1)):
        made, found = _batches(plot, spoiled)
        batches += made
        looks += found
    batches.append({"batch_id": "x", "made_on": dt.date(2025, 7, 1), "method": "dry", "containers": 5, "plot": "P1"})
    garden = shared(folder(plots=FOUR, batches=batches, spoilage=looks))
    row = garden.tables["shared_spoilage"].row(0, named=True)
    assert garden.tables["shared_spoilage"].height == 1
    assert [row[name] for name in ("method", "plots", "batches", "containers", "spoiled")] == ["jam", 4, 8, 80, 8]
    assert row["lost_share"] == pytest.approx(0.1)
    assert row["plot_sd_per_100"] is not None
    withheld = garden.tables["shared_withheld"].filter(pl.col("table") == "shared_spoilage")
    assert withheld.rows() == [("shared_spoilage", FEW, 1)]


def test_the_spread_takes_one_plot_more() -> None:
    batches, looks = [], []
    for plot in ("P1", "P2", "P3"):
        made, found = _batches(plot, 1)
        batches += made
        looks += found
    row = shared(folder(plots=FOUR, batches=batches, spoilage=looks)).tables["shared_spoilage"].row(0, named=True)
    assert row["plots"] == 3
    assert row["plot_sd_per_100"] is None
    assert row["lost_per_100"] > 0


def test_a_curve_ends_where_fewer_plots_are_followed() -> None:
    days = {"P1": 800, "P2": 800, "P3": 200, "P4": 800}
    histories = pl.DataFrame(
        [
            {
                "batch_id": f"{plot}-{n}",
                "plot": plot,
                "method": "jam",
                "last_sound_days": float(last if n else last / 2),
                "found_days": None,
                "fate": "on_shelf",
            }
            for plot, last in days.items()
            for n in (0, 1)
        ],
        schema_overrides={"found_days": pl.Float64},
    )
    holders = pl.DataFrame({"plot": list(days), "holder": ["a", "b", "c", "b"]})
    _, curves, _, _ = keeping_tables(histories, holders, Rule())
    assert curves["age_months"].to_list() == [0, 3, 6]


def test_the_spread_between_plots_by_hand() -> None:
    """Two plots of two batches: means 2 and 6 around 4; between 2*(4+4)/1 = 16, within (1+1+1+1)/2 = 2, n0 = 2."""
    value, plot = np.array([1.0, 3.0, 5.0, 7.0]), np.array([0, 0, 1, 1])
    assert plot_spread(value, np.ones(4), plot) == pytest.approx(math.sqrt((16 - 2) / 2))
    assert plot_spread(np.array([1.0, 7.0, 1.0, 7.0]), np.ones(4), plot) == 0.0
    assert plot_spread(value[:2], np.ones(2), np.array([0, 1])) is None


def test_the_spread_between_plots_is_found_again() -> None:
    """60 plots of 2 to 8 batches, plots differing by 3, batches by 5 over the root of their weight."""
    rng = np.random.default_rng(4)
    found = []
    for _ in range(40):
        plot = np.repeat(np.arange(60), rng.integers(2, 9, 60))
        weight = rng.uniform(0.5, 4.0, plot.size)
        value = 20 + 3 * rng.standard_normal(60)[plot] + 5 / np.sqrt(weight) * rng.standard_normal(plot.size)
        found.append((plot_spread(value, weight, plot) or 0.0) ** 2)
    assert np.mean(found) == pytest.approx(9.0, rel=0.1)


def test_an_even_harvest_spreads_the_shown_kilos_over_the_months() -> None:
    """61 days of July and August; withheld months count as picked, and a gap inside as well."""
    crops = pl.DataFrame({"crop": ["bean", "kale", ALL_CROPS], "kg": [62.0, None, 99.0]})
    months = [dt.date(2026, month, 1) for month in (6, 7, 8)]
    rows = [("bean", month, kg) for month, kg in zip(months, (0.0, None, 30.0), strict=True)]
    calendar = pl.DataFrame(rows, schema={"crop": pl.String, "month": pl.Date, "kg": pl.Float64}, orient="row")
    assert even_needs(crops, calendar).rows() == [("bean", 7, 7.0), ("bean", 8, 7.0)]


def sowing(crop: str, day: dt.date, amount: float, area_m2: float, unit: str = "plants") -> dict[str, Any]:
    last = day + dt.timedelta(days=60)
    return {
        "crop": crop, "sow_on": day, "plant_out_on": None, "amount": amount, "unit": unit, "area_m2": area_m2,
        "first_pick_on": last, "first_pick_low": last, "first_pick_high": last, "last_pick_on": last,
        "expected_kg": amount / 2, "ready_share": 1.0, "reason": "",
    }  # fmt: skip


THREE = pl.DataFrame({"label": ["P1", "P2", "P3"], "area_m2": [20.0, 40.0, None]})


def test_each_sowing_goes_to_the_plot_whose_turn_it_is() -> None:
    days = [dt.date(2027, 4, 1) + dt.timedelta(days=14 * n) for n in range(4)]
    dealt = deal_out(pl.DataFrame([sowing("lettuce", day, 12.0, 1.2) for day in days]), THREE)
    assert dealt["plot"].to_list() == ["P1", "P2", "P3", "P2"]
    assert dealt["amount"].to_list() == [12.0] * 4


def test_a_single_sowing_is_shared_by_all_plots_by_area_and_adds_up() -> None:
    """P3 has no area and counts as the mean of the others, 30 m2: shares of 20, 40 and 30 of 90."""
    dealt = deal_out(pl.DataFrame([sowing("onion", dt.date(2027, 3, 20), 27.0, 4.5, "m")]), THREE)
    assert dealt.select("plot", "amount").rows() == [("P1", 6.0), ("P2", 12.0), ("P3", 9.0)]
    assert dealt["expected_kg"].sum() == pytest.approx(13.5)
    assert dealt["area_m2"].sum() == pytest.approx(4.5)


def test_no_plot_is_given_more_than_it_holds() -> None:
    day = dt.date(2027, 5, 1)
    plan = pl.DataFrame([sowing("bean", day, 60.0, 60.0, "m"), sowing("pumpkin", day, 40.0, 40.0)])
    dealt = deal_out(plan, THREE)
    held = dict(dealt.group_by("plot").agg(pl.col("area_m2").sum()).iter_rows())
    assert 19.5 <= held["P1"] <= 20.0
    assert 39.5 <= held["P2"] <= 40.0
    assert 29.5 <= held["P3"] <= 30.0
    assert sum(held.values()) == 100.0
    later = sowing("spinach", day + dt.timedelta(days=61), 10.0, 1.0, "m")
    after = deal_out(pl.DataFrame([*plan.iter_rows(named=True), later]), THREE)
    assert after.filter(pl.col("crop") == "spinach")["plot"].null_count() == 0


def weekly_kilos(garden: FolderLogs, needs: pl.DataFrame, smallest_group: int) -> pl.DataFrame:
    """Expected kilos of each week, from the sowings handed out to the plots of a garden."""
    plan = shared_plan(
        pool([garden]),
        garden,
        reference(lettuce=LETTUCE),
        needs,
        (dt.date(2026, 1, 1), dt.date(2026, 12, 31)),
        dt.date(2026, 12, 31),
        Rule(smallest_group=smallest_group),
        seed=1,
    )
    assert plan.sowings["plot"].null_count() == 0
    return plan.outlook.filter(pl.col("need_kg") > 0).select("week", kg="kg_p50")


def test_in_turn_the_garden_s_weeks_are_more_even_than_when_each_plot_sows_for_itself() -> None:
    """Four plots alike: one plan of all for 2 kg a week, and four plans of one plot each for a quarter of it."""
    needs = pl.DataFrame({"crop": ["lettuce"] * 5, "month": range(6, 11), "fresh_kg_per_week": [2.0] * 5})
    climate = NORMALS.to_dicts()
    together = weekly_kilos(folder(SITE, plots=FOUR, climate=climate), needs, 3)
    quarter = needs.with_columns(pl.col("fresh_kg_per_week") / 4)
    alone = weekly_kilos(folder(SITE, plots=FOUR[:1], climate=climate), quarter, 1).with_columns(pl.col("kg") * 4)
    spread = [kilos.std() / kilos.mean() for kilos in (rows["kg"].to_numpy() for rows in (together, alone))]
    assert together["kg"].sum() > 0.7 * 2 * together.height
    assert spread[0] < 0.75 * spread[1], spread


def test_a_garden_s_name_that_holds_a_person_s_is_not_told() -> None:
    logs = folder(plots=plots(("P1", 40, "Quentin Marlow", True))).frames
    assert holds_a_name("Quentin's garden", logs)
    assert not holds_a_name("River garden", logs)


def test_nothing_is_shared_from_no_folder() -> None:
    with pytest.raises(ValueError, match="at least one folder"):
        shared_garden([], CROPS, AS_OF, seed=1)


def test_empty_folders_give_empty_tables() -> None:
    garden = shared(folder(), folder())
    assert sum(frame.height for frame in garden.tables.values()) == 1
    assert core("plots").is_empty()


# the whole journey, on simulated gardens


def read(table: str) -> pl.DataFrame:
    types = {column.name: polars_types()[column.dtype] for column in SHARED[table].columns}
    return pl.read_csv(shared_report().parent / "tables" / f"{table}.csv", schema=types)


def test_the_report_of_simulated_gardens_holds_every_part() -> None:
    fact = read("shared_garden").row(0, named=True)
    assert (fact["plots"], fact["area_m2"]) == (4, 40.0 + 48 + 56 + 64)
    assert read("shared_crops").height > 8
    for table in ("shared_uses", "shared_spoilage", "shared_keeping", "shared_surplus", "shared_sowings"):
        assert read(table).height > 3, table
    worth = dict(read("shared_plan_worth").select("policy", "weeks_without").iter_rows())
    assert worth["this plan"] < worth["last season"]


def test_nobody_is_named_and_no_day_of_the_past_is_told() -> None:
    report = shared_report().parent
    text = "\n".join(
        path.read_text(encoding="utf-8") for path in sorted(report.rglob("*")) if path.is_file()
    ).casefold()
    for grower in GROWERS:
        for name in grower.casefold().split():
            assert name not in text
    assert not re.search(r"taster [a-z]\b", text)
    for table in SHARED:
        dates = read(table).select(pl.col(pl.Date))
        for name in set(dates.columns) - {"first_day", "last_day"}:
            past = dates[name].drop_nulls().filter(dates[name].drop_nulls() <= AS_OF)
            assert (past.dt.day() == 1).all() or (past.dt.weekday() == 1).all(), (table, name)


def test_the_withheld_figures_of_the_report_cannot_be_worked_out() -> None:
    """The attack: linear programming on what the two tables of kilos show, beside the truth in the logs."""
    crops, calendar = read("shared_crops"), read("shared_calendar")
    row = pl.when(pl.col("crop") != ALL_CROPS).then("crop")
    totals = crops.select(row=row, column=pl.lit(None, pl.String), value="kg", plots="plots")
    inside = calendar.select(row=row, column=pl.col("month").cast(pl.String), value="kg", plots="plots")
    hidden = pl.when(pl.col("value").is_null()).then(pl.lit(FEW)).alias("withheld")
    cells = pl.concat([inside, totals]).with_columns(hidden).select(CELL_TYPES.keys())
    # what is shown is rounded: a reader knows it to half a unit of its third digit
    shown = cells.filter(pl.col("value").is_not_null())
    known = {(row, column): _before_rounding(kg) for row, column, kg in shown.select("row", "column", "value").rows()}
    open_cells = cells.with_columns(withheld=pl.lit(FEW), value=pl.lit(None, pl.Float64))
    withheld = cells.filter(pl.col("value").is_null()).select("row", "column")
    attacked = feasible_intervals(open_cells, known).join(withheld, on=["row", "column"], nulls_equal=True)
    assert attacked.height > 8
    truth = _true_kilos()
    for crop, month, low, high in attacked.iter_rows():
        kg, holders = truth[crop, month]
        assert low - 1e-6 <= kg <= high + 1e-6
        assert high - low > 0.1 * kg
        if holders < 3:
            assert low <= 0.75 * kg + 1e-6
            assert high >= 1.25 * kg - 1e-6


def _before_rounding(kg: float) -> tuple[float, float]:
    """Least and greatest value that is shown as this one."""
    half = 0.5 * 10.0 ** (math.floor(math.log10(kg)) - 2) if kg else 0.0
    return kg - half, kg + half


def _true_kilos() -> dict[tuple[str, str], tuple[float, int]]:
    """Kilos and plots by crop and month, straight from the typed logs of the gardens that share."""
    given: dict[tuple[str, str], list[float]] = {}
    for place in simulated_folders()[:4]:
        with opened(place, None, in_memory=True) as (store, settings):
            load_folder(store, place, settings, AS_OF)
            month = pl.col("picked_on").dt.truncate("1mo").cast(pl.String).alias("month")
            sums = store.core("harvests").group_by("crop", month).agg(pl.col("weight_kg").sum())
        for crop, of_month, kg in sums.iter_rows():
            given.setdefault((crop, of_month), []).append(kg)
    return {key: (sum(kilos), len(kilos)) for key, kilos in given.items()}


def test_the_list_of_what_was_withheld_counts_every_empty_cell() -> None:
    withheld = read("shared_withheld")
    of_calendar = withheld.filter(pl.col("table") == "shared_calendar", pl.col("why").is_in([FEW, DOMINATED, PROTECTS]))
    assert of_calendar["cells"].sum() == read("shared_calendar")["kg"].null_count() > 0


def test_the_package_describes_every_file_it_holds() -> None:
    report = shared_report().parent
    about = json.loads((report / "datapackage.json").read_text(encoding="utf-8"))
    assert [resource["path"] for resource in about["resources"]] == [f"tables/{name}.csv" for name in SHARED]
    for resource in about["resources"]:
        content = (report / resource["path"]).read_bytes()
        assert len(content) == resource["bytes"]
        header = content.decode().splitlines()[0].split(",")
        assert header == [field["name"] for field in resource["schema"]["fields"]]


def test_the_package_is_valid_by_an_outside_reader() -> None:
    from frictionless import Package

    report = Package(str(shared_report().parent / "datapackage.json")).validate()
    assert report.valid, report.flatten(["title", "note"])


def test_a_folder_without_a_store_is_left_as_it_was() -> None:
    shared_report()
    assert not list(simulated_folders()[0].glob("*.duckdb"))


def test_the_same_folder_twice_is_refused() -> None:
    place = simulated_folders()[0]
    with pytest.raises(UsageError, match="named twice"):
        share([place, place / "."], AS_OF, None, 1, lambda _: None)
    with pytest.raises(UsageError, match="one or several"):
        share([], AS_OF, None, 1, lambda _: None)
