//! What the keys of the strip do, and how it follows what is done elsewhere.

use super::now::is_readable;
use super::{Mark, Step};
use crate::audio::analysis::{Request, SourceState};
use crate::audio::rehearsal_source::{BenchCommand, BenchStatus};
use crate::readings::{
    Holding, Keeping, Position, Reading, SweepReport, SweepVerdict, Verdict, Warming,
};
use crate::screen::state::heard::RUN_UP;
use crate::screen::state::view::View;
use crate::screen::state::{Effect, ScreenState, Slot};
use crate::units::Seconds;

/// Strokes that clean a dirty trimmer of the simulated machine well enough.
pub(super) const CLEAN_STROKES: u32 = 5;

/// A tone that is gone for this long ends what was being kept: what comes back
/// may be another machine, or the same one cleaned. A choice.
const GONE_S: f64 = 3.0;

/// Dropouts are spoken of for this long. A choice.
const DROPOUTS_SPOKEN_OF_S: f64 = 10.0;

/// What a key does that has nothing else to do.
const ALL_DONE: &str = "all done: before and after are in the job; q quits";

/// What is known of the tone since keeping began.
#[derive(Clone, Copy, Debug, Default)]
pub(in crate::screen) struct KeepWatch {
    heard: bool,
    gone_since: Option<Seconds>,
    /// Another input, or another rate, came in between.
    pub(in crate::screen) exchanged: bool,
}

/// Dropouts that the machine's own running up has made.
#[derive(Clone, Copy, Debug, Default)]
pub(in crate::screen) struct RunUp {
    until: Option<Seconds>,
    seen: u64,
    left_out: u64,
}

impl ScreenState {
    /// The key that goes on: does what belongs to the step, or leads to the
    /// next.
    pub(in crate::screen) fn go_on(&mut self) -> Vec<Effect> {
        let again = std::mem::take(&mut self.routine.pressed);
        if self.is_checking_contact() {
            return self.check_contact();
        }
        if self.view == View::Supply {
            return self.supply_goes_on();
        }
        let step = self.routine.at();
        if self.routine.mark(step) == Mark::LeftOut {
            return self.leave(step);
        }
        match step {
            Step::Before => self.keep_at(step, Slot::Before, again),
            Step::After => self.keep_at(step, Slot::After, again),
            Step::Along => match self.next_position() {
                Some(position) => {
                    let effects = self.keep_at(step, Slot::Along(position), again);
                    let begun = matches!(effects[..], [Effect::Ask(Request::Keep(_))]);
                    if begun && self.bench.is_some() {
                        let place = position.name();
                        self.message =
                            Some(format!("the simulated tape was wound: this is its {place}"));
                    }
                    effects
                }
                None => self.leave(step),
            },
            Step::Clean if self.bench.is_some() => self.clean_by_one_key(),
            Step::Clean => {
                self.was_cleaned();
                self.routine.tick(step);
                self.leave(step)
            }
            // Begins a sweep, then ends it; once one is judged, goes on.
            Step::Wiper if self.is_sweeping() => self.sweep(),
            Step::Wiper if self.wants_cleaning() => self.arrive(Step::Clean),
            Step::Wiper if self.wants_a_new_trimmer() => self.leave(step),
            Step::Wiper if !self.routine.is_done(step) => self.sweep(),
            Step::Wiper => self.leave(step),
            Step::HandsOff if !again && self.is_holding_open() => {
                self.routine.pressed = true;
                self.say("not sure yet that it holds; press again to go on anyway")
            }
            Step::Connect | Step::Signal | Step::WarmUp | Step::Trim | Step::HandsOff => {
                self.leave(step)
            }
        }
    }

    /// The next step, without doing what belongs to this one.
    pub(in crate::screen) fn pass(&mut self) -> Vec<Effect> {
        self.leave(self.routine.at())
    }

    /// One step back.
    pub(in crate::screen) fn go_back(&mut self) -> Vec<Effect> {
        if let Some(step) = self.routine.before(self.routine.at()) {
            return self.arrive(step);
        }
        self.say("this is the first step")
    }

