//! Water, hose, nozzles, pump curves, supplies and the network solver, in SI units.
