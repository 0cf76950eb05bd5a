//! Byte spans, line index and position encodings.
