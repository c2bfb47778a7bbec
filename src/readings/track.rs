//! Speed and flutter against time, in even steps: what a pen would have drawn.

use serde::{Deserialize, Serialize};

use crate::units::{Percent, Seconds};

/// Speed and flutter of a stretch against time. Both series have the same step
/// and begin at the same moment; `None` where there was no reading.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Track {
    /// When the first step begins, since the stretch began.
    #[serde(default)]
    pub from: Seconds,
    /// From one value to the next.
    pub step: Seconds,
    /// Mean deviation in each step; positive is fast.
    pub speed: Vec<Option<Percent>>,
    /// Highest reading of the weighted quasi-peak indicator (IEC 60386) in each
    /// step; `None` too before the filter has settled.
    pub flutter: Vec<Option<Percent>>,
}
