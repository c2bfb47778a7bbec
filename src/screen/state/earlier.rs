//! Earlier jobs of the machine on the bench: what it read last time, and which
//! of them can be opened.

use std::path::PathBuf;
use std::sync::Arc;

use jiff::Timestamp;

use super::job::OpenJob;
use super::routine::Step;
use super::{Effect, Kept, ScreenState, Slot, SourceKind};
use crate::readings::{Measurement, Verdict};
use crate::records::{Job, Label, Run, Snapshot};
use crate::references::same_machine;
use crate::report::{comparison, numbers};

/// Jobs that were found for a machine.
#[derive(Clone, Debug, Default)]
pub struct EarlierJobs {
    /// Its name; all jobs were looked for where it has none.
    pub machine: Option<String>,
    /// The newest first.
    pub jobs: Vec<OpenJob>,
}

impl Slot {
    fn of(snapshot: &Snapshot) -> Self {
        match (&snapshot.label, snapshot.position) {
            (Label::Before, _) => Self::Before,
            (Label::After, _) => Self::After,
            (Label::Named(_), Some(position)) => Self::Along(position),
            (Label::Named(name), None) => Self::Named(name.clone()),
        }
    }
}

impl From<&Snapshot> for Kept {
    fn from(snapshot: &Snapshot) -> Self {
        Self {
            slot: Slot::of(snapshot),
            measurement: Arc::new(snapshot.measurement.clone()),
            tolerance: comparison::tolerance(snapshot),
            machine: snapshot.machine.clone(),
            supply_volts: snapshot.supply_volts,
            tape: None,
            recorded_on: None,
            is_new: false,
            run: snapshot.run,
            wiper: snapshot.wiper.clone().map(Arc::new),
            wiper_at_first: snapshot.wiper_at_first.clone().map(Arc::new),
            wiper_cleanings: snapshot.wiper_cleanings,
            source: snapshot.source.clone(),
        }
    }
}

/// What a job says of a run, where one is named, at its end: the newest after, else the last one. A
/// tape that is no measure, or a speed that moved, says nothing.
pub(super) fn last_of(
    job: &Job,
    is_its: impl Fn(Option<Run>) -> bool + Clone,
) -> Option<&Snapshot> {
    let says_something = move |it: &&Snapshot| {
        let is_none = matches!(
            comparison::verdict(it),
            Verdict::NoReading | Verdict::MadeHere | Verdict::WhichTone | Verdict::Moved
        );
        is_its(it.run) && !is_none && it.measurement.speed.is_some()
    };
    let mut of_run = job.snapshots.iter().filter(says_something);
    let after = of_run.clone().rfind(|it| it.label == Label::After);
    after.or_else(|| of_run.next_back())
}

impl ScreenState {
    /// Jobs that can be opened in place of the present one, the newest first.
    pub(in crate::screen) fn other_jobs(&self) -> impl Iterator<Item = &OpenJob> {
        let present = self.present_job().map(|it| &it.path);
        let (asked, machine) = (self.earlier.machine.as_deref(), self.machine.as_deref());
        let is_asked = asked == machine || same_machine(asked, machine);
        let all = self.earlier.jobs.iter().filter(move |_| is_asked);
        all.filter(move |job| Some(&job.path) != present)
    }

    /// What this machine read in its newest earlier job, at the speed and in
    /// the direction that are on. What is simulated is no figure of a real
    /// machine, nor the other way round.
    pub(in crate::screen) fn last_time(&self) -> Option<&Snapshot> {
        let machine = self.machine.as_deref();
        let is_simulated = self.kind == SourceKind::Rehearsal;
        let mut its = self
            .other_jobs()
            .map(|it| &*it.job)
            .filter(|job| same_machine(job.machine(), machine) && job.simulated == is_simulated);
        let on = self.runs.on();
        its.find_map(|job| last_of(job, move |run| run == on))
    }

    /// The same in words, with the flutter where there is room for it.
    pub(in crate::screen) fn last_time_in_words(&self, is_narrow: bool) -> Option<String> {
        let last = self.last_time()?;
        let mut words = format!("last time {}", self.speed_in_words(&last.measurement));
        if !is_narrow {
            words += &self.flutter_in_words(&last.measurement);
        }
        Some(format!("{words}, {}", self.day_of(last.taken_at)))
    }

