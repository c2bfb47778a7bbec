//! Floor 5: files that must never be lost.
//!
//! [`Record`] is a file of [`Snapshot`]s, [`Clocks`] one of the sample clocks
//! that were measured; both hold one JSON object a line and are only ever
//! appended to. [`cards`] are the files of cards of tapes and parts, [`whole`] writes what is
//! there whole or not at all, [`LogFile`] is a log that grows by the second.
//! [`places`] says where they lie when nobody says otherwise.

pub mod cards;
mod clocks;
mod lines;
mod log;
pub mod places;
mod record;
mod run;
mod snapshot;
pub mod whole;

pub use clocks::{Against, ClockFigure, Clocks};
pub use lines::{Fault, LinesError, LinesWarning};
pub use log::{LogError, LogFile};
pub use record::Record;
pub use run::{Direction, Run};
pub use snapshot::{Label, Snapshot};
