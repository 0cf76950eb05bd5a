//! From a duty to a solved network and back.

/// A solved duty.
#[derive(Clone, PartialEq, Debug)]
pub struct Solution {}
