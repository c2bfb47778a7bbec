//! What the speed is known by while it is followed. A new kind of reference is
//! one implementation, beside what finds it.

use super::found::PlaceInCopy;
use super::judge::CAPTURE;
use super::measurement::Measurement;
use super::settings::Settings;
use super::stretch::Stretch;
use super::values::Problem;
use crate::signal::speed_tracker::SpeedTracker;
use crate::signal::tracker::Tracker;
use crate::units::Percent;

/// What one kind of reference does otherwise than a tone.
pub(super) trait Followed: SpeedTracker {
    /// Where it is looked for, as parts of the nominal frequency.
    fn capture(&self) -> [f64; 2] {
        CAPTURE
    }

    /// 95 % of what its partials leave open of the pitch, where it has any.
    fn partials(&self) -> Option<Percent> {
        None
    }

    /// Troubles of a tone get the names that they have with this.
    fn name_problems(&self, _problems: &mut [Problem]) {}

    /// Where the tape is in its copy, where there is one.
    fn place(&self) -> Option<PlaceInCopy> {
        None
    }

    /// The measurement of a stretch that has just ended.
    fn finish(&self, assembled: Measurement, _: &Stretch, _: &Settings) -> Measurement {
        assembled
    }
}

impl Followed for Tracker {}

/// Right speed is a time: others listen.
pub(super) struct Nothing;

impl SpeedTracker for Nothing {}

impl Followed for Nothing {}
