#!/usr/bin/env python3
"""Solves networks with numpy and scipy, to measure the project's solver beside general-purpose libraries.

Reads one network as JSON from standard input (see compare.rs) and writes the time of one solve, its flows and residuals.
Unknowns are the flows of all links and the pressures of all free nodes; every loss is r Q|Q|, a nozzle is a link to
the air. Up to 200 unknowns by scipy.optimize.root with its exact derivative, as one would write it; above by Newton's
method with sparse derivatives and a halved step where the residual would grow.
"""

import json
import sys
import time

import numpy as np
from scipy import sparse
from scipy.optimize import root
from scipy.sparse.linalg import splu

net = json.load(sys.stdin)
weight = net["weight"]
height = np.array(net["height"], float)
fixed = np.array([np.nan if p is None else p for p in net["fixed"]], float)
demand = np.array(net["demand"], float)
a = np.array(net["from"], int)
b = np.array(net["to"], int)  # -1: the air
r = np.array(net["resistance"], float)
free = np.flatnonzero(np.isnan(fixed))
place = np.full(len(height), -1)
place[free] = np.arange(len(free))
m, n = len(a), len(free)
inner = b >= 0
lift = np.where(inner, weight * (height[a] - height[np.where(inner, b, 0)]), 0.0)

# Balance at free nodes: inflow less outflow is the demand.
rows, cols, vals = [], [], []
for at, sign in ((a, -1.0), (b, 1.0)):
    ok = np.flatnonzero((at >= 0) & (place[np.where(at >= 0, at, 0)] >= 0))
    rows += list(place[at[ok]])
    cols += list(ok)
    vals += [sign] * len(ok)
balance = sparse.csr_matrix((vals, (rows, cols)), (n, m))
scale_p, scale_q = 1e6, max(net["scale_flow"], 1e-9)


def residual(x):
    q = x[:m] * scale_q
    p = fixed.copy()
    p[free] = x[m:] * scale_p
    far = np.where(inner, p[np.where(inner, b, 0)], 0.0)
    energy = p[a] - far + lift - r * q * np.abs(q)
    return np.concatenate([energy / scale_p, (balance @ q - demand[free]) / scale_q])


def derivative(x):
    q = x[:m] * scale_q
    d = sparse.diags(-2.0 * r * np.abs(q) * scale_q / scale_p - 1e-12)
    # Of p[a] - p[b] by the free pressures it is minus the balance, turned round.
    return sparse.bmat([[d, -balance.T], [balance, None]], format="csc")


def solve():
    guess = np.full(m, net["scale_flow"] / max(net["sinks"], 1)) / scale_q
    x = np.concatenate([guess, np.full(n, np.nanmax(fixed)) * 0.5 / scale_p])
    if m + n <= 200:
        s = root(residual, x, jac=lambda y: derivative(y).toarray(), method="hybr", options={"xtol": 1e-12})
        return s.x, s.nfev
    f = residual(x)
    for k in range(200):
        if np.abs(f).max() < 1e-12:
            break
        step = splu(derivative(x)).solve(-f)
        share = 1.0
        while share > 1e-6:
            y = x + share * step
            g = residual(y)
            if np.linalg.norm(g) < np.linalg.norm(f):
                break
            share *= 0.5
        x, f = y, g
    return x, k


rounds = net["rounds"]
times = []
for _ in range(rounds):
    start = time.perf_counter()
    x, steps = solve()
    times.append(time.perf_counter() - start)
json.dump(
    {
        "seconds": min(times),
        "steps": int(steps),
        "residual": float(np.abs(residual(x)).max()),
        "flow": (x[:m] * scale_q).tolist(),
    },
    sys.stdout,
)
