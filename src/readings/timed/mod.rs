//! Speed against a time instead of a frequency: a passage of known length, or
//! marks at a known spacing.
//!
//! A meter takes samples and keeps their power a thousand times a second; what
//! it says comes at the end. `live` uses the same meters while they play. Only
//! the mean speed can be had from either: no drift, no flutter.

mod listening;
mod live;
mod marks;
mod moved;
mod passage;
mod scatter;
mod summary;

pub(super) use live::{LiveTimed, live};
pub use marks::MarksMeter;
pub use passage::PassageMeter;
