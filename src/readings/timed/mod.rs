//! Speed against a time instead of a frequency: a passage of known length, or
//! marks at a known spacing.
//!
//! A meter takes the samples of a recording and keeps their power a thousand
//! times a second; what it says comes at the end. `live` shows them while they play. Only the mean speed can be
//! had from either: no drift, no flutter.

mod figures;
mod listening;
mod live;
mod marks;
mod moved;
mod passage;
mod summary;

pub use figures::{MarksFigures, PassageFigures};
pub use live::{LiveTimed, PassageState, Progress};
pub use marks::MarksMeter;
pub use passage::PassageMeter;
