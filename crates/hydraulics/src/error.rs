//! The error for a number that no model here can use, and the small checks that raise it.
//!
//! Invariant: the message says which quantity, what was given and what was expected. It does not say where the
//! number was written; the caller knows that.

use thiserror::Error;

/// A number handed to this crate that it cannot use.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum InputError {
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
    /// A list of numbers has the wrong length or order.
    #[error("{quantity}: expected {expected}")]
    Shape {
        /// What the list stands for.
        quantity: &'static str,
        /// What would be right.
        expected: &'static str,
    },
}

/// Accepts a finite number above zero.
pub(crate) fn positive(quantity: &'static str, value: f64) -> Result<f64, InputError> {
    check(
        quantity,
        value,
        value > 0.0,
        "a finite number greater than zero",
    )
}

/// Accepts a finite number that is zero or more.
pub(crate) fn not_negative(quantity: &'static str, value: f64) -> Result<f64, InputError> {
    check(
        quantity,
        value,
        value >= 0.0,
        "a finite number, zero or more",
    )
}

/// Accepts any finite number.
pub(crate) fn finite(quantity: &'static str, value: f64) -> Result<f64, InputError> {
    check(quantity, value, true, "a finite number")
}

/// Accepts a number above zero and up to one.
pub(crate) fn fraction(quantity: &'static str, value: f64) -> Result<f64, InputError> {
    check(
        quantity,
        value,
        value > 0.0 && value <= 1.0,
        "a number above zero and not above one",
    )
}

/// Accepts a finite number that passes `good`.
pub(crate) fn check(
    quantity: &'static str,
    value: f64,
    good: bool,
    expected: &'static str,
) -> Result<f64, InputError> {
    if value.is_finite() && good {
        Ok(value)
    } else {
        Err(InputError::OutOfRange {
            quantity,
            value,
            expected,
        })
    }
}
