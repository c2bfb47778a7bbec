//! The wiper check as the screen knows it: begun, ended, stopped, and the
//! sweeps of this sitting.

use std::sync::Arc;

use super::state::{Effect, ScreenState};
use super::view::View;
use crate::audio::analysis::Request;
use crate::audio::rehearsal_source::BenchCommand;
use crate::readings::{ReferenceKind, SweepReport, Sweeping};

/// Jumps of milliseconds do not show in anything else.
const NEEDS_A_TONE: &str = "the wiper check needs a tone: play a tape with one, and start with \
    --reference tone:HZ";

impl ScreenState {
    /// The sweep that is under way, or the last one.
    pub fn sweeping(&self) -> Option<&Sweeping> {
        self.reading().and_then(|reading| reading.sweep.as_ref())
    }

    /// The newest sweep that was judged.
    pub fn newest_sweep(&self) -> Option<&SweepReport> {
        self.sweeps.last().map(Arc::as_ref)
    }

    pub(super) fn is_sweeping(&self) -> bool {
        matches!(self.sweeping(), Some(Sweeping::Running(_)))
    }

    /// Opens the view and begins, or ends what is under way.
    pub(super) fn sweep(&mut self) -> Vec<Effect> {
        if self.conditions.kind != ReferenceKind::Tone {
            self.message = Some(NEEDS_A_TONE.to_owned());
            return Vec::new();
        }
        self.view = View::Wiper;
        self.uncover();
        self.follow_view();
        if self.is_sweeping() {
            return vec![Effect::Ask(Request::EndSweep)];
        }
        if !self.is_live() {
            self.message = Some("nothing to check: no samples come in".to_owned());
            return Vec::new();
        }
        vec![Effect::Ask(Request::BeginSweep)]
    }

    pub(super) fn sweep_by_hand(&mut self) -> Vec<Effect> {
        let mut effects = if self.is_sweeping() {
            Vec::new()
        } else {
            self.sweep()
        };
        effects.push(Effect::Bench(BenchCommand::Sweep));
        effects
    }

    /// Stops a sweep without judging it; where none is under way, goes back to
    /// the bench.
    pub(super) fn leave_wiper(&mut self) -> Vec<Effect> {
        if self.is_sweeping() {
            self.message = Some("the sweep was stopped and not judged; w begins anew".to_owned());
            return vec![Effect::Ask(Request::ForgetSweep)];
        }
        self.view = View::Bench;
        Vec::new()
    }

    /// A sweep has been judged: it joins those of this sitting, once.
    pub(super) fn take_sweep(&mut self, report: &Arc<SweepReport>) {
        let known = self.last_sweep.as_ref();
        if !known.is_some_and(|last| Arc::ptr_eq(last, report)) {
            self.last_sweep = Some(Arc::clone(report));
            self.sweeps.push(Arc::clone(report));
            self.follow_sweep(report);
        }
    }
}
