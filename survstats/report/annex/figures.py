"""Which figures does the annex draw, and from which numbers?"""

from __future__ import annotations

from itertools import pairwise
from typing import get_args

from survstats.report.annex.content import Picture
from survstats.report.annex.tables import as_number, node, table_rows
from survstats.report.calibration_figure import CalibrationBin, CalibrationFigure
from survstats.report.chains_figure import ChainsFigure, ChainsPanel
from survstats.report.content import Piece, Text
from survstats.report.fading_figure import BandPoint, CurvePoint, FadingFigure
from survstats.report.graph_figure import ArrowKind, GraphFigure, GraphNode, NodeState, arrow_kinds
from survstats.report.graph_layout import PLACES, STAGES
from survstats.report.lettering import join
from survstats.report.out_figure import OutFigure
from survstats.report.out_panel import OutPanel, OutStep
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_NO_KEY = ("training", "outcome", "other")
"""Boxes whose own label says what they are."""


def fading_picture(results: StudyResults, words: Wording) -> Picture | None:
    """F6: the difference over the months since training, with its bands and a rug of people.

    Where the half-life is refused no curve is drawn, its limits alone.
    """
    curve = tuple(
        CurvePoint(
            as_number(row["months"]), *(100 * as_number(row[part]) for part in ("difference", "low", "high"))
        )
        for row in table_rows(results, "fading_curve")
        if None not in row.values()
    )
    if len(curve) < 2:
        return None
    rug = tuple(
        (as_number(row["from_months"]), int(as_number(row["occupants"])))
        for row in table_rows(results, "fading_months")
    )
    told = "fading.half_life" in results.numbers
    names = ("bands", "zero", "rug", "people")
    figure = FadingFigure(
        curve=curve,
        bands=tuple(_band(results, words, at) for at in range(len(table_rows(results, "recency")))),
        rug=rug,
        rug_step=min((later - earlier for (earlier, _), (later, _) in pairwise(rug)), default=1.0),
        curve_text=words.say("annex.fading.figure.curve") if told else (),
        limits_text=words.say(f"annex.fading.figure.limits{'' if told else '_alone'}"),
        **{f"{name}_text": words.say(f"annex.fading.figure.{name}") for name in names},
        x_title=words.say("annex.fading.figure.x"),
        y_title=words.say("annex.fading.figure.y"),
        alt=_alt(words, "annex.fading.figure", "" if told else "_limits"),
    )
    return Picture("fading", figure)


def _alt(words: Wording, key: str, form: str = "") -> Text:
    """What a figure shows, and what is read off it where that is stored."""
    found = f"{key}.finding{'' if form == '_list' else form}"
    return join(words.say(f"{key}.alt{form}"), words.say(found) if words.can_say(found) else ())


def _band(results: StudyResults, words: Wording, at: int) -> BandPoint:
    row = table_rows(results, "recency")[at]
    value, low, high = (
        None if row[part] is None else 100 * as_number(row[part]) for part in ("difference", "low", "high")
    )
    last = row["to_months"]
    return BandPoint(
        from_months=as_number(row["from_months"]),
        to_months=None if last is None else as_number(last),
        points=value,
        low=low,
        high=high,
        people_text=words.cell(f"recency.{at}.occupants", "count"),
    )


def graph_picture(results: StudyResults, words: Wording) -> Picture | None:
    """F8: the graph of causes."""
    stored = table_rows(results, "graph_nodes")
    if not stored:
        return None
    states: dict[str, NodeState] = {name: name for name in get_args(NodeState)}
    nodes = tuple(
        GraphNode(str(row["node"]), (Piece(node(words, str(row["node"]))),), states[str(row["role"])])
        for row in stored
        if row["node"] in PLACES
    )
    arrows = arrow_kinds(
        [(str(row["from"]), str(row["to"]), str(row["who"])) for row in table_rows(results, "graph_edges")],
        [str(row["path"]) for row in table_rows(results, "open_paths") if row["population"] == "P1"],
        held=[str(row["node"]) for row in stored if row["role"] in ("adjusted", "selection")],
    )
    kinds: tuple[ArrowKind, ...] = tuple(kind for kind in get_args(ArrowKind) if kind != "other")
    seen = {each.state for each in nodes}
    figure = GraphFigure(
        title=words.say("annex.graph.title"),
        nodes=nodes,
        arrows=arrows,
        heads={stage: words.say(f"annex.graph.stage_{stage}") for stage, _, _ in STAGES},
        node_key=tuple(
            (state, words.say(f"annex.graph.state_{state}"))
            for state in get_args(NodeState)
            if state in seen and state not in _NO_KEY
        ),
        arrow_key=tuple((kind, words.say(f"annex.graph.arrow_{kind}")) for kind in kinds),
        alt=_alt(words, "annex.graph"),
        list_alt=_alt(words, "annex.graph", "_list"),
    )
    return Picture("causes", figure)


def chains_picture(results: StudyResults, words: Wording) -> Picture | None:
    """F9: how the filling-in went, round by round, a panel for each quantity."""
    stored: dict[str, dict[str, list[float]]] = {}
    for row in table_rows(results, "imputation_chains"):
        if row["value"] is not None:
            stored.setdefault(str(row["quantity"]), {}).setdefault(str(row["draw"]), []).append(
                as_number(row["value"])
            )
    panels = tuple(
        ChainsPanel(_quantity(words, quantity), tuple(tuple(draw) for draw in draws.values()))
        for quantity, draws in stored.items()
    )
    if not panels:
        return None
    figure = ChainsFigure(
        panels=panels,
        x_title=words.say("annex.imputation.figure.x"),
        draw_text=words.say("annex.imputation.figure.draw"),
        mean_text=words.say("annex.imputation.figure.mean"),
        alt=words.say("annex.imputation.figure.alt"),
    )
    return Picture("chains", figure)


