//! What was found of a familiar recording, as plain values.

use serde::{Deserialize, Serialize};

use crate::units::Seconds;

/// Where the tape is in its digital copy.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MatchFigures {
    /// Whether tape and copy are the same recording, as far as can be heard.
    pub accepted: bool,
    /// Place in the copy at which the measured stretch begins; negative where
    /// it begins before the copy, `None` where no place was accepted.
    pub at_copy: Option<Seconds>,
    /// Median of how far single places lie off the line of place against
    /// time: wow, and what the ear for places errs. Of a place that was
    /// refused too; `None` where none was looked at closely.
    pub residual: Option<Seconds>,
    /// Sound that was followed.
    pub followed: Seconds,
}
