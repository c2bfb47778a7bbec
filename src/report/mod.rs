//! Floor 6: readings and records as text and JSON, one file a format. Turns
//! values into strings; writes no file and measures nothing.

mod ascii;
pub mod budget;
mod cautions;
pub mod channels;
pub mod comparison;
pub mod contact;
pub mod faults;
pub mod history;
#[cfg(test)]
#[path = "../../tests/support/invented.rs"]
pub(crate) mod invented;
pub mod jobs;
pub mod json;
pub mod lines;
mod lines_changed;
pub mod listing;
mod log;
mod log_summary;
pub mod numbers;
pub mod pictures;
#[cfg(test)]
mod sample;
pub mod several;
pub mod sheet;
pub mod supply;
pub mod sweep;
pub mod tables;
pub mod text;
mod timed;
mod troubles;
mod wavering_json;
mod words;

pub use ascii::ascii;
pub use log::{LogHead, LogLine, LogLines, LogSecond};
pub use log_summary::LogSummary;
pub use troubles::{capital, clause, noun, off_by, trouble};
pub use words::{band, channel, clock_source, lines_of, worth};

use crate::readings::contact::ContactReport;
use crate::readings::{CautionCode, Conditions, Measurement, SweepReport};
use crate::references::parts::PartsCard;
use crate::references::{TapeCard, Tolerance};

/// One file of `tapewright read`: what is reported of it, measured or not.
#[derive(Debug)]
pub struct FileReport<'a> {
    /// The file as the user named it.
    pub file: &'a str,
    /// What came of it.
    pub result: FileResult<'a>,
    /// When it counts as right.
    pub tolerance: Tolerance,
    /// Card of the tape that was played.
    pub tape: Option<&'a TapeCard>,
    /// Card of the parts that lines were held against.
    pub parts: Option<&'a PartsCard>,
    /// What came of the wiper check, where one was asked for.
    pub sweep: Option<&'a SweepReport>,
    /// What came of the contact check, where one was asked for.
    pub contact: Option<ContactResult<'a>>,
}

impl<'a> FileReport<'a> {
    /// With the usual band, no card and no check.
    pub fn of(file: &'a str, result: FileResult<'a>) -> Self {
        Self {
            file,
            result,
            tolerance: Tolerance::default(),
            tape: None,
            parts: None,
            sweep: None,
            contact: None,
        }
    }
}

/// A contact check that was asked for; `None` where the file could not be read.
pub type ContactResult<'a> = Option<&'a ContactReport>;

/// What came of a file.
#[derive(Debug)]
pub enum FileResult<'a> {
    /// It was read.
    Measured(&'a Measurement),
    /// It was not: it could not be read, or there was nothing to hold it
    /// against.
    NotMeasured {
        /// What it would have been taken against.
        conditions: &'a Conditions,
        /// Of what happened, for scripts.
        code: CautionCode,
        /// The same in one sentence.
        reason: &'a str,
    },
}
