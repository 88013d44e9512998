"""What is each step of the chain, in words and as an equation?

One table that the study file, the report and the screens' *why* read. Equations are given
in the notation that KaTeX and LaTeX share.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the chain."""

    #: unique name, used in ids as ``step.<key>``
    key: str
    #: what it computes, a few words
    title: str
    #: one plain sentence
    sentence: str
    #: equation
    equation: str
    #: where the equation comes from
    source: str
    #: rooms whose built-in numbers it reads
    rooms: tuple[str, ...]
    #: steps that it stands on
    after: tuple[str, ...] = ()


STEPS: Final[dict[str, Step]] = {
    step.key: step
    for step in (
        Step(
            key="passing",
            title="cars passing",
            sentence="Vehicles that could be washed and pass the site on a day of the year's "
            "average, both directions, from counts where there are any, else from the road's kind.",
            equation=r"A = \sum_{s} A_s \, (1 - h_s)",
            source="average daily traffic after FHWA Traffic Monitoring Guide, 2022; "
            "heavy vehicles taken out",
            rooms=("place", "passing"),
        ),
        Step(
            key="turning",
            title="delay turning in and out",
            sentence="Seconds that turning in and going back costs, by the gaps that the "
            "oncoming traffic leaves.",
            equation=r"c = \frac{q\, e^{-q t_c/3600}}{1 - e^{-q t_f/3600}},\quad d = \frac{3600}{c}"
            r" + 900 T \left[(x-1) + \sqrt{(x-1)^2 + \frac{(3600/c)\,x}{450 T}}\right] + 5",
            source="Highway Capacity Manual, two-way stop-controlled intersections",
            rooms=("turning",),
            after=("passing",),
        ),
        Step(
            key="seeing",
            title="being seen in time",
            sentence="How much of the distance that a driver needs to decide is in clear view.",
            equation=r"\mathrm{sight} = \min\left(1, \frac{\mathrm{seen}}{\mathrm{needed}}\right)",
            source="AASHTO Green Book, decision sight distance, manoeuvre E",
            rooms=("seeing",),
            after=("passing",),
        ),
        Step(
            key="around",
            title="rivals and people",
            sentence="How strongly rivals pull, by likeness and driving minutes, and who lives "
            "within ten minutes.",
            equation=r"\mathrm{pull} = \sum_k l_k \, e^{-t_k/\tau}",
            source="own form, after Huff, 1964",
            rooms=("around",),
            after=("passing",),
        ),
        Step(
            key="share",
            title="share washed (capture rate)",
            sentence="Cars washed in a year over vehicles that pass in a year, both directions; "
            "it is per passing, so a commuter counts twice.",
            equation=r"\log r = m_f + x^\top \beta + u_{op} + e,\qquad r = \frac{C}{365\,A}",
            source="Bayesian regression, exact mixture over sigma; starting values from trade "
            "practice",
            rooms=("share",),
            after=("passing", "turning", "seeing", "around"),
        ),
        Step(
            key="year",
            title="cars a year",
            sentence="Cars passing times share washed, draw by draw.",
            equation=r"C = 365 \, A \, r",
            source="definition of the capture rate",
            rooms=(),
            after=("passing", "share"),
        ),
        Step(
            key="busy",
            title="design hour",
            sentence="Next year's n-th busiest hour, with the weather, the day and chance in it.",
            equation=r"H_{(n)} = \text{n-th largest of } \mathrm{Poisson}(C\, s_h\, g_d),"
            r"\quad g_d \sim \Gamma(\text{mean } 1)",
            source="ordered hours as in the Highway Capacity Manual's 30th highest hour",
            rooms=("hours",),
            after=("year",),
        ),
        Step(
            key="line",
            title="line",
            sentence="The shortest line whose chain carries the design hour with headroom.",
            equation=r"\mathrm{cars/h} = \frac{3600\, v}{p}\, \eta,\qquad "
            r"L = \sum_i \max(l_i,\; v\, t_i)",
            source="trade practice",
            rooms=("line",),
            after=("busy",),
        ),
        Step(
            key="queue",
            title="queue",
            sentence="Many days of cars arriving, paying and being loaded, one after the other.",
            equation=r"W_{k+1} = \max(0,\; W_k + S_k - A_{k+1})",
            source="Lindley, 1952",
            rooms=("line", "hours"),
            after=("busy", "line"),
        ),
        Step(
            key="utilities",
            title="water and power",
            sentence="Pumps, water and power of the stations that run together.",
            equation=r"P = \frac{q\,\Delta p}{\eta},\qquad q_2 = q_1 \sqrt{p_2 / p_1}",
            source="fluid mechanics; NFPA 70, article 430 for feeders",
            rooms=("utilities",),
            after=("line", "busy", "year"),
        ),
        Step(
            key="ground",
            title="does it fit",
            sentence="Area needed for building, stacking, lanes and bays against the parcel.",
            equation=r"A_{\text{needed}} \le A_{\text{parcel}} - A_{\text{setbacks}}",
            source="trade practice; AASHTO passenger car for turning paths",
            rooms=("ground",),
            after=("line", "queue"),
        ),
        Step(
            key="money",
            title="money",
            sentence="Ten years by month: ramp, tickets and plans, costs, tax, debt, capital.",
            equation=r"\mathrm{NPV} = \sum_{m=0}^{120} \frac{CF_m}{(1+i)^{m/12}}",
            source="discounted cash flow; prices and costs from trade practice",
            rooms=("money",),
            after=("year", "line", "queue", "utilities", "ground"),
        ),
    )
}
