"""Log hazard ratios and their errors beside R, the literature, closed forms and a slow twin.

``tests/reference/cox.csv`` holds R's values (package survival) for two open data sets with ties and clusters, one with
late entry, and the invented occupants; the script that made them and the versions stand beside it.
"""

from __future__ import annotations

import tracemalloc
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.conditional import fit_within
from survstats.models.times.cox import derivatives, fit_cox
from survstats.models.times.cox_covariance import score_residuals
from survstats.models.times.cox_risk_sets import RiskSets
from survstats.models.times.fine_gray import fine_gray_weights

GOLDEN, REFERENCE = (Path(__file__).parents[1] / name for name in ("golden", "reference"))
R = pd.read_csv(REFERENCE / "cox.csv")
CASES = list(R[["data", "model", "ties"]].drop_duplicates().itertuples(index=False, name=None))
CLUSTER = {"occupants_90": "mishap", "lung": "inst", "mgus2": "dxyr", "heart": "id"}
STRATA = {"occupants_90": "mishap", "lung": "female", "mgus2": "dxyr"}
EVENT = {"occupants_90": ("tm", "ev"), "lung": ("time", "died"), "mgus2": ("futime", "death")}


def rows(name: str) -> pd.DataFrame:
    return pd.read_csv(GOLDEN / f"{name}.csv")


def fitted(data: str, model: str, ties: str, terms: list[str], frame: pd.DataFrame | None = None):
    """Our fit of one of the models R fitted."""
    frame = rows(data) if frame is None else frame
    x, codes = frame[terms].to_numpy(float), frame[CLUSTER[data]].to_numpy()
    if model == "fine_gray":
        time, cause = frame.get("tm"), frame.get("ev")
        if data == "mgus2":
            time = np.where(frame["pstat"] == 1, frame["ptime"], frame["futime"])
            cause, codes = np.where(frame["pstat"] == 1, 1, 2 * frame["death"]), frame["id"].to_numpy()
        w = fine_gray_weights(time, cause)
        return fit_cox(
            x[w.rows],
            w.leave,
            w.event,
            entry=w.entry,
            weights=w.weights,
            codes=codes[w.rows],
            ties=ties,
        )
    if model == "entry":
        return fit_cox(x, frame["stop"], frame["event"], entry=frame["start"], codes=codes, ties=ties)
    time, event = (frame[column] for column in EVENT[data])
    strata = frame[STRATA[data]] if model == "strata" else None
    weights = (np.arange(1, len(frame) + 1) % 4 + 1) / 2 if model == "weights" else None
    return fit_cox(x, time, (event == 1) * 1, strata=strata, codes=codes, ties=ties, weights=weights)


@pytest.mark.parametrize(("data", "model", "ties"), CASES)
def test_coefficients_errors_and_likelihoods_are_those_of_r(data, model, ties):
    # R survival: coxph with cluster, strata, weights, late entry; finegray
    table = R.query("data == @data and model == @model and ties == @ties")
    fit = fitted(data, model, ties, list(table["term"]))
    np.testing.assert_allclose(fit.coefficients, table["estimate"], rtol=1e-7, atol=1e-9)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)), table["se"], rtol=1e-7)
    np.testing.assert_allclose(fit.se, table["robust"], rtol=1e-7)
    np.testing.assert_allclose(fit.log_likelihood_null, table["null"], rtol=1e-10)
    np.testing.assert_allclose(fit.log_likelihood, table["log_likelihood"], rtol=1e-10)


@pytest.mark.parametrize(
    ("model", "estimates", "errors"),
    [
        ("strata", [0.52019078, -0.04130599, -0.83875678], [0.38821193, 0.36780749, 0.19252772]),
        ("plain", [0.26276628, 0.06529763, -0.60015715], [0.32202507, 0.37582405, 0.21295867]),
        ("fine_gray", [0.26724380, 0.14701463, -0.54163691], [0.32958695, 0.37800838, 0.25135243]),
    ],
)
def test_the_occupants_have_the_hazard_ratios_of_the_design(model, estimates, errors):
    # invented data; estimates as in the design of the method, errors computed by R package survival 3.5-3 (the design
    # has .38821189 and .25143251 in two places where R and we have ...93 and .25135243)
    fit = fitted("occupants_90", model, "efron", ["trained", "crew", "seat_far"])
    np.testing.assert_allclose(fit.coefficients, estimates, atol=6e-9)
    np.testing.assert_allclose(fit.se, errors, atol=6e-9)


