//! Water, hose, nozzles, pump curves, supplies and the network solver, in SI units.
//!
//! Pure physics: every number that goes in or comes out is an `f64` in SI units (metres, seconds, kilograms,
//! pascals, cubic metres per second, kelvin, radians per second), with the unit in the doc comment of the item.
//! Pressures are gauge pressures unless a name says *absolute*. Everything is steady state and incompressible.
//!
//! Invariants: no function panics on bad input (it returns a typed error), no function prints, and a number that
//! did not converge is never returned as a result.
//!
//! What this crate does not do: it knows no user units, no names of hoses or pumps, no files and no wording of
//! findings. Where a result can hurt someone (nozzle reaction, hose above its service-test pressure, hot water in a
//! closed pump, stored pressure, rotating parts) the doc comment says so; the caller passes that on and defers to
//! local codes and licensed practice.

pub mod affinity;
pub mod atmosphere;
pub mod curve;
pub mod drive;
mod error;
pub mod friction;
pub mod network;
pub mod nozzle;
pub mod pump;
pub mod service;
pub mod supply;
pub mod water;

pub use error::InputError;

/// Standard acceleration of gravity, m/s². Source: 3rd CGPM (1901), SI Brochure.
pub const STANDARD_GRAVITY: f64 = 9.806_65;
