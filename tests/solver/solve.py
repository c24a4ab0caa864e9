"""Solves the goals of models, one after the other: `solve.py --seconds N --nodes N MODEL ...`.

A model is a file in the LP format. Its rows `weight`, `waste`, `plates` and `pieces` are the goals, the first
to be greatest and the others least, each with the earlier ones held as rows at their proven values. One
line of JSON per model: the plan (variables x0, x1, ... rounded), the solver's bound on each goal, seconds,
and the peak memory of this process in megabytes. A goal that is not reached within the limits, and
every later one, has no bound.
"""

import argparse
import importlib.metadata
import json
import os
import resource
import sys
import time

import highspy

GOALS = ["weight", "waste", "plates", "pieces"]


def read(path, arguments):
    solver = highspy.Highs()
    for option, value in {
        "output_flag": False,
        "threads": 1,
        # The default takes a plan within 1e-4 of the bound for the best.
        "mip_rel_gap": 0.0,
        # Every goal is a whole number, so half of one is proof enough.
        "mip_abs_gap": 0.5,
        # A whole plan keeps a row or misses it by 1 at least; this is the solver's default, and the
        # caller rounds its plan and judges it in whole numbers.
        "mip_feasibility_tolerance": 1e-6,
        "mip_max_nodes": arguments.nodes,
    }.items():
        if solver.setOptionValue(option, value) != highspy.HighsStatus.kOk:
            sys.exit(f"the solver refuses {option} = {value}")
    if solver.readModel(path) != highspy.HighsStatus.kOk:
        sys.exit(f"the solver cannot read {path}")
    return solver


def goal(solver, model, name):
    """The number of a goal's row, and its variables with what each counts for; nothing if it has no row: none counts."""
    if name not in model.row_names_:
        return None
    row = model.row_names_.index(name)
    _, variables, counts = solver.getRowEntries(row)
    return row, dict(zip((int(v) for v in variables), (round(float(c)) for c in counts)))


def solve(path, arguments):
    start = time.monotonic()
    solver = read(path, arguments)
    model = solver.getLp()
    goals = [goal(solver, model, name) for name in GOALS]
    plan, bounds = None, []
    for number, found in enumerate(goals):
        if found is None:
            bounds.append(0.0)
            continue
        row, counts = found
        left = arguments.seconds - (time.monotonic() - start)
        if left <= 0:
            break
        # The solver's own clock runs on over all its runs.
        solver.setOptionValue("time_limit", solver.getRunTime() + left)
        for variable in range(model.num_col_):
            solver.changeColCost(variable, float(counts.get(variable, 0)))
        sense = highspy.ObjSense.kMaximize if number == 0 else highspy.ObjSense.kMinimize
        solver.changeObjectiveSense(sense)
        if plan is not None:
            known = highspy.HighsSolution()
            known.col_value = [float(value) for value in plan]
            solver.setSolution(known)
        solver.run()
        information = solver.getInfo()
        if information.primal_solution_status != 2:
            break
        plan = [round(value) for value in solver.getSolution().col_value]
        value = sum(count * plan[variable] for variable, count in counts.items())
        bound = information.mip_dual_bound
        bounds.append(bound if abs(bound) < 1e15 else None)
        if bounds[-1] is None or abs(bound - value) >= 1:
            break
        infinity = solver.getInfinity()
        held = (float(value), infinity) if number == 0 else (-infinity, float(value))
        solver.changeRowBounds(row, *held)
    by_number = None
    if plan is not None:
        by_number = [0] * len(plan)
        for name, value in zip(model.col_names_, plan):
            by_number[int(name.removeprefix("x"))] = value
    return {
        "plan": by_number,
        "bounds": bounds + [None] * (len(GOALS) - len(bounds)),
        "seconds": time.monotonic() - start,
        "megabytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=float("inf"))
    parser.add_argument("--nodes", type=int, default=2**31 - 1)
    version = "highspy " + importlib.metadata.version("highspy")
    parser.add_argument("--version", action="version", version=version)
    parser.add_argument("models", nargs="+")
    arguments = parser.parse_args()
    # The solver prints a greeting on standard output, whatever its options.
    answers = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)
    for path in arguments.models:
        print(json.dumps(solve(path, arguments)), file=answers, flush=True)


main()
