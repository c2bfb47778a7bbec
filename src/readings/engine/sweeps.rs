//! The wiper check within the engine.

use std::sync::Arc;

use super::Engine;
use crate::readings::sweep::{SweepRecorder, SweepReport, Sweeping, Unclear, judge_track_within};
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
    pub(super) fn tick(&mut self) {
        if let Self::Running(recorder) = self {
            recorder.tick();
        }
    }

    pub(super) fn push(&mut self, hz: f64) {
        if let Self::Running(recorder) = self {
            recorder.push(hz);
        }
    }

    pub(super) fn found(&mut self) {
        if let Self::Running(recorder) = self {
            recorder.found();
        }
    }

    pub(super) fn refuse_piece(&mut self) {
        if let Self::Running(recorder) = self {
            recorder.refuse_piece();
        }
    }

    pub(super) fn gap(&mut self, ticks: u64) {
        if let Self::Running(recorder) = self {
            recorder.gap(ticks);
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
        let report = if self.nominal.is_some() || !recorder.has_tone() {
            let track = recorder.deviations(|hz| self.sweep_deviation(hz));
            judge_track_within(&track, recorder.rate_hz(), self.settings.tolerance)
        } else {
            SweepReport::unclear(Unclear::WhichTone)
        };
        let report = Arc::new(report);
        self.sweeps = Sweeps::Done(Arc::clone(&report));
        Some(report)
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
