//! Speed against a time instead of a frequency: a passage of known length, or
//! marks at a known spacing.

mod figures;

pub use figures::{MarksFigures, PassageFigures};