# Therneau and Grambsch 2000, Modeling Survival Data, appendix on test data, first data set; its closed forms as they
# stand in R survival's tests book1.R and book2.R
TIME, STATUS, X = (
    np.array([9.0, 1, 1, 6, 6, 8]),
    np.array([1, 1, 0, 1, 1, 0]),
    np.array([[0.0], [1], [1], [1], [0], [0]]),
)


def test_breslows_fit_of_six_rows_is_the_closed_form():
    fit = fit_cox(X, TIME, STATUS, ties="breslow")
    assert fit.coefficients[0] == pytest.approx(np.log(1.5 + np.sqrt(33) / 2), abs=1e-9)
    sets = RiskSets.of(X, TIME, STATUS, ties="breslow")
    for b in (-1.0, 0.0, 0.7, 2.0):
        r = np.exp(b)
        likelihood, score, information = derivatives(sets, np.array([b]))
        assert likelihood == pytest.approx(2 * b - np.log(3 * r + 3) - 2 * np.log(r + 3), abs=1e-12)
        assert score[0] == pytest.approx(2 - r / (r + 1) - 2 * r / (r + 3), abs=1e-12)
        assert information[0, 0] == pytest.approx(r / (r + 1) ** 2 + 6 * r / (r + 3) ** 2, abs=1e-12)


def test_breslows_first_newton_step_is_eight_fifths():
    _, score, information = derivatives(RiskSets.of(X, TIME, STATUS, ties="breslow"), np.zeros(1))
    assert score[0] / information[0, 0] == pytest.approx(8 / 5, abs=1e-12)


def test_efrons_fit_of_six_rows_is_the_closed_form():
    fit = fit_cox(X, TIME, STATUS, ties="efron")
    root = np.cos(np.arccos(45 / 23 * np.sqrt(3 / 23)) / 3) * 2 * np.sqrt(23 / 3)
    assert fit.coefficients[0] == pytest.approx(np.log(root), abs=1e-9)
    sets = RiskSets.of(X, TIME, STATUS, ties="efron")
    for b in (-1.0, 0.0, 0.7, 2.0):
        r = np.exp(b)
        expected = 2 * b - np.log(3 * r + 3) - np.log((r + 5) / 2) - np.log(r + 3)
        assert derivatives(sets, np.array([b]))[0] == pytest.approx(expected, abs=1e-12)


# Freireich et al. 1963, 6-mercaptopurine; data as carried by R's MASS (gehan)
DRUG = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
CONTROL = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"


def freireich() -> pd.DataFrame:
    every = f"{DRUG} {CONTROL}".split()
    return pd.DataFrame(
        {
            "week": [float(text.strip("+")) for text in every],
            "relapse": [int("+" not in text) for text in every],
            "control": [0] * 21 + [1] * 21,
        }
    )


@pytest.mark.parametrize(
    ("ties", "estimate", "se", "null", "likelihood"),
    [
        ("breslow", 1.509191, 0.409564, -93.98505, -86.37962),
        ("efron", 1.572125, 0.412397, -93.18427, -85.00842),
    ],
)
def test_freireichs_patients_relapse_as_often_as_printed(ties, estimate, se, null, likelihood):
    # computed by R package survival 3.5-3; the example of Cox 1972, doi:10.1111/j.2517-6161.1972.tb00899.x
    d = freireich()
    fit = fit_cox(d[["control"]], d["week"], d["relapse"], ties=ties)
    assert fit.coefficients[0] == pytest.approx(estimate, abs=6e-7)
    assert fit.se[0] == pytest.approx(se, abs=6e-7)
    assert (fit.log_likelihood_null, fit.log_likelihood) == pytest.approx((null, likelihood), abs=6e-6)