    /// The weighted flutter of a measurement behind its speed; nothing where it
    /// has none.
    pub(in crate::screen) fn flutter_in_words(&self, measurement: &Measurement) -> String {
        let flutter = &measurement.flutter;
        let weighted = flutter.weighted_two_sigma.map(|it| {
            let known = flutter.weighted_two_sigma_uncertainty;
            let figure = numbers::with_uncertainty(it.0, known.map(|it| it.0), false);
            let figure = figure.replace('±', self.look.plus_minus());
            format!(", weighted flutter {figure} %")
        });
        weighted.unwrap_or_default()
    }

    /// The day where the user is.
    pub(in crate::screen) fn day_of(&self, at: Timestamp) -> String {
        let zoned = at.to_zoned_datetime(self.zone.clone());
        zoned.strftime("%Y-%m-%d").to_string()
    }

    /// The same with the time.
    pub(in crate::screen) fn minute_of(&self, at: Timestamp) -> String {
        let zoned = at.to_zoned_datetime(self.zone.clone());
        zoned.strftime("%Y-%m-%d %H:%M").to_string()
    }

    /// Another name of the machine: what is kept of another one goes into
    /// another job, and nothing of the one before counts for it.
    pub(in crate::screen) fn follow_machine_job(&mut self, before: Option<&str>) -> Vec<Effect> {
        let now = self.machine.clone();
        if before == now.as_deref() || same_machine(before, now.as_deref()) {
            return Vec::new();
        }
        if before.is_none() {
            // It was on the bench before somebody named it.
            for kept in &mut self.kept {
                kept.machine = kept.machine.take().or_else(|| now.clone());
            }
        }
        let is_of_before = |of: Option<&str>| same_machine(of, before);
        let mut jobs = self.jobs.iter();
        let has_kept = jobs.any(|it| !it.job.is_empty() && is_of_before(it.job.machine()))
            || (self.entrusted.iter()).any(|it| is_of_before(it.machine.as_deref()));
        let is_another = has_kept && now.is_some();
        if let Some(machine) = now.as_deref().filter(|_| has_kept || !self.jobs.is_empty()) {
            let into = match self.present_job() {
                Some(present) => format!("job {}", present.job.name),
                None => "a job of its own".to_owned(),
            };
            self.message = Some(format!("what is kept of {machine} goes into {into}"));
        }
        if is_another {
            self.sweeps.clear();
            self.cleaned_since_sweep = false;
            for step in [Step::Before, Step::Wiper, Step::After, Step::Along] {
                self.routine.untick(step);
            }
        }
        vec![Effect::LookBack(now)]
    }

    /// What was found of earlier jobs.
    pub(in crate::screen) fn take_earlier(&mut self, found: EarlierJobs) {
        self.earlier = found;
    }

    /// Another job is to be the present one.
    pub(in crate::screen) fn open_job(&mut self, path: PathBuf) -> Vec<Effect> {
        if let Some(slot) = &self.keeping {
            let name = slot.name();
            return self.say(format!("{name} is still being kept; Esc stops it"));
        }
        if !self.entrusted.is_empty() {
            return self.say("something is not saved in the present job yet; r tries again");
        }
        vec![Effect::OpenJob(path, self.machine.clone())]
    }

    /// What came of that: its machine is on the bench now, and what was kept in
    /// it stands beside what is measured.
    pub(in crate::screen) fn job_opened(&mut self, opened: Result<OpenJob, String>) -> Vec<Effect> {
        let opened = match opened {
            Ok(opened) => opened,
            Err(reason) => return self.say(reason),
        };
        // What has no name yet is not of the machine of that job.
        self.left.push(std::mem::take(&mut self.kept));
        let machine = opened.job.machine().map(str::to_owned);
        let mut effects = match machine {
            Some(machine) if self.machine.as_ref() != Some(&machine) => {
                self.take_machine(Some(machine))
            }
            _ => Vec::new(),
        };
        // The one that is left joins the list.
        if !effects.iter().any(|it| matches!(it, Effect::LookBack(_))) {
            effects.push(Effect::LookBack(self.machine.clone()));
        }
        let kept = match opened.job.snapshots.len() {
            0 => "nothing measured in it yet".to_owned(),
            1 => "1 snapshot in it".to_owned(),
            count => format!("{count} snapshots in it"),
        };
        self.message = Some(format!("job {} is open; {kept}", opened.job.name));
        self.show_job(opened);
        effects
    }

