//! Floor 5: files that must never be lost.
//!
//! A [`JobFile`] holds what was kept of one machine while it was worked on,
//! [`jobs`] finds them; [`Record`] is a file of [`Snapshot`]s as earlier versions
//! wrote it, [`Clocks`] one of the sample clocks that were measured. All of them
//! hold one JSON object a line and are only ever appended to. [`cards`] are the files of cards of tapes and parts, [`whole`] writes what is
//! there whole or not at all, [`LogFile`] is a log that grows by the second,
//! [`Unfinished`] what is done of a long piece of work.
//! [`places`] says where they lie when nobody says otherwise.

pub mod cards;
mod clocks;
mod job;
pub mod jobs;
mod lines;
mod log;
mod pairs;
pub mod places;
mod record;
mod run;
mod snapshot;
mod unfinished;
pub mod whole;

pub use clocks::{Against, ClockFigure, Clocks};
pub use job::{About, Correction, Entry, Job, JobFile, Note, WiperCheck};
pub use lines::{Fault, LinesError, LinesWarning};
pub use log::{LogError, LogFile};
pub use pairs::{BeforeAfter, newest_pair, pairs};
pub use record::Record;
pub use run::{Direction, Run};
pub use snapshot::{Label, Snapshot};
pub use unfinished::{Stamp, Unfinished, UnfinishedError};