    /// The machine has no trimmer, or has one after all.
    pub(in crate::screen) fn toggle_trimmer(&mut self) -> Vec<Effect> {
        self.routine.no_trimmer = !self.routine.no_trimmer;
        if self.routine.no_trimmer {
            if self.view == View::Wiper {
                self.view = View::Bench;
            }
            // What comes before is to be done all the same.
            if self.routine.at() >= Step::Clean {
                self.routine.go_to(Step::Trim);
            }
            self.message = Some(
                "no trimmer: wiper, trim and hands off are left out; s tells what else sets the \
                 speed"
                    .to_owned(),
            );
        } else {
            self.message = Some("there is a trimmer after all".to_owned());
        }
        vec![Effect::Ask(Request::HandsOn)]
    }

    fn leave(&mut self, step: Step) -> Vec<Effect> {
        if step == Step::WarmUp && !self.routine.is_done(step) {
            self.message = Some("not warm yet: what you keep now may still drift".to_owned());
        }
        if let Some(next) = self.routine.after(step) {
            return self.arrive(next);
        }
        if let Some(effects) = self.leave_run() {
            return effects;
        }
        let open: Vec<&str> = Step::ALL
            .into_iter()
            .filter(|step| self.routine.mark(*step) == Mark::Open)
            .map(Step::name)
            .collect();
        let rest = if open.is_empty() {
            ALL_DONE.to_owned()
        } else {
            format!(
                "last step; not done: {}; what was kept is in the job, q quits",
                open.join(", ")
            )
        };
        self.say(if self.all_runs_are_set() {
            format!("all runs are set, none moved by more than it may; {rest}")
        } else {
            rest
        })
    }

    fn arrive(&mut self, step: Step) -> Vec<Effect> {
        let from = self.routine.at();
        self.routine.go_to(step);
        if self.view == View::Wiper && step != Step::Wiper {
            self.view = View::Bench;
        }
        if step == Step::HandsOff && self.routine.mark(step) != Mark::LeftOut {
            self.routine.untick(step);
            self.routine.letting_go = true;
            return vec![Effect::Ask(Request::HandsOff)];
        }
        if from == Step::HandsOff {
            return vec![Effect::Ask(Request::HandsOn)];
        }
        Vec::new()
    }

    /// Keeps what belongs to a step; where that is done, or under way and
    /// asked for again, goes on.
    fn keep_at(&mut self, step: Step, slot: Slot, again: bool) -> Vec<Effect> {
        if again || self.routine.is_done(step) {
            return self.leave(step);
        }
        self.routine.pressed = true;
        if let Some(current) = &self.keeping {
            let name = current.name();
            return self.say(format!("still keeping {name}; press again to go on anyway"));
        }
        let effects = self.keep(slot);
        if !effects.is_empty() {
            self.routine.pressed = false;
        }
        effects
    }

    /// An after is worth little while a hand may still hold the speed.
    pub(in crate::screen) fn warn_of_hands(&mut self, slot: &Slot) {
        if *slot == Slot::After && self.routine.mark(Step::HandsOff) == Mark::Open {
            self.message =
                Some("hands off is not done: without the tool the speed may move".to_owned());
        }
    }

    /// At the simulated machine: power off, the wiper, power on, in turn.
    fn clean_by_one_key(&mut self) -> Vec<Effect> {
        let Some(bench) = self.bench else {
            return Vec::new();
        };
        let missing = self.routine.strokes_wanted.saturating_sub(bench.strokes);
        match (bench.powered, missing) {
            (true, 0) => self.leave(Step::Clean),
            (true, _) => vec![Effect::Bench(BenchCommand::Power(false))],
            (false, 0) => vec![Effect::Bench(BenchCommand::Power(true))],
            (false, _) => (0..missing)
                .map(|_| Effect::Bench(BenchCommand::CleanStroke))
                .collect(),
        }
    }

    /// The next place along the tape that nothing was kept of.
    pub(super) fn next_position(&self) -> Option<Position> {
        Position::ALL
            .into_iter()
            .find(|position| self.newest_kept(&Slot::Along(*position)).is_none())
    }

    fn is_holding_open(&self) -> bool {
        let holding = self.reading().and_then(|reading| reading.holding);
        matches!(holding, Some(Holding::Averaging { .. })) || self.routine.letting_go
    }

    /// Something is being kept: the strip goes where that belongs.
    pub(in crate::screen) fn follow_keeping(&mut self, slot: &Slot) {
        self.watch = KeepWatch::default();
        match slot {
            Slot::Before => self.routine.go_to(Step::Before),
            Slot::After => self.routine.go_to(Step::After),
            Slot::Along(_) => self.routine.go_to(Step::Along),
            Slot::Named(_) => {}
        }
    }