def test_exact_ties_are_the_conditional_fit_over_risk_sets_and_ours_lie_on_its_near_side():
    # exact: 1.628244 (.433131), by R package survival 3.5-3; a week with relapses is a matched set of those at risk
    d = freireich()
    sets = [
        d[d["week"] >= week].assign(set=week, now=lambda at, w=week: (at["week"] == w) & (at["relapse"] == 1))
        for week in d.loc[d["relapse"] == 1, "week"].unique()
    ]
    at_risk = pd.concat(sets, ignore_index=True).astype({"now": int})
    row = fit_within(at_risk, "now", ["control"], cluster="set").table.rows[0]
    assert (row.estimate, row.se) == pytest.approx((1.628244, 0.433131), abs=6e-7)
    efron, breslow = (
        fit_cox(d[["control"]], d["week"], d["relapse"], ties=ties).coefficients[0]
        for ties in ("efron", "breslow")
    )
    assert breslow < efron < row.estimate


def test_rossis_prisoners_are_rearrested_as_printed():
    # Rossi, Berk and Lenihan 1980, data as carried by lifelines; three digits as in a demo at
    # pymargins.readthedocs.io and in Fox's appendix on Cox regression (from memory), the others computed
    from lifelines.datasets import load_rossi

    d = load_rossi()
    fit = fit_cox(d[["fin", "age", "race", "wexp", "mar", "paro", "prio"]], d["week"], d["arrest"])
    expected = [-0.379422, -0.057438, 0.313900, -0.149796, -0.433704, -0.084871, 0.091497]
    np.testing.assert_allclose(fit.coefficients, expected, atol=6e-7)
    np.testing.assert_allclose(fit.se[[0, 1, 6]], [0.191379, 0.021999, 0.028649], atol=6e-7)
    assert (fit.log_likelihood_null, fit.log_likelihood) == pytest.approx((-675.3806, -658.7477), abs=6e-5)


def test_maintained_leukaemia_patients_stay_well_longer_as_printed():
    # Miller 1997, Survival Analysis, as carried by R survival (tests/doaml.R): .9042 (.5122), likelihood ratio 3.3
    maintained = ["9", "13", "13+", "18", "23", "28+", "31", "34", "45+", "48", "161+"]
    other = ["5", "5", "8", "8", "12", "16+", "23", "27", "30", "33", "43", "45"]
    time = [float(text.strip("+")) for text in [*maintained, *other]]
    event = ["+" not in text for text in [*maintained, *other]]
    fit = fit_cox(np.repeat([[0.0], [1.0]], [11, 12], axis=0), time, event, ties="breslow")
    assert (fit.coefficients[0], fit.se[0]) == pytest.approx((0.9042, 0.5122), abs=6e-5)
    assert 2 * (fit.log_likelihood - fit.log_likelihood_null) == pytest.approx(3.3, abs=0.05)


@pytest.mark.parametrize(
    ("ties", "estimates", "errors", "likelihood"),
    [
        (
            "breslow",
            [0.138564, 0.638350, 1.693056, 0.018902],
            [0.462306, 0.356080, 0.422208, 0.014251],
            -188.1794,
        ),
        (
            "efron",
            [0.140040, 0.642382, 1.705980, 0.019031],
            [0.462486, 0.356111, 0.421913, 0.014258],
            -187.7074,
        ),
    ],
)
def test_laryngeal_cancer_kills_by_stage_as_computed(ties, estimates, errors, likelihood):
    # Kardaun 1983, in Klein and Moeschberger's Survival Analysis (Breslow's ties there); by R package survival 3.5-3
    d = rows("larynx")
    x = np.column_stack([d["stage"] == 2, d["stage"] == 3, d["stage"] == 4, d["age"]])
    fit = fit_cox(x, d["time"], d["delta"], ties=ties)
    np.testing.assert_allclose(fit.coefficients, estimates, atol=6e-7)
    np.testing.assert_allclose(fit.se, errors, atol=6e-7)
    assert fit.log_likelihood == pytest.approx(likelihood, abs=6e-5)


