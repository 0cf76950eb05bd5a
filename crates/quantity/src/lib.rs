//! Dimensions, kinds of quantity, units, toleranced values and their display.
