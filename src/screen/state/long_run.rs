//! Start, middle and end of a tape from one long run: stretch after stretch is
//! measured while the tape plays through, and the first, the middle and the
//! last of them are kept.

use std::sync::Arc;

use super::update::KEEP;
use super::{Effect, ScreenState, Slot};
use crate::audio::analysis::Request;
use crate::readings::{Measurement, Position};

/// The stretches of a long run so far, in the order of the tape.
#[derive(Clone, Debug, Default)]
pub struct LongRun {
    stretches: Vec<Arc<Measurement>>,
}

impl LongRun {
    /// How many stretches have been measured.
    pub fn stretches(&self) -> usize {
        self.stretches.len()
    }
}

impl ScreenState {
    /// Begins a long run, or ends it.
    pub(in crate::screen) fn long_run_key(&mut self) -> Vec<Effect> {
        if self.long_run.is_some() {
            return self.end_long_run();
        }
        let effects = self.keep(Slot::Along(Position::Start));
        if !effects.is_empty() {
            self.long_run = Some(LongRun::default());
            self.message = Some(
                "long run: play the tape from its start; the end of the tone, or y, ends it"
                    .to_owned(),
            );
        }
        effects
    }

    /// A stretch is complete: the next one begins at once.
    pub(in crate::screen) fn next_of_long_run(
        &mut self,
        measurement: &Arc<Measurement>,
    ) -> Vec<Effect> {
        if let Some(long_run) = &mut self.long_run {
            long_run.stretches.push(Arc::clone(measurement));
        }
        self.keeping = Some(Slot::Along(Position::Start));
        vec![Effect::Ask(Request::Keep(KEEP))]
    }

    /// The first stretch is the start, the last one the end.
    pub(in crate::screen) fn end_long_run(&mut self) -> Vec<Effect> {
        self.keeping = None;
        let stretches = self.long_run.take().unwrap_or_default().stretches;
        let mut effects = vec![Effect::Ask(Request::ForgetKept)];
        if stretches.len() < Position::ALL.len() {
            self.message = Some(
                "too short: start, middle and end need a stretch of ten to thirty \
                 seconds each"
                    .to_owned(),
            );
            return effects;
        }
        let places = [0, stretches.len() / 2, stretches.len() - 1];
        for (position, at) in Position::ALL.into_iter().zip(places) {
            effects.push(self.keep_measured(Slot::Along(position), &stretches[at]));
        }
        effects
    }
}
