//! By what right speed is known.

use std::sync::Arc;

use super::matching::Copy;
use crate::units::Seconds;

/// What an engine measures by, beside what its conditions say.
#[derive(Clone, Debug, Default)]
pub enum Target {
    /// The frequency that the conditions name.
    #[default]
    Frequency,
    /// A time at right speed: length of a passage, or spacing of marks.
    Time(Seconds),
    /// A digital copy of the recording on the tape.
    Copy(Arc<Copy>),
}