    /// It is the present one, with what was kept in it.
    pub(in crate::screen) fn show_job(&mut self, job: OpenJob) {
        self.kept = job.job.snapshots.iter().map(Kept::from).collect();
        if self.newest_kept(&Slot::Before).is_some() {
            self.routine.tick(Step::Before);
        }
        self.take_job(job);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::Direction;
    use crate::screen::specimen;
    use crate::screen::state::job::Saved;
    use crate::screen::{Action, PlannedRun, Runs};

    const REVERSE: Run = Run {
        speed_cm_s: None,
        direction: Some(Direction::Reverse),
    };

    fn snapshot(label: Label, deviation: f64) -> Snapshot {
        let mut snapshot = Snapshot::new(label, "Line In", specimen::measurement(deviation));
        snapshot.taken_at = "2025-11-03T12:00:00Z".parse().unwrap();
        snapshot
    }

    fn job(machine: &str, snapshots: Vec<Snapshot>) -> OpenJob {
        specimen::job_of(machine, snapshots)
    }

    fn after_look_back(jobs: Vec<OpenJob>) -> ScreenState {
        let mut state = specimen::showing(specimen::reading(-1.0));
        state.machine = Some("deck 4".to_owned());
        let machine = state.machine.clone();
        state.take_earlier(EarlierJobs { machine, jobs });
        state
    }

    fn told(state: &ScreenState) -> Option<String> {
        state.last_time_in_words(true)
    }

    #[test]
    fn the_newest_earlier_after_of_this_machine_and_run_is_told() {
        let mut reverse = snapshot(Label::After, 0.5);
        reverse.run = Some(REVERSE);
        let newest = job(
            "Deck-4",
            vec![
                snapshot(Label::Before, -1.2),
                snapshot(Label::After, 0.02),
                snapshot(Label::Named("later".to_owned()), 0.3),
                reverse,
            ],
        );
        let oldest = job("deck 4", vec![snapshot(Label::After, 0.4)]);
        let mut state = after_look_back(vec![newest, oldest]);
        let expected = "last time +0.020 ±0.020 %, 2025-11-03";
        assert_eq!(told(&state).as_deref(), Some(expected));
        let wide = state.last_time_in_words(false).unwrap();
        assert!(wide.contains("flutter 0.1210 ±0.0080 %"), "{wide}");
        state.runs = Runs::new([PlannedRun {
            run: REVERSE,
            nominal: state.conditions.nominal,
        }]);
        assert!(told(&state).unwrap().contains("+0.500"));
    }

    #[test]
    fn without_an_after_the_last_one_that_says_something_is_told() {
        let mut made_here = snapshot(Label::After, 0.0);
        made_here.measurement.tell_recorded_here();
        let mut silent = snapshot(Label::After, 0.0);
        silent.measurement.speed = None;
        let newest = job("deck 4", vec![made_here, silent]);
        let second = job(
            "deck 4",
            vec![snapshot(Label::Before, -1.2), snapshot(Label::Before, -0.7)],
        );
        let state = after_look_back(vec![newest, second]);
        assert!(told(&state).unwrap().contains("-0.700"));
    }

    #[test]
    fn nothing_is_told_of_another_machine_or_of_a_simulated_one() {
        let after = || vec![snapshot(Label::After, 0.02)];
        let mut simulated = job("deck 4", after());
        Arc::make_mut(&mut simulated.job).simulated = true;
        let other = job("deck 44", after());
        assert_eq!(told(&after_look_back(vec![simulated, other])), None);
        let mut state = after_look_back(vec![job("deck 4", after())]);
        assert!(told(&state).is_some());
        // The list is of the machine before, until the next is there.
        state.machine = Some("deck 5".to_owned());
        assert_eq!(told(&state), None);
        state.machine = None;
        assert_eq!(told(&state), None);
        // The present job is no earlier one.
        let present = job("deck 4", after());
        let mut state = after_look_back(vec![present.clone()]);
        state.show_job(present);
        assert_eq!(told(&state), None);
    }

    #[test]
    fn another_machine_has_another_job_and_nothing_of_the_first() {
        let mut state = after_look_back(Vec::new());
        state.show_job(job("deck 4", vec![snapshot(Label::Before, -1.2)]));
        assert!(state.newest_kept(&Slot::Before).is_some());
        let effects = state.take_machine(Some("deck 5".to_owned()));
        assert!(matches!(&effects[..], [Effect::LookBack(Some(it))] if it == "deck 5"));
        let said = state.message.clone().unwrap();
        assert!(said.contains("deck 5 goes into a job of its own"), "{said}");
        assert!(state.newest_kept(&Slot::Before).is_none());
        assert!(!state.routine.is_done(Step::Before));
        assert!(state.present_job().is_none());
        // Back again, however it is written; then no name at all.
        let _ = state.take_machine(Some("Deck-4".to_owned()));
        let said = state.message.clone().unwrap();
        assert!(said.contains("goes into job job of deck 4"), "{said}");
        assert!(state.newest_kept(&Slot::Before).is_some());
        assert!(state.take_machine(Some("deck 4".to_owned())).is_empty());
        let _ = state.take_machine(None);
        assert!(state.present_job().is_some());
    }

    #[test]
    fn a_job_is_opened_from_its_row_and_shows_what_was_kept() {
        let earlier = job("deck 4", vec![snapshot(Label::Before, -1.2)]);
        let mut state = after_look_back(vec![earlier.clone()]);
        let _ = state.act(Action::Job);
        let rows = state.job_rows();
        let at = rows.iter().position(|row| row.opens.is_some()).unwrap();
        for _ in 0..at {
            let _ = state.act(Action::ChoiceDown);
        }
        let effects = state.act(Action::TakeChoice);
        assert!(matches!(
            &effects[..],
            [Effect::OpenJob(path, Some(machine))] if *path == earlier.path && machine == "deck 4"
        ));
        let effects = state.job_opened(Ok(earlier.clone()));
        assert!(matches!(&effects[..], [Effect::LookBack(Some(_))]));
        assert_eq!(
            state.newest_kept(&Slot::Before).unwrap().measurement,
            Arc::new(specimen::measurement(-1.2))
        );
        assert!(state.routine.is_done(Step::Before));
        assert_eq!(state.other_jobs().count(), 0);
        // A broken one changes nothing.
        let before = state.kept.len();
        let _ = state.job_opened(Err("cannot read the job".to_owned()));
        assert_eq!((state.kept.len(), state.jobs.len()), (before, 1));
    }

    #[test]
    fn a_job_that_goes_on_brings_its_before() {
        let mut state = after_look_back(Vec::new());
        state.keep_measured(Slot::After, &Arc::new(specimen::measurement(0.1)));
        assert!(state.newest_kept(&Slot::Before).is_none());
        let all = vec![snapshot(Label::Before, -1.2), snapshot(Label::After, 0.1)];
        let into = job("deck 4", all);
        let saved = |into: &OpenJob| Saved {
            into: into.clone(),
            warning: None,
        };
        let _ = state.saved(1, Ok(saved(&into)));
        let before = state.newest_kept(&Slot::Before).unwrap();
        assert_eq!(*before.measurement, specimen::measurement(-1.2));
        assert_eq!(state.kept.len(), 2);
        // Once.
        let _ = state.take_note(Some("new belt".to_owned()));
        let _ = state.saved(2, Ok(saved(&into)));
        assert_eq!(state.kept.len(), 2);
    }

    #[test]
    fn no_job_is_opened_over_what_is_not_safe() {
        let path = || PathBuf::from("/data/jobs/a.jsonl");
        let mut state = after_look_back(Vec::new());
        let _ = state.act(Action::Keep(Slot::Before));
        assert!(state.open_job(path()).is_empty());
        let _ = state.act(Action::Stop);
        assert_eq!(state.open_job(path()).len(), 1);
        let _ = state.take_note(Some("new belt".to_owned()));
        assert!(state.open_job(path()).is_empty());
        let _ = state.saved(1, Ok(specimen::saved("a")));
        assert_eq!(state.open_job(path()).len(), 1);
    }
}
