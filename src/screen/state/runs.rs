//! A machine with several speeds or directions: one run of the whole job for
//! each, with its own target, strip of steps and snapshots.
//!
//! The order is that of the work, common practice, no source: the highest
//! speed first, since what is set there often moves the lower ones; at each
//! speed forward before reverse, since forward is what most tapes are played
//! by and many machines derive reverse from it. Trimmers influence each other,
//! so a speed that was set before another one was trimmed is measured again,
//! round by round, until none has moved by more than its ±.

use super::routine::{Routine, Step};
use super::view::View;
use super::{Effect, Kept, ScreenState, Slot};
use crate::audio::analysis::Request;
use crate::audio::rehearsal_source::BenchCommand;
use crate::readings::{Along, Nominal, Place};
use crate::records::Run;
use crate::screen::look::Look;
use crate::screen::state::wiper::Swept;
use crate::screen::words::with_uncertainty;

/// One speed and direction, and what is right there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlannedRun {
    /// Which.
    pub run: Run,
    /// The tone that its tape carries.
    pub nominal: Nominal,
}

/// How a run stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum RunMark {
    /// No after was kept yet, or it has to be trimmed again.
    #[default]
    Open,
    /// Its after was kept, and nothing was trimmed elsewhere since.
    Set,
    /// It was set, but another was trimmed since: to be measured again.
    Doubtful,
}

/// The runs of a sitting; none where the machine has one speed and direction.
#[derive(Clone, Debug, Default)]
pub struct Runs {
    all: Vec<OneRun>,
    at: usize,
    round: u32,
    /// What was found as a run was measured again; said once more when that
    /// is saved.
    found: Option<String>,
}

#[derive(Clone, Debug)]
struct OneRun {
    planned: PlannedRun,
    mark: RunMark,
    /// The last figure of this run that what is kept next is set against.
    last: Option<Place>,
    /// How its strip, its sweeps and its tone stood when it was left.
    left: Option<Left>,
}

#[derive(Clone, Debug)]
struct Left {
    routine: Routine,
    sweeps: Vec<Swept>,
}

impl Runs {
    /// In this order; none at all where the machine has one speed and direction.
    pub fn new(planned: impl IntoIterator<Item = PlannedRun>) -> Self {
        let all = planned.into_iter().map(|planned| OneRun {
            planned,
            mark: RunMark::Open,
            last: None,
            left: None,
        });
        Self {
            all: all.collect(),
            at: 0,
            round: 1,
            found: None,
        }
    }

    /// Which is on; `None` where nobody said that there are several.
    pub fn on(&self) -> Option<Run> {
        self.all.get(self.at).map(|one| one.planned.run)
    }

    /// More than one to be worked.
    pub fn are_several(&self) -> bool {
        self.all.len() > 1
    }

    /// Its number among all, from 1, and how many there are.
    pub fn number(&self) -> (usize, usize) {
        (self.at + 1, self.all.len())
    }

    /// How often it has gone round, from 1.
    pub fn round(&self) -> u32 {
        self.round
    }

    /// All in the order of the work, with how they stand.
    pub fn marks(&self) -> impl Iterator<Item = (Run, RunMark)> {
        self.all.iter().map(|one| (one.planned.run, one.mark))
    }

    /// What was found as a run was measured again, once.
    pub(in crate::screen) fn take_found(&mut self) -> Option<String> {
        self.found.take()
    }

    /// Which comes next in the order of the work and round again: the first
    /// that is not set.
    pub(in crate::screen) fn next_to_do(&self) -> Option<usize> {
        let count = self.all.len();
        (1..count)
            .map(|step| (self.at + step) % count)
            .find(|at| self.all[*at].mark != RunMark::Set)
    }
}

/// From one figure of a run to the next, clock and reference left out.
fn shift(from: Place, to: Place) -> Along {
    Along::of(from, None, to)
}

fn words(look: Look, along: &Along) -> String {
    let known = Some(along.change_uncertainty);
    format!("{} %", with_uncertainty(look, along.change.0, known))
}

impl ScreenState {
    /// The key for the next speed or direction.
    pub(in crate::screen) fn next_run(&mut self) -> Vec<Effect> {
        let count = self.runs.all.len();
        if count < 2 {
            return self.say("there is one run only; for more start with --speeds or --directions");
        }
        if self.is_sweeping() || self.is_checking_contact() {
            return self.say("a check is under way: Space ends it, Esc stops it, then d");
        }
        let next = (self.runs.at + 1) % count;
        self.switch_run(self.runs.next_to_do().unwrap_or(next))
    }

    /// Goes to a run; what was being kept of the present one is not.
    pub(in crate::screen) fn switch_run(&mut self, to: usize) -> Vec<Effect> {
        let stopped = self.keeping.take();
        self.long_run = None;
        self.view = View::Bench;
        self.heard.forget();
        let (routine, mark) = self.exchange(to);
        self.routine = routine;
        let one = &self.runs.all[to];
        let (run, nominal) = (one.planned.run, one.planned.nominal);
        self.conditions.nominal = nominal;
        let (number, count) = self.runs.number();
        let mut said = format!("run {number} of {count}: switch the machine to {run}");
        match mark {
            RunMark::Doubtful => {
                said += "; go round again: another was trimmed since, so Space measures it again";
            }
            RunMark::Set => said += "; it is set already",
            RunMark::Open => {}
        }
        if let Some(slot) = stopped {
            said = format!("{} was not kept; {said}", slot.name());
        }
        self.message = Some(said);
        let mut effects = vec![Effect::Ask(Request::OtherRun(nominal))];
        if self.bench.is_some() {
            effects.push(Effect::Bench(BenchCommand::Run(to)));
        }
        effects
    }

