//! Dimensions, kinds of quantity, units, toleranced values and their display.
//!
//! Purpose: everything the language needs to know about quantities, and the only place where units become SI and back.
//! Invariants: values are `f64` in coherent SI units (radians for angles, kelvin for temperatures); there is one table of
//! kinds ([`KINDS`]) and one of units ([`units`]).
//! Not here: the language's syntax, physics, and files. This crate depends on none of the project's others.

mod dimension;
mod display;
mod formula;
mod kind;
mod parse;
mod slip;
mod tol;
mod unit;

pub use dimension::Dimension;
pub use display::{
    Display, RangeDisplay, UnitSystem, display, display_as, display_range, display_range_as,
    format_in, format_usual, number, preferred_unit, unit_for,
};
pub use formula::Formula;
pub use kind::{Accept, KINDS, Kind, KindInfo, Mismatch, Operation};
pub use parse::{CompoundUnit, SIGNS, UnitError, nearest, parse_unit};
pub use slip::LikelySlip;
pub use tol::{Contribution, Direction, InputId, Spread, Tol, TolError, Truth};
pub use unit::{Gallon, Resolution, System, Unit, unit, units, units_for};
