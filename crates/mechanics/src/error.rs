//! The error of this crate, and the small checks that raise it.
//!
//! Invariant: the message says which quantity, what was given and what was expected.

use thiserror::Error;

/// Why a quantity cannot be given.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MechanicsError {
    /// A value is not finite or lies outside the range the model holds in.
    #[error("{quantity} is {value}; expected {expected}")]
    OutOfRange {
        /// What the number stands for, with its SI unit.
        quantity: &'static str,
        /// The number given.
        value: f64,
        /// The range that would be right.
        expected: &'static str,
    },
    /// A list of numbers has the wrong length.
    #[error("{quantity}: expected {expected}")]
    Shape {
        /// What the list stands for.
        quantity: &'static str,
        /// What would be right.
        expected: &'static str,
    },
    /// An implicit equation did not settle; no number is given.
    #[error("{0} did not converge")]
    NotConverged(&'static str),
}

/// Accepts a finite number that passes `good`.
pub(crate) fn check(
    quantity: &'static str,
    value: f64,
    good: bool,
    expected: &'static str,
) -> Result<f64, MechanicsError> {
    if value.is_finite() && good {
        Ok(value)
    } else {
        Err(MechanicsError::OutOfRange {
            quantity,
            value,
            expected,
        })
    }
}

/// Accepts a finite number above zero.
pub(crate) fn positive(quantity: &'static str, value: f64) -> Result<f64, MechanicsError> {
    check(
        quantity,
        value,
        value > 0.0,
        "a finite number greater than zero",
    )
}

/// Accepts a finite number that is zero or more.
pub(crate) fn not_negative(quantity: &'static str, value: f64) -> Result<f64, MechanicsError> {
    check(
        quantity,
        value,
        value >= 0.0,
        "a finite number, zero or more",
    )
}

/// Accepts any finite number.
pub(crate) fn finite(quantity: &'static str, value: f64) -> Result<f64, MechanicsError> {
    check(quantity, value, true, "a finite number")
}
