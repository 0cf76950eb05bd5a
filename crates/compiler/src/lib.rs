//! The schema of kinds, names, types, evaluation, checks and the standard library.