def invented(n: int, seed: int, *, clusters: int = 20, late: bool = False) -> dict[str, np.ndarray]:
    """People with many ties, unequal weights, strata and clusters."""
    rng = np.random.default_rng(seed)
    x = np.column_stack([rng.integers(0, 2, n), rng.normal(size=n), rng.integers(0, 4, n)]).astype(float)
    came = rng.integers(0, 3, n).astype(float) if late else np.full(n, -1.0)
    time = came + np.ceil(rng.exponential(6 * np.exp(-x @ [0.5, -0.3, 0.1])))
    return {
        "matrix": x,
        "time": np.minimum(time, came + 14),
        "event": (rng.random(n) < 0.8) * 1,
        "strata": rng.integers(0, 4, n),
        "codes": rng.integers(0, clusters, n),
        "entry": came,
        "weights": rng.integers(1, 4, n).astype(float),
    }


def slow_likelihood(beta, matrix, time, event, strata, entry, weights, ties, **_):
    """Partial log-likelihood, event time by event time, straight from its definition."""
    total = 0.0
    for stratum in np.unique(strata):
        for now in np.unique(time[(event == 1) & (strata == stratum)]):
            mine = strata == stratum
            risk = weights * np.exp(matrix @ beta)
            at_risk = risk[mine & (time >= now) & (entry < now)].sum()
            tied = mine & (time == now) & (event == 1)
            total += (weights[tied] * (matrix[tied] @ beta)).sum()
            for turn in range(tied.sum()):
                out = turn / tied.sum() * risk[tied].sum() if ties == "efron" else 0.0
                total -= weights[tied].mean() * np.log(at_risk - out)
    return total


@pytest.mark.parametrize("ties", ["efron", "breslow"])
@pytest.mark.parametrize("late", [False, True])
def test_the_fit_is_that_of_a_slow_likelihood_maximised_by_a_general_search(ties, late):
    d = invented(60, seed=3, late=late)
    fit = fit_cox(
        d["matrix"], d["time"], d["event"], ties=ties, **{w: d[w] for w in ("strata", "entry", "weights")}
    )
    slow = minimize(lambda b: -slow_likelihood(b, ties=ties, **d), np.zeros(3), method="BFGS", tol=1e-7)
    np.testing.assert_allclose(fit.coefficients, slow.x, atol=1e-5)
    shift = slow_likelihood(fit.coefficients, ties=ties, **d) - slow_likelihood(np.zeros(3), ties=ties, **d)
    assert fit.log_likelihood - fit.log_likelihood_null == pytest.approx(shift, abs=1e-10)


@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_score_and_information_are_the_derivatives(ties):
    d = invented(200, seed=4, late=True)
    sets = RiskSets.of(
        d["matrix"],
        d["time"],
        d["event"],
        strata=d["strata"],
        entry=d["entry"],
        weights=d["weights"],
        ties=ties,
    )
    beta, step = np.array([0.4, -0.2, 0.1]), 1e-5
    _, score, information = derivatives(sets, beta)
    for j, unit in enumerate(np.eye(3)):
        above, below = (derivatives(sets, beta + sign * step * unit) for sign in (1, -1))
        assert score[j] == pytest.approx((above[0] - below[0]) / (2 * step), rel=1e-6, abs=1e-6)
        np.testing.assert_allclose(information[j], -(above[1] - below[1]) / (2 * step), rtol=1e-6, atol=1e-6)


def test_score_residuals_sum_to_the_score_whatever_the_ties():
    d = invented(300, seed=5, late=True)
    for ties in ("efron", "breslow"):
        sets = RiskSets.of(
            d["matrix"],
            d["time"],
            d["event"],
            strata=d["strata"],
            entry=d["entry"],
            weights=d["weights"],
            ties=ties,
        )
        beta = np.array([0.2, 0.1, -0.3])
        np.testing.assert_allclose(
            score_residuals(sets, beta).sum(axis=0), derivatives(sets, beta)[1], atol=1e-10
        )


