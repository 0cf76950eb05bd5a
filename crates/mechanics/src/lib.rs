//! Rings, fits, rotor balance, impeller, shaft and measurement uncertainty, in SI units.
