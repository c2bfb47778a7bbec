//! The wiper check as the screen knows it: begun, ended, stopped, and the
//! sweeps of this sitting.

use std::sync::Arc;

use super::view::View;
use super::{Effect, ScreenState};
use crate::audio::analysis::Request;
use crate::audio::rehearsal_source::BenchCommand;
use crate::readings::{BadSpot, ReferenceKind, SweepReport, SweepVerdict, Sweeping};
use crate::report::sweep::Between;

/// Jumps of milliseconds do not show in anything else.
const NEEDS_A_TONE: &str = "the wiper check needs a tone: play a tape with one, and choose it (0)";

/// A sweep of this sitting.
#[derive(Clone, Debug)]
pub struct Swept {
    /// What came of it.
    pub report: Arc<SweepReport>,
    /// The trimmer was cleaned since the one before.
    pub cleaned: bool,
}

impl Swept {
    fn says_something(&self) -> bool {
        self.report.verdict != SweepVerdict::Unclear
    }
}

impl ScreenState {
    /// The sweep that is under way, or the last one.
    pub fn sweeping(&self) -> Option<&Sweeping> {
        self.reading().and_then(|reading| reading.sweep.as_ref())
    }

    /// The newest sweep that was judged.
    pub fn newest_sweep(&self) -> Option<&SweepReport> {
        self.sweeps.last().map(|swept| swept.report.as_ref())
    }

    /// The sweep that the newest is to be held against, and what was done
    /// between them: the last one before the newest cleaning, or else simply
    /// the last one. One that says nothing is passed over.
    pub(in crate::screen) fn earlier_sweep(&self) -> Option<(&Arc<SweepReport>, Between)> {
        let (_, before) = self.sweeps.split_last()?;
        let cleaned = self.sweeps.iter().rposition(|swept| swept.cleaned);
        let judged = |all: &[Swept]| all.iter().rposition(Swept::says_something);
        let before_cleaning = cleaned.and_then(|at| judged(&self.sweeps[..at]));
        if let Some(at) = before_cleaning {
            let between = Between::Cleaned(self.honest_cleanings());
            return Some((&self.sweeps[at].report, between));
        }
        let at = judged(before)?;
        Some((&before[at].report, Between::Nothing))
    }

    /// How often it was cleaned before the newest sweep, as far as a snapshot
    /// can say it: one that was cleaned without need is neither clean nor not.
    pub(in crate::screen) fn known_cleanings(&self) -> Option<usize> {
        self.newest_sweep()?;
        match self.earlier_sweep() {
            Some((_, Between::Cleaned(0))) => None,
            Some((_, Between::Cleaned(times))) => Some(times),
            _ => Some(0),
        }
    }

    /// Cleanings after a sweep that found something bad, and with a sweep after
    /// them that says something.
    fn honest_cleanings(&self) -> usize {
        let bad = |swept: &Swept| swept.report.verdict == SweepVerdict::Erratic;
        let first_bad = self.sweeps.iter().skip_while(|swept| !bad(swept));
        first_bad.skip(1).filter(|swept| swept.cleaned).count()
    }

    /// What the newest sweep says has been answered by cleaning as often as
    /// that may help.
    pub(in crate::screen) fn wants_a_new_trimmer(&self) -> bool {
        let both = self.newest_sweep().zip(self.earlier_sweep());
        both.is_some_and(|(newest, (_, between))| between.asks_for_a_new_one(newest))
    }

    /// The newest sweep that says something found the wiper bad where the
    /// trimmer will stand, and it was not cleaned since.
    pub(in crate::screen) fn has_bad_wiper(&self) -> bool {
        let mut judged = self.sweeps.iter().filter(|swept| swept.says_something());
        !self.cleaned_since_sweep
            && judged.next_back().is_some_and(|swept| {
                let mut bad = swept.report.bad_spots.iter();
                bad.any(BadSpot::is_near_right_speed)
            })
    }

    /// The trimmer has been cleaned.
    pub(in crate::screen) fn was_cleaned(&mut self) {
        self.cleaned_since_sweep = true;
    }

    pub(in crate::screen) fn is_sweeping(&self) -> bool {
        matches!(self.sweeping(), Some(Sweeping::Running(_)))
    }

