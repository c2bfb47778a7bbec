//! The wiper check within the engine.

use std::sync::Arc;

use super::Engine;
use crate::readings::judge::ambiguous;
use crate::readings::sweep::{
    SweepRecorder, SweepReport, SweepVerdict, Sweeping, Unclear, judge_track_within,
};
use crate::units::{Hertz, Percent};

/// None, under way, or done.
#[derive(Default)]
pub(super) enum Sweeps {
    #[default]
    None,
    Running(Box<SweepRecorder>),
    Done(Arc<SweepReport>),
}

impl Sweeps {
    /// Does something to the record, while one is made.
    pub(super) fn each(&mut self, act: impl FnOnce(&mut SweepRecorder)) {
        if let Self::Running(recorder) = self {
            act(recorder);
        }
    }
}

impl Engine {
    /// Begins a wiper check: from here on the trimmer is turned through its
    /// range and back. Forgets an earlier one.
    pub fn begin_sweep(&mut self) {
        let recorder = SweepRecorder::new(self.digit_rate_hz(), self.per_digit);
        self.sweeps = Sweeps::Running(Box::new(recorder));
    }

    /// Ends it and judges it; the result is returned and stays in
    /// [`Reading::sweep`](crate::readings::Reading::sweep) until
    /// [`Engine::forget_sweep`]. `None` when none is under way.
    pub fn end_sweep(&mut self) -> Option<Arc<SweepReport>> {
        let Sweeps::Running(recorder) = &self.sweeps else {
            return None;
        };
        let mut report = if self.nominal.is_some() || !recorder.has_tone() {
            let track = recorder.deviations(|hz| self.sweep_deviation(hz));
            judge_track_within(&track, recorder.rate_hz(), self.settings.tolerance)
        } else {
            SweepReport::unclear(Unclear::WhichTone)
        };
        // Where right speed lies is known no better than the tone.
        if report.verdict == SweepVerdict::NearEnd && self.could_be_another_tone(&report) {
            report.verdict = SweepVerdict::Unclear;
            report.unclear = Some(Unclear::WhichTone);
        }
        let report = Arc::new(report);
        self.sweeps = Sweeps::Done(Arc::clone(&report));
        Some(report)
    }

    /// Nobody has said which tone the tape carries, and another usual one would
    /// put right speed elsewhere in the range.
    fn could_be_another_tone(&self, report: &SweepReport) -> bool {
        let is_other = |(taken, ends): (Hertz, [Percent; 2])| {
            ends.iter()
                .any(|end| ambiguous(Hertz(taken.0 * (1.0 + end.0 / 100.0)), taken).is_some())
        };
        self.settings.conditions.nominal.is_open()
            && self.nominal.zip(report.range).is_some_and(is_other)
    }

    pub(super) fn is_swept(&self) -> bool {
        matches!(self.sweeps, Sweeps::Running(_))
    }

    /// Stops a sweep without judging it, or forgets what came of it.
    pub fn forget_sweep(&mut self) {
        self.sweeps = Sweeps::None;
    }

    pub(super) fn sweeping(&self) -> Option<Sweeping> {
        match &self.sweeps {
            Sweeps::None => None,
            Sweeps::Running(recorder) => Some(Sweeping::Running(
                recorder.progress(|hz| self.sweep_deviation(hz)),
            )),
            Sweeps::Done(report) => Some(Sweeping::Done(Arc::clone(report))),
        }
    }

    fn sweep_deviation(&self, hz: f64) -> Percent {
        let nominal = self.nominal.unwrap_or(Hertz(hz));
        self.settings.conditions.deviation(Hertz(hz), nominal)
    }
}