    /// Something was kept.
    pub(in crate::screen) fn follow_kept(&mut self, slot: &Slot) {
        // The key that goes on does something else from now on.
        self.routine.pressed = false;
        match slot {
            Slot::Before => self.routine.tick(Step::Before),
            Slot::After => self.routine.tick(Step::After),
            Slot::Along(_) if self.next_position().is_none() => self.routine.tick(Step::Along),
            Slot::Along(_) | Slot::Named(_) => {}
        }
    }

    /// The simulated trimmer is turned: trimming, unless the wiper is being
    /// looked at.
    pub(in crate::screen) fn follow_turning(&mut self) {
        let at = self.routine.at();
        let trims = self.view == View::Bench && at != Step::Trim && at < Step::After;
        if trims && !self.routine.no_trimmer {
            self.routine.go_to(Step::Trim);
        }
        if self.view == View::Bench {
            self.routine.untick(Step::HandsOff);
        }
    }

    /// The simulated machine is switched or cleaned: cleaning, up to there.
    pub(in crate::screen) fn follow_cleaning(&mut self) {
        if self.routine.at() < Step::Clean {
            self.routine.go_to(Step::Clean);
        }
    }

    /// The wiper check was opened.
    pub(in crate::screen) fn follow_view(&mut self) {
        if self.view == View::Wiper && self.routine.at() < Step::Wiper {
            self.routine.go_to(Step::Wiper);
        }
    }

    /// A sweep was judged: the step is done unless it has to be repeated.
    pub(in crate::screen) fn follow_sweep(&mut self, report: &SweepReport) {
        match report.verdict {
            // One round hardly shows a dead place.
            SweepVerdict::Smooth if report.is_one_round() => self.routine.untick(Step::Wiper),
            SweepVerdict::Smooth | SweepVerdict::NearEnd => self.routine.tick(Step::Wiper),
            SweepVerdict::Erratic if report.is_bad_elsewhere_only() => {
                self.routine.tick(Step::Wiper);
            }
            SweepVerdict::Unclear => self.routine.untick(Step::Wiper),
            SweepVerdict::Erratic if self.wants_a_new_trimmer() => {
                self.routine.untick(Step::Wiper);
            }
            SweepVerdict::Erratic => {
                self.routine.untick(Step::Wiper);
                self.routine.untick(Step::Clean);
                let strokes = self.bench.map_or(0, |bench| bench.strokes);
                self.routine.strokes_wanted = strokes + CLEAN_STROKES;
            }
        }
    }

    /// The last sweep found bad spots that matter, nothing was cleaned since,
    /// and cleaning may still help.
    pub(in crate::screen) fn wants_cleaning(&self) -> bool {
        let erratic = |report: &SweepReport| report.verdict == SweepVerdict::Erratic;
        self.newest_sweep().is_some_and(erratic)
            && !self.routine.is_done(Step::Wiper)
            && !self.routine.is_done(Step::Clean)
            && !self.wants_a_new_trimmer()
    }

    /// How the simulated machine stands now.
    pub fn take_bench(&mut self, bench: Option<BenchStatus>) -> Vec<Effect> {
        let was_off = self.is_switched_off();
        let strokes = |bench: Option<BenchStatus>| bench.map_or(0, |bench| bench.strokes);
        if strokes(bench) > strokes(self.bench) {
            self.was_cleaned();
        }
        self.bench = bench;
        let now = self.reading().map(|reading| reading.at);
        if was_off && !self.is_switched_off() {
            self.run_up.until = now.map(|now| Seconds(now.0 + RUN_UP.0));
        }
        if let Some(bench) = bench
            && bench.powered
            && bench.strokes >= self.routine.strokes_wanted
        {
            self.routine.tick(Step::Clean);
        }
        self.watch_keeping()
    }

    /// Follows a newer reading.
    pub(in crate::screen) fn follow_reading(&mut self, reading: &Reading) -> Vec<Effect> {
        self.count_dropouts(reading);
        if self.is_live() {
            self.routine.tick(Step::Connect);
            if is_readable(reading) && self.serious_trouble().is_none() {
                self.routine.tick(Step::Signal);
            }
            if self.warming() == Warming::Warm {
                self.routine.tick(Step::WarmUp);
            }
            self.follow_trimming();
        }
        let mut effects = self.follow_holding(reading);
        effects.extend(self.watch_keeping());
        effects
    }

