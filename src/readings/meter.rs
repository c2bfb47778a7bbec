//! What measures a recording, whatever its reference: takes its samples, gives
//! the measurement at the end.

use std::sync::Arc;

use super::course::SteadyParts;
use super::measurement::Measurement;
use super::sweep::SweepReport;

/// See the module.
pub trait Meter {
    /// Takes whole frames, in the order of the recording; blocks of any size.
    fn push(&mut self, interleaved: &[f32]);

    /// What came of everything pushed so far.
    fn measurement(&self) -> Measurement;

    /// The parts of it, where the speed was followed from moment to moment.
    fn parts(&self) -> Option<SteadyParts> {
        None
    }

    /// The wiper check, where it was asked for and this reference can show it.
    fn end_sweep(&mut self) -> Option<Arc<SweepReport>> {
        None
    }
}
