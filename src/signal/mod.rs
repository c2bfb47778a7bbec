//! Floor 1: pure mathematics on samples.
//!
//! Knows no tape, file, clock or thread. Everything here is driven by samples
//! and deterministic: the same samples give the same numbers.

pub mod tone;