    /// Opens the view and begins, or ends what is under way.
    pub(in crate::screen) fn sweep(&mut self) -> Vec<Effect> {
        if self.conditions.kind != ReferenceKind::Tone {
            return self.say(NEEDS_A_TONE);
        }
        self.view = View::Wiper;
        self.follow_view();
        if self.is_sweeping() {
            return vec![Effect::Ask(Request::EndSweep)];
        }
        if !self.is_live() {
            return self.say("nothing to check: nothing new comes in");
        }
        vec![Effect::Ask(Request::BeginSweep)]
    }

    pub(in crate::screen) fn sweep_by_hand(&mut self) -> Vec<Effect> {
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
    pub(in crate::screen) fn leave_wiper(&mut self) -> Vec<Effect> {
        if self.is_sweeping() {
            self.message = Some("the sweep was stopped and not judged; w begins anew".to_owned());
            return vec![Effect::Ask(Request::ForgetSweep)];
        }
        self.view = View::Bench;
        Vec::new()
    }

    /// A sweep has been judged: it joins those of this sitting, once.
    pub(in crate::screen) fn take_sweep(&mut self, report: &Arc<SweepReport>) -> Vec<Effect> {
        let known = self.last_sweep.as_ref();
        if known.is_some_and(|last| Arc::ptr_eq(last, report)) {
            return Vec::new();
        }
        self.last_sweep = Some(Arc::clone(report));
        // One that says nothing leaves it open what cleaning did.
        let says_something = report.verdict != SweepVerdict::Unclear;
        self.sweeps.push(Swept {
            report: Arc::clone(report),
            cleaned: says_something && std::mem::take(&mut self.cleaned_since_sweep),
        });
        self.follow_sweep(report);
        self.keep_sweep(report)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Unclear;
    use crate::screen::specimen;
    use crate::screen::state::SourceKind;

    fn report(verdict: SweepVerdict) -> Arc<SweepReport> {
        Arc::new(SweepReport {
            verdict,
            ..SweepReport::unclear(Unclear::NoTone)
        })
    }

    #[test]
    fn the_last_sweep_before_cleaning_stays_beside_the_newest() {
        let mut state = specimen::state(SourceKind::Input);
        let bad = report(SweepVerdict::Erratic);
        let _ = state.take_sweep(&bad);
        assert!(state.earlier_sweep().is_none());
        state.was_cleaned();
        // Ended too early, and then as it should be.
        let _ = state.take_sweep(&report(SweepVerdict::Unclear));
        let _ = state.take_sweep(&report(SweepVerdict::Smooth));
        let (earlier, between) = state.earlier_sweep().expect("there is one");
        assert!(Arc::ptr_eq(earlier, &bad));
        assert_eq!(between, Between::Cleaned(1));
    }

    #[test]
    fn after_two_cleanings_with_a_sweep_before_each_it_asks_for_a_new_one() {
        let mut state = specimen::state(SourceKind::Input);
        let bad = || {
            Arc::new(SweepReport {
                bad_spots: vec![specimen::bad_spot(0.4)],
                ..SweepReport::clone(&report(SweepVerdict::Erratic))
            })
        };
        // Cleaned before anything was known of it: that is no answer to a sweep.
        state.was_cleaned();
        for cleanings in 0..3 {
            let _ = state.take_sweep(&bad());
            assert_eq!(state.wants_a_new_trimmer(), cleanings == 2, "{cleanings}");
            assert_eq!(state.wants_cleaning(), cleanings < 2, "{cleanings}");
            assert_eq!(state.known_cleanings(), Some(cleanings));
            assert!(state.has_bad_wiper());
            state.was_cleaned();
            assert!(!state.has_bad_wiper());
        }
    }

    #[test]
    fn without_cleaning_nothing_is_said_of_it() {
        let mut state = specimen::state(SourceKind::Input);
        let _ = state.take_sweep(&report(SweepVerdict::Smooth));
        let _ = state.take_sweep(&report(SweepVerdict::Erratic));
        let (_, between) = state.earlier_sweep().expect("there is one");
        assert_eq!(between, Between::Nothing);
    }
}
