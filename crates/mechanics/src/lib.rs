//! Wear rings and their leakage, ISO 286 tolerance classes, impeller, what a stage should give by its geometry, rotor balance,
//! in SI units.
//!
//! Pure mechanics: every number is an `f64` in SI units (metres, seconds, kilograms, pascals, kelvin, radians per
//! second), with the unit in the doc comment of the item.
//!
//! Invariants: no function panics on bad input (it returns a typed error), no function prints, and a number that did
//! not converge is never returned.
//!
//! What this crate does not do: user units, names of parts, wording of findings. Rotating parts can kill: nothing here
//! replaces a balance certificate, a maker's speed limit or a guard.

pub mod balance;
mod error;
pub mod impeller;
pub mod iso286;
pub mod leakage;
pub mod prediction;
pub mod ring;

pub use error::MechanicsError;

/// Standard acceleration of gravity, m/s². Source: 3rd CGPM (1901), SI Brochure.
pub const STANDARD_GRAVITY: f64 = 9.806_65;