def _quantity(words: Wording, code: str) -> Text:
    """What a panel shows: a share among the unknown, or the mean put into a field."""
    key = f"annex.imputation.figure.{code}"
    if words.has(key):
        return words.say(key)
    field = code.removeprefix("mean_of_").removeprefix("mean_").removeprefix("share_of_")
    return (*words.say("annex.imputation.figure.mean_of"), Piece(f" {words.name(field)}"))


def calibration_picture(results: StudyResults, words: Wording) -> Picture | None:
    """F7: survival predicted without the person's own mishap, and observed, in groups of people."""
    bins = tuple(
        CalibrationBin(
            predicted=100 * as_number(row["predicted"]),
            observed=100 * as_number(row["survived_share"]),
            low=100 * as_number(row["low"]),
            high=100 * as_number(row["high"]),
            people_text=words.cell(f"calibration.{at}.occupants", "count"),
        )
        for at, row in enumerate(table_rows(results, "calibration"))
        if None not in row.values()
    )
    if not bins:
        return None
    figure = CalibrationFigure(
        bins=bins,
        diagonal_text=words.say("annex.fit.figure.diagonal"),
        marks_text=words.say("annex.fit.figure.marks"),
        people_text=words.say("annex.fit.figure.people"),
        x_title=words.say("annex.fit.figure.x"),
        y_title=words.say("annex.fit.figure.y"),
        alt=_alt(words, "annex.fit.figure"),
    )
    return Picture("calibration", figure)


SHOWN_SECONDS = (60.0, 120.0)
"""F4 reaches so many seconds at least and at most."""


def out_picture(results: StudyResults, words: Wording) -> Picture | None:
    """F4: who was out of the cabin by each second, and what the records leave open, a panel for each group."""
    curves = {
        arm: [row for row in table_rows(results, "egress_curve") if row["arm"] == arm]
        for arm in dict.fromkeys(str(row["arm"]) for row in table_rows(results, "egress_curve"))
    }
    people = [row["arm"] for row in table_rows(results, "egress_people")]
    panels = tuple(
        _out_panel(results, words, arm, people.index(arm), curve)
        for arm, curve in curves.items()
        if arm in people and len(curve) > 1
    )
    if not panels:
        return None
    last = max(step.seconds for panel in panels for step in panel.steps)
    modelled = any(panel.model for panel in panels)
    limited = any(step.low is not None for panel in panels for step in panel.steps)
    open_ = any(step.most > step.least for panel in panels for step in panel.steps)
    key = {"step": True, "hatch": open_, "limits": limited, "model": modelled, "inside": True, "never": True}
    figure = OutFigure(
        panels=panels,
        last=min(max(last, SHOWN_SECONDS[0]), SHOWN_SECONDS[1]),
        **{
            f"{name}_text": words.say(f"annex.getting_out.figure.{name}") if told else ()
            for name, told in key.items()
        },
        x_title=words.say("annex.getting_out.figure.x"),
        y_title=words.say("annex.getting_out.figure.y"),
        alt=_alt(words, "annex.getting_out.figure"),
    )
    return Picture("out", figure)


def _out_panel(
    results: StudyResults, words: Wording, arm: str, at: int, curve: list[dict[str, object]]
) -> OutPanel:
    """One group of F4."""
    row, key = f"egress_people.{at}", "annex.getting_out.figure"
    boxes = [box for box in table_rows(results, "egress_boxes") if box["arm"] == arm]
    unknown = words.has_number(f"{row}.not_known") and words.number(f"{row}.not_known").value != 0
    return OutPanel(
        name=words.say(f"{key}.panel_{arm}", row=row),
        steps=_out_steps(curve, boxes),
        ever=100 * sum(as_number(box["mass"]) for box in boxes),
        model=tuple(
            (as_number(point["time_s"]), 100 * as_number(point["share"]))
            for point in table_rows(results, "egress_model_curve")
            if point["arm"] == arm
        ),
        inside=tuple(
            (as_number(point["time_s"]), words.cell(f"egress_at.{place}.known_inside", "count"))
            for place, point in enumerate(table_rows(results, "egress_at"))
            if point["arm"] == arm
        ),
        never_text=words.say(f"{key}.never_out", row=row),
        out_text=words.say(f"{key}.out", row=row),
        unknown_text=words.say(f"{key}.not_known", row=row) if unknown else (),
    )


def _out_steps(curve: list[dict[str, object]], boxes: list[dict[str, object]]) -> tuple[OutStep, ...]:
    """What holds from each stored second until the next.

    The most is stored as it stands at a second, with the boxes that begin before it. Between this second and the next
    it is that of the next, less whoever got out at that very second; after the last, that of whoever can be out then.
    """
    steps = []
    for row, after in pairwise([*curve, curve[-1]]):
        now, then = (as_number(each["time_s"]) for each in (row, after))
        points = [box for box in boxes if box["from_s"] == box["to_s"]]
        change = -sum(as_number(box["mass"]) for box in points if box["from_s"] == then)
        if after is row:
            change = sum(as_number(b["mass"]) for b in boxes if b["from_s"] == now and b not in points)
        most = max(as_number(row["most"]), as_number(after["most"]) + change)
        later = after if most > as_number(row["most"]) + 1e-9 else row
        low, high = row["low"], later["high"]
        steps.append(
            OutStep(
                seconds=now,
                least=100 * as_number(row["least"]),
                most=100 * most,
                low=None if low is None else 100 * as_number(low),
                high=None if high is None else 100 * as_number(high),
            )
        )
    return tuple(steps)