    /// The tick of trimming comes and goes with the speed.
    fn follow_trimming(&mut self) {
        if self.routine.at() != Step::Trim {
            return;
        }
        match self.verdict() {
            verdict if verdict.is_right() => self.routine.tick(Step::Trim),
            // Whatever held is held no more.
            Verdict::Out | Verdict::OutByThisTape | Verdict::Moving => {
                self.routine.untick(Step::Trim);
                self.routine.untick(Step::HandsOff);
            }
            _ => {}
        }
    }

    fn follow_holding(&mut self, reading: &Reading) -> Vec<Effect> {
        if self.routine.at() != Step::HandsOff {
            return Vec::new();
        }
        match reading.holding {
            // What is told before the first averaging is of an earlier time.
            Some(Holding::Averaging { .. }) => self.routine.letting_go = false,
            None if !self.routine.letting_go && !self.routine.is_done(Step::HandsOff) => {
                self.message =
                    Some("the reading started again: back to trim, then hands off".to_owned());
                return self.arrive(Step::Trim);
            }
            Some(Holding::Holds(_)) if !self.routine.letting_go => {
                self.routine.tick(Step::HandsOff);
            }
            Some(Holding::Moved(shift)) if !self.routine.letting_go => {
                let by = self.shifted(shift.by, shift.uncertainty);
                self.message = Some(format!(
                    "it moved by {by} without the tool: trim again, allow for that"
                ));
                self.routine.untick(Step::Trim);
                self.routine.untick(Step::HandsOff);
                return self.arrive(Step::Trim);
            }
            _ => {}
        }
        Vec::new()
    }

    /// What was to be kept must be of the machine as it was when the key was
    /// pressed.
    fn watch_keeping(&mut self) -> Vec<Effect> {
        let Some(slot) = &self.keeping else {
            return Vec::new();
        };
        let name = slot.name().to_owned();
        match self.why_not_kept() {
            // The tape has come to its end, as it does.
            Some(_) if self.long_run.is_some() => self.end_long_run(),
            Some(why) => {
                self.keeping = None;
                self.message = Some(format!("{name} was not kept: {why}"));
                vec![Effect::Ask(Request::ForgetKept)]
            }
            None => Vec::new(),
        }
    }

    fn why_not_kept(&mut self) -> Option<&'static str> {
        if self.is_switched_off() {
            return Some("the power went off");
        }
        if self.watch.exchanged {
            return Some("another input or rate came in between; all starts anew");
        }
        let reading = self.live.reading.clone()?;
        match &self.live.source {
            SourceState::Lost { .. } => return Some("the input was lost"),
            SourceState::Ended { .. } if !matches!(reading.keeping, Some(Keeping::Done(_))) => {
                return Some("the recording ended first");
            }
            _ => {}
        }
        if is_readable(&reading) {
            self.watch.heard = true;
            self.watch.gone_since = None;
            return None;
        }
        let since = *self.watch.gone_since.get_or_insert(reading.at);
        let gone = self.watch.heard && reading.at.0 - since.0 > GONE_S;
        gone.then_some("the sound went away; play on and keep it again")
    }

    fn count_dropouts(&mut self, reading: &Reading) {
        let count = reading.signal.dropouts;
        let running_up = self.run_up.until.is_some_and(|until| reading.at < until);
        if self.is_switched_off() || running_up {
            self.run_up.left_out += count.saturating_sub(self.run_up.seen);
        }
        self.run_up.seen = count;
    }

    /// Dropouts of the tape: those of a machine running up or down are none.
    pub(in crate::screen) fn dropouts(&self) -> u64 {
        let counted = self.reading().map_or(0, |reading| reading.signal.dropouts);
        counted.saturating_sub(self.run_up.left_out)
    }

    /// What is said of dropouts may still be of running up.
    pub(in crate::screen) fn is_fresh_from_run_up(&self) -> bool {
        let now = self.reading().map(|reading| reading.at.0);
        let both = now.zip(self.run_up.until);
        both.is_some_and(|(now, until)| now < until.0 + DROPOUTS_SPOKEN_OF_S)
    }
}
