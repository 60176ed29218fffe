"""What a fit answers: identities that hold exactly, and a simulated truth found again."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from hangtab.worth import Curve, Fitted, Spec, StoredFitError, TableError, fit
from tests.unit.worth.world import SPEC, TRUTH, market

AT = dt.date(2022, 9, 1)


@pytest.fixture(scope="module")
def table():
    return market()


@pytest.fixture(scope="module")
def fitted(table):
    return fit(table, SPEC)


def test_a_fit_converges_and_says_how(fitted):
    assert fitted.report.converged
    assert fitted.report.warnings == ()
    assert fitted.report.rows == 900


def test_simulated_truth_is_found_again():
    found = fit(market(6000, seed=5), SPEC).components
    assert found["residual"] == pytest.approx(TRUTH["residual"], rel=0.1)
    assert found["freedom"] == pytest.approx(TRUTH["freedom"], rel=0.25)
    assert found["line/character/release"] == pytest.approx(TRUTH["line/character/release"], rel=0.35)
    assert found["line/character"] == pytest.approx(TRUTH["line/character"], rel=0.5)


def test_ranges_of_the_next_sale_hold_what_they_promise():
    whole = market(6000, seed=5, bounds=0.0)
    held_out = whole.filter(pl.int_range(pl.len()) % 5 == 0)
    found = fit(whole.filter(pl.int_range(pl.len()) % 5 != 0), SPEC).predict(held_out.with_columns(wider=1.0))
    price = held_out["price"].to_numpy()
    for level in (50, 80, 90):
        inside = (price >= found[f"low_{level}"].to_numpy()) & (price <= found[f"high_{level}"].to_numpy())
        # 1,200 held-out sales: three standard errors of a share are at most 4.3 points.
        assert inside.mean() == pytest.approx(level / 100, abs=0.043)


def test_row_order_changes_nothing(table, fitted):
    other = fit(table.sample(fraction=1.0, shuffle=True, seed=3), SPEC)
    for name, value in fitted.components.items():
        assert other.components[name] == pytest.approx(value, rel=1e-8)
    rows = table.head(40)
    assert other.predict(rows)["median"].to_numpy() == pytest.approx(
        fitted.predict(rows)["median"].to_numpy(), rel=1e-8
    )


def test_pandas_free_tables_of_other_kinds_fit_the_same(table, fitted):
    assert fit(table.to_arrow(), SPEC).components == pytest.approx(fitted.components, rel=1e-12)


def test_contributions_add_up_to_the_log_median(table, fitted):
    for row in table.sample(20, seed=1).iter_rows(named=True):
        assert sum(fitted.contributions(row, AT).values()) == pytest.approx(
            fitted.predict(row, AT)["log_median"][0], abs=1e-10
        )


@pytest.mark.parametrize("seed", range(3))
def test_comparables_add_up_to_the_estimate(table, fitted, seed):
    for row in table.sample(25, seed=seed).iter_rows(named=True):
        grid = fitted.comparables(row, AT)
        log_median = fitted.predict(row, AT)["log_median"][0]
        gain, adjusted = grid.sales["gain"].to_numpy(), grid.sales["adjusted"].to_numpy()
        total = (1 - gain.sum()) * np.log(grid.base) + gain @ np.log(adjusted)
        assert total == pytest.approx(log_median, abs=1e-9)
        assert np.log(grid.estimate) == pytest.approx(log_median, abs=1e-9)
        by = sum(grid.sales[c].to_numpy() for c in grid.sales.columns if c.startswith("by "))
        assert by == pytest.approx(np.log(adjusted / grid.sales["price"].to_numpy()), abs=1e-9)


def test_the_base_is_a_refit_without_the_comparables():
    # Normal noise, no bounds: leaving sales out at frozen variances is a plain refit of the rest.
    spec = replace(SPEC, tails="normal", curves={"grade": Curve("free", knots=(20.0, 60.0, 100.0), missing="none")})
    sales = market(400, seed=8, bounds=0.0)
    whole = fit(sales, spec)
    row = sales.row(11, named=True)
    grid = whole.comparables(row, AT, top=6)
    rest = sales.filter(~pl.int_range(pl.len()).is_in(grid.sales["row"].to_list()))
    from hangtab.worth.fitting import refit  # noqa: PLC0415 - the door keeps variances only when rows are added
    from hangtab.worth.sheet import read_table  # noqa: PLC0415

    sheet = read_table(rest, spec)
    problem, point, _ = refit(whole._state.problem, whole._state.logs, sheet, np.zeros(len(rest)))
    from hangtab.worth.fitted import _fitted  # noqa: PLC0415

    smaller = _fitted(problem, point, whole.report)
    # The table's mean and spread shift the weak priors a little; hence not 1e-9.
    assert np.log(grid.base) == pytest.approx(smaller.predict(row, AT)["log_median"][0], abs=2e-3)


def test_stored_bytes_give_the_same_answers(table, fitted):
    other = Fitted.from_bytes(fitted.to_bytes())
    assert other.predict(table.head(50), AT).equals(fitted.predict(table.head(50), AT))
    assert other.comparables(table.row(3, named=True), AT).sales.equals(
        fitted.comparables(table.row(3, named=True), AT).sales
    )
    assert other.report == fitted.report
    assert other.spec == fitted.spec


@pytest.mark.parametrize("data", [b"", b"no fit", b"PK\x03\x04 half an archive"])
def test_bytes_of_another_kind_are_refused(data):
    with pytest.raises(StoredFitError):
        Fitted.from_bytes(data)


def test_adding_rows_equals_fitting_them_with_the_same_variances(table):
    part, rest = table.head(860), table.tail(40)
    longer = fit(part, SPEC).add(rest)
    assert longer.report.rows == 900
    assert longer.report.converged
    whole = fit(table, SPEC)
    gap = longer.predict(table)["log_median"].to_numpy() - whole.predict(table)["log_median"].to_numpy()
    assert np.abs(gap).max() < 0.25
    assert np.sqrt((gap**2).mean()) < 0.03


def test_joint_agrees_with_single_predictions(table, fitted):
    rows = table.head(15)
    mean, cov = fitted.joint(rows, AT)
    single = fitted.predict(rows, AT)
    assert mean == pytest.approx(single["log_median"].to_numpy(), abs=1e-12)
    assert np.diag(cov) == pytest.approx(single["log_sd"].to_numpy() ** 2, rel=1e-9)
    assert np.linalg.eigvalsh(cov).min() > -1e-10


def test_one_piece_twice_is_one_piece_in_the_joint(table, fitted):
    row = table.row(5, named=True)
    _, cov = fitted.joint([row, row], AT)
    # Not 1e-9: variances nine powers of ten apart cost that many digits.
    assert cov[0, 1] == pytest.approx(cov[0, 0], rel=1e-6)


def test_an_unseen_release_is_wider_by_its_own_prior(table, fitted):
    row = table.filter(pl.col("release") == table["release"].mode()[0]).row(0, named=True)
    known, unknown = fitted.predict(row, AT), fitted.predict(row | {"release": "never seen"}, AT)
    assert unknown["known_levels"][0] == 2
    assert unknown["log_sd"][0] ** 2 >= fitted.components["line/character/release"]
    assert unknown["log_sd"][0] > known["log_sd"][0]


def test_a_day_beyond_the_last_is_wider(table, fitted):
    row = table.row(5, named=True)
    near, far = (fitted.predict(row, d)["log_sd"][0] for d in (dt.date(2022, 6, 1), dt.date(2027, 6, 1)))
    steps = fitted.components["market walk"] + fitted.components["line walk"]
    assert far**2 - near**2 == pytest.approx(60 * steps, rel=1e-5)


def test_whatever_is_missing_is_no_crash(fitted):
    bare = fitted.predict(
        [{"line": "line 1"}, {"venue": "elsewhere", "grade": 70.0, "grader": "another", "odd": 1}], AT
    )
    assert np.isfinite(bare.to_numpy()).all()


def test_place_agrees_with_the_ranges(table, fitted):
    row = table.row(9, named=True)
    found = fitted.predict(row, AT)
    assert fitted.place(row, found["median"][0], AT) == pytest.approx(0.5, abs=1e-9)
    assert fitted.place(row, found["high_80"][0], AT) == pytest.approx(0.9, abs=1e-6)
    assert fitted.place(row, found["low_90"][0], AT) == pytest.approx(0.05, abs=1e-6)
    middle = fitted.predict(row, AT, kind="middle")
    assert fitted.place(row, middle["low_90"][0], AT, kind="middle") == pytest.approx(0.05, abs=1e-9)


def test_leave_one_out_is_fair():
    # A chance under the model without the sale is uniform if the model is right.
    left = fit(market(3000, seed=6, bounds=0.0), SPEC).leave_one_out()
    assert left["chance_below"].mean() == pytest.approx(0.5, abs=0.03)
    assert ((left["chance_below"] > 0.1) & (left["chance_below"] < 0.9)).mean() == pytest.approx(0.8, abs=0.03)
    assert left["share"].max() <= 1 + 1e-9


def test_a_fake_counts_for_little(table):
    fake = table.head(1).with_columns(price=pl.col("price") * 400, kind=pl.lit("sale"), id=pl.lit("fake"), wider=1.0)
    left = fit(pl.concat([table, fake]), SPEC).leave_one_out()
    assert left.filter(pl.col("id") == "fake")["share"][0] < 0.02


def test_curves_never_turn(table, fitted):
    row = table.filter(pl.col("form") == "graded").row(0, named=True)
    rows = [row | {"grade": float(g)} for g in range(0, 121, 4)]
    assert (np.diff(fitted.predict(rows, AT)["log_median"].to_numpy()) >= -1e-12).all()


def test_support_names_how_many_and_how_new(table, fitted):
    row = table.filter(pl.col("release") == table["release"].mode()[0]).row(0, named=True)
    found = fitted.support(row, AT)
    assert found.effective_sales > 3
    assert found.newest is not None
    assert found.newest <= dt.date(2022, 6, 1)


def test_kinds_of_a_later_stage_are_refused(table):
    with pytest.raises(TableError) as refusal:
        fit(table.with_columns(kind=pl.lit("listing")), SPEC)
    assert refusal.value.mend


def test_fits_of_two_residual_classes_tell_them_apart():
    rng = np.random.default_rng(0)
    form = rng.choice(["sealed", "opened"], 2000)
    y = rng.normal(0, np.where(form == "sealed", 0.1, 0.4))
    found = fit(pl.DataFrame({"p": np.exp(y), "form": form}), Spec(price="p", spread_by=["form"], tails="normal"))
    assert found.components["residual: sealed"] ** 0.5 == pytest.approx(0.1, rel=0.08)
    assert found.components["residual: opened"] ** 0.5 == pytest.approx(0.4, rel=0.08)
