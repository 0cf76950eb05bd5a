//! What an editor asks, in offsets and strings, without protocol types.
