"""Writes the plain networks in `plain/` and their answers, worked out by networkx and by scipy.

    python -m venv somewhere && somewhere/bin/pip install networkx scipy
    somewhere/bin/python tests/networks/regenerate.py

`plain.tsv` gets one row a file: `consistent` or `inconsistent`. For a consistent network the file
ending in `.min` holds the full matrix: row i, column j = the most of Xj - Xi, `inf` where unbounded.
Both libraries have to agree, or nothing is written.
"""

import pathlib
import random

import networkx
import numpy
import scipy.sparse
import scipy.sparse.csgraph

HERE = pathlib.Path(__file__).parent / "plain"
SIZES = [2, 3, 5, 8, 8, 12, 12, 20, 20, 30, 30, 45, 45, 60]


def draw(dice, points, round_number):
    """Bounds around a hidden plan; every third network gets a few that ignore it."""
    times = [dice.randrange(0, 40 * points) for _ in range(points)]
    bounds = {}
    for _ in range(dice.randrange(points, 4 * points)):
        u, v = dice.randrange(points), dice.randrange(points)
        if u == v:
            continue
        slack = dice.choice([0, 0, dice.randrange(30), dice.randrange(400)])
        if round_number % 3 == 2 and dice.random() < 0.05:
            slack = -dice.randrange(1, 200)
        bounds[u, v] = min(bounds.get((u, v), 10**9), times[v] - times[u] + slack)
    return bounds


def by_networkx(points, bounds):
    graph = networkx.DiGraph()
    graph.add_nodes_from(range(points))
    graph.add_weighted_edges_from((u, v, w) for (u, v), w in bounds.items())
    if networkx.negative_edge_cycle(graph):
        return None
    rows = []
    for u in range(points):
        lengths = networkx.single_source_bellman_ford_path_length(graph, u)
        rows.append([lengths.get(v) for v in range(points)])
    return rows


def by_scipy(points, bounds):
    # A dense matrix with `inf` for "no bound": a zero would otherwise read as none.
    dense = numpy.full((points, points), numpy.inf)
    for (u, v), w in bounds.items():
        dense[u, v] = w
    graph = scipy.sparse.csgraph.csgraph_from_dense(dense, null_value=numpy.inf)
    try:
        lengths = scipy.sparse.csgraph.johnson(graph)
    except scipy.sparse.csgraph.NegativeCycleError:
        return None
    return [[None if numpy.isinf(x) else int(round(x)) for x in row] for row in lengths]


def main():
    HERE.mkdir(exist_ok=True)
    dice = random.Random(1991)
    table = ["file\tanswer"]
    for number, points in enumerate(SIZES):
        bounds = draw(dice, points, number)
        matrix = by_networkx(points, bounds)
        assert matrix == by_scipy(points, bounds), f"the libraries disagree on {number}"
        name = f"plain-{number:02}-{points}.tn"
        lines = ["network 1"]
        lines += [f"point P{i}" for i in range(points)]
        lines += [f"bound P{u} P{v} {w}" for (u, v), w in bounds.items()]
        (HERE / name).write_text("\n".join(lines) + "\n")
        table.append(f"{name}\t{'inconsistent' if matrix is None else 'consistent'}")
        if matrix is not None:
            rows = (" ".join("inf" if x is None else str(x) for x in row) for row in matrix)
            (HERE / name).with_suffix(".min").write_text("\n".join(rows) + "\n")
    (HERE / "plain.tsv").write_text("\n".join(table) + "\n")


if __name__ == "__main__":
    main()