def test_a_score_residual_says_how_the_coefficients_move_with_its_rows_weight():
    d = invented(80, seed=6)
    fit = fit_cox(d["matrix"], d["time"], d["event"], ties="breslow")
    pulls = score_residuals(fit.sets, fit.coefficients) @ fit.covariance
    for row in (0, 7, 33, 61):
        more, less = (
            fit_cox(
                d["matrix"],
                d["time"],
                d["event"],
                ties="breslow",
                weights=1 + sign * 1e-4 * (np.arange(80) == row),
            ).coefficients
            for sign in (1, -1)
        )
        np.testing.assert_allclose(pulls[row], (more - less) / 2e-4, rtol=1e-4, atol=1e-7)


def test_shuffled_rows_move_nothing_while_lifelines_clustered_errors_move():
    # lifelines 0.30.3 takes score residuals as if no two events shared a time
    from lifelines import CoxPHFitter

    frame = rows("mgus2").iloc[:300].reset_index(drop=True)
    terms, ours, theirs = ["age", "male"], [], []
    for seed in range(3):
        mixed = frame.sample(frac=1, random_state=seed)
        fit = fit_cox(mixed[terms], mixed["futime"], mixed["death"], codes=mixed["dxyr"])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            peer = CoxPHFitter().fit(
                mixed[[*terms, "futime", "death", "dxyr"]], "futime", "death", cluster_col="dxyr"
            )
        np.testing.assert_allclose(fit.coefficients, peer.params_, rtol=1e-5)
        ours.append(np.r_[fit.coefficients, fit.se, fit.log_likelihood])
        theirs.append(peer.standard_errors_.to_numpy())
    assert np.ptp(ours, axis=0).max() < 1e-9
    assert np.ptp(theirs, axis=0).max() > 1e-7


def test_a_row_of_whole_weight_is_so_many_rows_and_one_of_none_is_not_there():
    d = invented(150, seed=7)
    w = np.arange(150) % 4
    ways = {"ties": "breslow", "strata": d["strata"], "codes": d["codes"]}
    weighted = fit_cox(d["matrix"], d["time"], d["event"], weights=w, **ways)
    again = np.repeat(np.arange(150), w)
    repeated = fit_cox(
        d["matrix"][again],
        d["time"][again],
        d["event"][again],
        ties="breslow",
        strata=d["strata"][again],
        codes=d["codes"][again],
    )
    for name in ("coefficients", "covariance", "robust"):
        np.testing.assert_allclose(getattr(weighted, name), getattr(repeated, name), atol=1e-10)
    for ties in ("efron", "breslow"):
        there = fit_cox(
            d["matrix"], d["time"], d["event"], weights=(w > 0) * 1.0, ties=ties, codes=d["codes"]
        )
        kept = w > 0
        alone = fit_cox(
            d["matrix"][kept], d["time"][kept], d["event"][kept], ties=ties, codes=d["codes"][kept]
        )
        np.testing.assert_allclose(there.coefficients, alone.coefficients, atol=1e-10)
        np.testing.assert_allclose(there.robust, alone.robust, atol=1e-12)
        assert there.log_likelihood == pytest.approx(alone.log_likelihood, abs=1e-9)


@given(seed=st.integers(0, 10_000), ties=st.sampled_from(["efron", "breslow"]))
@settings(max_examples=8, deadline=None)
def test_a_clock_that_runs_otherwise_or_people_gone_before_the_first_event_move_nothing(seed, ties):
    d = invented(60, seed=seed)
    ways = {"ties": ties, "strata": d["strata"]}
    try:
        plain = fit_cox(d["matrix"], d["time"], d["event"], **ways)
    except NotEstimable:
        return
    other_clock = fit_cox(d["matrix"], np.sqrt(d["time"]) - 5, d["event"], **ways)
    np.testing.assert_allclose(other_clock.coefficients, plain.coefficients, atol=1e-9)
    early = fit_cox(
        np.vstack([d["matrix"], [[1.0, 9.0, -3.0]]]),
        np.append(d["time"], -2.0),
        np.append(d["event"], 0),
        ties=ties,
        strata=np.append(d["strata"], 0),
    )
    np.testing.assert_allclose(early.coefficients, plain.coefficients, atol=1e-8)
    moved = fit_cox(d["matrix"] * [1, 10, 1] + d["strata"][:, None], d["time"], d["event"], **ways)
    np.testing.assert_allclose(moved.coefficients * [1, 10, 1], plain.coefficients, atol=1e-7)


