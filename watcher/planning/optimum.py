"""The best plan as a flow of one for each unit through a network spread out over the time.

A node is a sprayer ready in a state at a start; from it leave the jobs in that state, waiting, and
the change to another state of the unit. Each field is done at most once. Solved by HiGHS where
``highspy`` is installed (the extra ``plan``).
"""

from importlib.util import find_spec
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from watcher.planning.choices import Choices
from watcher.planning.orders import Order, Timed
from watcher.weather.series import Floats

if TYPE_CHECKING:
    import highspy

_GAP = 0.005
"""A plan this share below the best possible one is good enough."""

_MOST_ARCS = 200_000
"""Of a larger network nothing better than the known order is found in the seconds there are."""


def available() -> bool:
    """Whether the solver is installed."""
    return find_spec("highspy") is not None


def best_order(choices: Choices, known: Order, known_at: Timed, at_most_s: float) -> Order:
    """Return the best order found in a time [s of the wall], beginning with one that is known."""
    network = _Network(choices)
    if not (available() and 0 < network.size <= _MOST_ARCS):
        return known
    import highspy  # noqa: PLC0415 - when there is something to plan

    solver = highspy.Highs()  # type: ignore[no-untyped-call]
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("time_limit", at_most_s)
    solver.setOptionValue("mip_rel_gap", _GAP)
    solver.passModel(network.model())
    begin = network.taken(known, known_at)
    solver.setSolution(len(begin), np.arange(len(begin)), begin)
    solver.run()
    # Nothing found in the time, nor the known one completed: there are no values to read.
    if solver.getInfo().primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return known
    taken = np.asarray(solver.getSolution().col_value)[: len(network.jobs)] > 0.5
    chosen = network.jobs[taken]
    return tuple(
        tuple(int(f) for k, f, _ in sorted(chosen.tolist(), key=lambda j: j[2]) if k in unit)
        for unit in choices.driven
    )


class _Network:
    """Arcs of the network as columns: jobs first, then waiting and changes."""

    def __init__(self, choices: Choices) -> None:
        self.choices = choices
        sprayers, self._fields, self._starts = choices.value.shape
        unit_of = np.full(sprayers, -1)
        for number, unit in enumerate(choices.driven):
            unit_of[list(unit)] = number
        jobs: NDArray[np.intp] = np.argwhere(np.isfinite(choices.value))
        self.jobs = jobs[unit_of[jobs[:, 0]] >= 0]
        """Sprayer, field and start of each job. [J, 3]"""
        taken = choices.state[tuple(self.jobs.T)]
        self._states, self._state = np.unique(taken, return_inverse=True)
        """The states that any job is in [S], and the place of each job's among them [J]."""
        self._unit = np.zeros(len(self._states), dtype=np.intp)
        self._unit[self._state] = unit_of[self.jobs[:, 0]]
        self._nodes = len(self._states) * self._starts

    @property
    def size(self) -> int:
        """How many arcs there are about: with many states most of them are changes."""
        _, of_each = np.unique(self._unit, return_counts=True)
        changes: int = (of_each**2).sum()
        return len(self.jobs) + int(self._starts * changes)

    def taken(self, order: Order, at: Timed) -> Floats:
        """Return the columns of the jobs as an order takes them: 1 or 0. [J]"""
        column = np.zeros(self.choices.value.shape)
        for fields, jobs in zip(order, at.jobs, strict=True):
            for field, (sprayer, start) in zip(fields, jobs, strict=True):
                column[sprayer, field, start] = 1.0
        return np.asarray(column[tuple(self.jobs.T)])

    def _node(self, state: NDArray[np.intp], start: NDArray[np.intp]) -> NDArray[np.intp]:
        """Return the row of a node; -1 after the last start, where nobody is needed any more."""
        row = state * self._starts + np.minimum(start, self._starts - 1)
        return np.where(start < self._starts, row, -1)

    def _arcs(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return the nodes that all arcs leave and reach. [A]"""
        choices = self.choices
        over = np.searchsorted(choices.starts, choices.ends_s[tuple(self.jobs.T)])
        leave, reach = [self._node(self._state, self.jobs[:, 2])], [self._node(self._state, over)]
        g, b = (axis.ravel() for axis in np.indices((len(self._states), self._starts)))
        leave.append(self._node(g, b))
        reach.append(self._node(g, b + 1))
        for other, state in enumerate(self._states):
            change_s = choices.change_s[self._states[g], state]
            ready = np.searchsorted(choices.starts, choices.starts[b] + change_s)
            moves = (g != other) & (self._unit[g] == self._unit[other]) & (ready < self._starts)
            leave.append(self._node(g, b)[moves])
            reach.append(self._node(np.full_like(g, other), ready)[moves])
        return np.concatenate(leave), np.concatenate(reach)

    def model(self) -> "highspy.HighsLp":
        """Return the model: what flows into a node and comes with the sprayer may leave it."""
        import highspy  # noqa: PLC0415 - see above

        choices, units = self.choices, len(self.choices.driven)
        leave, reach = self._arcs()
        arcs, begins = len(leave), len(self._states)
        first = self._node(np.arange(begins), np.zeros(begins, dtype=np.intp))
        rows_once = self._nodes + self.jobs[:, 1]
        row_unit = self._nodes + self._fields + self._unit
        column = np.arange(arcs)
        entries = [
            (leave, column, 1.0),
            (reach[reach >= 0], column[reach >= 0], -1.0),
            (rows_once, column[: len(self.jobs)], 1.0),
            (first, arcs + np.arange(begins), -1.0),
            (row_unit, arcs + np.arange(begins), 1.0),
        ]
        row = np.concatenate([r for r, _, _ in entries])
        col = np.concatenate([c for _, c, _ in entries])
        val = np.concatenate([np.full(len(r), v) for r, _, v in entries])
        by_column = np.lexsort((row, col))
        columns, rows = arcs + begins, self._nodes + self._fields + units
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = columns, rows
        cost = np.zeros(columns)
        cost[: len(self.jobs)] = -choices.value[tuple(self.jobs.T)]
        lp.col_cost_ = cost
        lp.col_lower_, lp.col_upper_ = np.zeros(columns), np.ones(columns)
        lp.row_lower_ = np.full(rows, -highspy.kHighsInf)
        upper = np.zeros(rows)
        upper[self._nodes :] = 1.0
        lp.row_upper_ = upper
        lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        lp.a_matrix_.start_ = np.searchsorted(col[by_column], np.arange(columns + 1))
        lp.a_matrix_.index_ = row[by_column]
        lp.a_matrix_.value_ = val[by_column]
        kinds = [highspy.HighsVarType.kContinuous] * columns
        kinds[: len(self.jobs)] = [highspy.HighsVarType.kInteger] * len(self.jobs)
        lp.integrality_ = kinds
        return lp
