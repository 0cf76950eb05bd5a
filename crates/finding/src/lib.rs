//! Finding codes, levels, places and fixes.