    /// Puts the strip and the sweeps of the present run aside and takes those
    /// of another.
    fn exchange(&mut self, to: usize) -> (Routine, RunMark) {
        let from = &mut self.runs.all[self.runs.at];
        // Somebody may have chosen the tone meanwhile.
        from.planned.nominal = self.conditions.nominal;
        from.left = Some(Left {
            routine: self.routine,
            sweeps: std::mem::take(&mut self.sweeps),
        });
        let anything_set = self.runs.all.iter().any(|one| one.mark != RunMark::Open);
        if to <= self.runs.at && anything_set {
            self.runs.round += 1;
        }
        self.runs.at = to;
        let one = &mut self.runs.all[to];
        let mut routine = if let Some(left) = one.left.take() {
            self.sweeps = left.sweeps;
            left.routine
        } else {
            self.routine.of_another_run()
        };
        let mark = self.runs.all[to].mark;
        if mark == RunMark::Doubtful {
            routine.measure_again();
        }
        (routine, mark)
    }

    /// Something was kept in a sitting of several runs: has this one moved,
    /// and may the others have?
    pub(in crate::screen) fn follow_run(&mut self, kept: &Kept) {
        if !self.runs.are_several() {
            return;
        }
        let at = self.runs.at;
        let now = kept.measurement.speed.as_ref().and_then(Place::of);
        let one = &mut self.runs.all[at];
        let last = one.last;
        let was = one.mark;
        match kept.slot {
            // What was set is what the doubt is about.
            Slot::Before if was == RunMark::Doubtful => {}
            Slot::Before => one.last = now.or(last),
            Slot::After => {
                one.last = now.or(last);
                one.mark = RunMark::Set;
                let shift = last.zip(now).map(|(last, now)| shift(last, now));
                if was == RunMark::Doubtful {
                    self.judge_again(shift, kept);
                } else if shift.is_none_or(|shift| shift.is_sloping()) {
                    self.doubt_others();
                }
            }
            Slot::Along(_) | Slot::Named(_) => {}
        }
    }

    /// It was measured again, untouched, after another was trimmed.
    fn judge_again(&mut self, shift: Option<Along>, kept: &Kept) {
        let look = self.look;
        let sign = look.plus_minus();
        let Some(run) = self.runs.on() else { return };
        let moved = shift.filter(Along::is_sloping);
        let found = match (shift, moved) {
            (None, _) => {
                self.runs.all[self.runs.at].mark = RunMark::Doubtful;
                format!("{run}: no {sign} known, so it may have moved; keep it again")
            }
            (Some(shift), None) => {
                let by = words(look, &shift);
                format!("{run} has not moved by more than its {sign}: {by}")
            }
            (_, Some(shift)) if self.is_within_band(kept) => format!(
                "{run} moved by {}, the trimmers influence each other; it is still within the \
                 band, and Backspace goes back to the trimmer",
                words(look, &shift)
            ),
            (_, Some(shift)) => {
                self.runs.all[self.runs.at].mark = RunMark::Open;
                self.routine.trim_again();
                format!(
                    "{run} moved by {}: the trimmers influence each other; trim it again, then \
                     go round again until none has moved by more than its {sign}",
                    words(look, &shift)
                )
            }
        };
        self.message = Some(found.clone());
        self.runs.found = Some(found);
    }

    fn is_within_band(&self, kept: &Kept) -> bool {
        let speed = kept.measurement.speed.as_ref();
        speed.is_some_and(|it| it.deviation.0.abs() <= self.tolerance.half_width.0)
    }

    /// This one was trimmed: what was set elsewhere is to be measured again.
    fn doubt_others(&mut self) {
        let at = self.runs.at;
        let others = self.runs.all.iter_mut().enumerate();
        for (_, one) in others.filter(|(other, _)| *other != at) {
            if one.mark == RunMark::Set {
                one.mark = RunMark::Doubtful;
            }
        }
    }

    /// What the key that goes on does once all steps of this run are done;
    /// `None` where no run is left.
    pub(in crate::screen) fn leave_run(&mut self) -> Option<Vec<Effect>> {
        let next = self.runs.next_to_do()?;
        Some(self.switch_run(next))
    }

    /// All runs are set and none is in doubt.
    pub(in crate::screen) fn all_runs_are_set(&self) -> bool {
        let all = &self.runs.all;
        self.runs.are_several() && all.iter().all(|one| one.mark == RunMark::Set)
    }
}

impl Routine {
    /// For another speed or direction of the same machine: it is connected and
    /// warm, the rest is to be done.
    fn of_another_run(&self) -> Self {
        let mut routine = Self::default();
        for step in [Step::Connect, Step::Signal, Step::WarmUp] {
            if self.is_done(step) {
                routine.tick(step);
            }
        }
        if self.has_no_trimmer() {
            routine.leave_trimmer_out();
        }
        routine.go_to(Step::Before);
        routine
    }

    /// Only what an after needs.
    fn measure_again(&mut self) {
        self.untick(Step::After);
        self.go_to(Step::After);
    }

    fn trim_again(&mut self) {
        for step in [Step::Trim, Step::HandsOff, Step::After] {
            self.untick(step);
        }
        self.go_to(Step::Trim);
    }
}