def test_strata_of_one_are_no_strata_and_many_strata_cost_no_accuracy():
    d = invented(160, seed=8)
    one = fit_cox(d["matrix"], d["time"], d["event"], strata=np.full(160, "x"))
    none = fit_cox(d["matrix"], d["time"], d["event"])
    np.testing.assert_allclose(one.coefficients, none.coefficients, atol=1e-12)
    pairs = np.arange(160) // 4
    many = fit_cox(d["matrix"], d["time"], d["event"], strata=pairs)
    slow = minimize(
        lambda b: -slow_likelihood(b, ties="efron", **{**d, "strata": pairs, "weights": np.ones(160)}),
        many.coefficients,
        method="Nelder-Mead",
        options={"xatol": 1e-7, "fatol": 1e-10},
    )
    np.testing.assert_allclose(many.coefficients, slow.x, atol=1e-5)


def test_no_array_of_rows_by_rows_is_made():
    d = invented(20_000, seed=9, clusters=3000)
    tracemalloc.start()
    fit_cox(d["matrix"], d["time"], d["event"], codes=d["codes"])
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 60 * d["matrix"].nbytes


def test_a_column_that_does_not_vary_in_its_stratum_is_exactly_zero():
    # ten times .1 sum to a little less than 1
    assert (RiskSets.of(np.full((10, 1), 0.1), np.arange(10), np.ones(10)).matrix == 0).all()


def reason(**changes) -> str:
    d = invented(60, seed=3)
    given = {name: d[name] for name in ("matrix", "time", "event")} | changes
    with pytest.raises((NotEstimable, CallError)) as told:
        fit_cox(given.pop("matrix"), given.pop("time"), given.pop("event"), **given)
    return told.value.reason


def test_what_cannot_be_fitted_says_why():
    d = invented(60, seed=3)
    x, time, event = d["matrix"], d["time"], d["event"]
    assert reason(event=np.zeros(60)) == "one_outcome"
    assert reason(matrix=np.column_stack([x, x[:, 0]])) == "no_free_column"
    assert reason(matrix=np.column_stack([x, d["strata"] * 0.1]), strata=d["strata"]) == "no_free_column"
    assert reason(matrix=-time[:, None]) == "separated"
    assert reason(matrix=np.column_stack([x, event])) == "separated"
    assert reason(codes=np.zeros(60, dtype=int)) == "one_mishap"
    assert reason(time=np.where(np.arange(60) == 3, np.nan, time)) == "missing_value"
    assert reason(matrix=np.empty((0, 3)), time=[], event=[]) == "no_rows"
    assert reason(time=time[1:]) == "shape"
    assert reason(event=event * 2) == "not_binary"
    assert reason(weights=-np.ones(60)) == "not_positive"
    assert reason(entry=time) == "order"


def test_a_nearly_separated_set_still_has_its_finite_answer():
    # one person of the slow kind goes first, so the ratio is large and finite: log((n - 1) ...) by hand is the root of
    # the score of two risk sets
    x, time = np.array([[0.0], [1.0], [1.0], [1.0], [0.0]]), np.array([1.0, 2, 3, 4, 5])
    fit = fit_cox(x, time, np.ones(5))
    r = np.exp(fit.coefficients[0])
    first = [3 * r / (3 * r + 2), 3 * r / (3 * r + 1), 2 * r / (2 * r + 1), r / (r + 1)]
    assert 3 - sum(first) == pytest.approx(0, abs=1e-9)
