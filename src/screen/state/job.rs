//! What goes into the job: entrusted to whoever writes it, and held here until
//! it is safe on the disk.

use std::path::PathBuf;
use std::sync::Arc;

use super::{Effect, Kept, ScreenState};
use crate::readings::{SweepReport, SweepVerdict};
use crate::records::Job;
use crate::references::same_machine;

/// What can be kept.
#[derive(Clone, Debug)]
pub enum Thing {
    /// A measurement.
    Snapshot(Box<Kept>),
    /// A check of the trimmer's wiper that was judged.
    Wiper(Arc<SweepReport>),
    /// What was done or seen.
    Note(String),
}

/// Something that is to go into the job.
#[derive(Clone, Debug)]
pub struct Entrusted {
    /// Counts up within this sitting.
    pub number: u32,
    /// What.
    pub thing: Thing,
    /// Name of the machine at that moment.
    pub machine: Option<String>,
    /// How often the machine on the bench was named anew by then: under one naming
    /// it is one machine, even where its job is corrected meanwhile.
    pub naming: u32,
    /// It is being written; how that ended is not known yet.
    pub saving: bool,
}

/// A job as its file stands.
#[derive(Clone, Debug)]
pub struct OpenJob {
    /// Where it lies.
    pub path: PathBuf,
    /// What its lines come to, without tracks and pictures.
    pub job: Arc<Job>,
    /// What makes its sheet, as it is typed on the shell.
    pub sheet: String,
}

/// What became safe.
#[derive(Clone, Debug)]
pub struct Saved {
    /// The job that it went into.
    pub into: OpenJob,
    /// What is odd about its file.
    pub warning: Option<String>,
}

/// What comes of an attempt to save.
pub type SaveResult = Result<Saved, String>;

impl Thing {
    /// As it is called on screen.
    pub fn name(&self) -> &str {
        match self {
            Self::Snapshot(kept) => kept.slot.name(),
            Self::Wiper(_) => "wiper check",
            Self::Note(_) => "note",
        }
    }
}

impl ScreenState {
    /// Holds it here; what comes back saves it.
    pub(in crate::screen) fn entrust(&mut self, thing: Thing) -> Effect {
        self.entrusted_so_far += 1;
        let entrusted = Entrusted {
            number: self.entrusted_so_far,
            thing,
            machine: self.machine.clone(),
            naming: self.naming,
            saving: true,
        };
        self.entrusted.push(entrusted.clone());
        Effect::Save(entrusted)
    }

    /// A check that says something belongs to the job.
    pub(in crate::screen) fn keep_sweep(&mut self, report: &Arc<SweepReport>) -> Vec<Effect> {
        if report.verdict == SweepVerdict::Unclear {
            return Vec::new();
        }
        vec![self.entrust(Thing::Wiper(Arc::clone(report)))]
    }

    /// What was done is written down at once.
    pub(in crate::screen) fn take_note(&mut self, said: Option<String>) -> Vec<Effect> {
        match said {
            Some(text) => vec![self.entrust(Thing::Note(text))],
            None => self.say("nothing was typed, so no note was written"),
        }
    }

    /// What could not be saved.
    pub fn unsaved(&self) -> impl Iterator<Item = &Entrusted> {
        self.entrusted.iter().filter(|it| !it.saving)
    }

    /// What could not be saved is to be saved once more.
    pub(in crate::screen) fn retry_saving(&mut self) -> Vec<Effect> {
        let unsaved = self.entrusted.iter_mut().filter(|it| !it.saving);
        let again = unsaved.map(|entrusted| {
            entrusted.saving = true;
            Effect::Save(entrusted.clone())
        });
        again.collect()
    }

    /// Nothing is written any more: what has not been reported as saved is
    /// not.
    pub fn saving_has_ended(&mut self) {
        for entrusted in &mut self.entrusted {
            entrusted.saving = false;
        }
    }

    /// An attempt to save has ended: the job that it is in now, or why it is in
    /// none.
    pub fn saved(&mut self, number: u32, result: SaveResult) -> Vec<Effect> {
        let mut all = self.entrusted.iter();
        let Some(at) = all.position(|it| it.number == number) else {
            return Vec::new();
        };
        let is_saved = result.is_ok();
        let mut effects = Vec::new();
        let said = match result {
            Ok(Saved { into, warning }) => {
                let Entrusted { thing, naming, .. } = self.entrusted.remove(at);
                let (name, job) = (thing.name(), &into.job.name);
                let mut said = format!("kept {name}, saved in job {job}");
                self.bring_in(&into, usize::from(matches!(thing, Thing::Snapshot(_))));
                if naming == self.naming
                    && let Some(machine) = self.corrected_in(&into)
                {
                    said.push_str("; the machine is ");
                    said.push_str(&machine);
                    said.push_str(" now, corrected there");
                    effects = self.correct_machine(machine);
                }
                if !self.saved_in.contains(&into.path) {
                    self.saved_in.push(into.path.clone());
                }
                self.take_job(into);
                match warning {
                    Some(warning) => format!("{said}; {warning}"),
                    None => said,
                }
            }
            Err(reason) => {
                let entrusted = &mut self.entrusted[at];
                entrusted.saving = false;
                let name = entrusted.thing.name();
                format!("NOT SAVED: {name} is held in memory; r tries again. {reason}")
            }
        };
        let found = self.runs.take_found();
        self.message = Some(match found {
            Some(found) if is_saved => format!("{found} ({said})"),
            Some(found) => format!("{said}; {found}"),
            None => said,
        });
        effects
    }

    /// The name of the machine on the bench, where somebody corrected it in its job.
    fn corrected_in(&self, into: &OpenJob) -> Option<String> {
        let (machine, is) = (self.machine.as_deref()?, into.job.machine()?);
        let is_corrected = !same_machine(Some(machine), Some(is)) && into.job.was_called(machine);
        is_corrected.then(|| is.to_owned())
    }

    /// It is the same machine under its right name.
    fn correct_machine(&mut self, is: String) -> Vec<Effect> {
        let before = self.machine.replace(is.clone());
        for kept in &mut self.kept {
            if same_machine(kept.machine.as_deref(), before.as_deref()) {
                kept.machine = Some(is.clone());
            }
        }
        self.follow_machine_parts(before.as_deref());
        let mut effects = self.follow_machine_card();
        effects.push(Effect::LookBack(Some(is)));
        effects
    }

    /// A job that goes on has earlier snapshots than the last ones that were
    /// saved now: they stand beside these.
    fn bring_in(&mut self, into: &OpenJob, saved_now: usize) {
        if self.jobs.iter().any(|known| known.path == into.path) {
            return;
        }
        let all = &into.job.snapshots;
        let earlier = &all[..all.len().saturating_sub(saved_now)];
        self.kept.splice(0..0, earlier.iter().map(Kept::from));
    }

    /// The job that what is kept of this machine goes into, if it is made.
    pub(in crate::screen) fn present_job(&self) -> Option<&OpenJob> {
        let machine = self.machine.as_deref();
        self.jobs.iter().rev().find(|it| it.job.takes(machine))
    }

    /// Its newest state; it is the present one.
    pub(in crate::screen) fn take_job(&mut self, job: OpenJob) {
        self.jobs.retain(|known| known.path != job.path);
        self.jobs.push(job);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Unclear;
    use crate::screen::specimen;
    use crate::screen::state::event::Event;
    use crate::screen::state::routine::Step;
    use crate::screen::state::{Slot, SourceKind};

    #[test]
    fn what_could_not_be_saved_stays_and_says_so() {
        let mut state = specimen::state(SourceKind::Input);
        state.keep_measured(Slot::After, &Arc::new(specimen::measurement(0.1)));
        let _ = state.saved(1, Err("the disk is full".to_owned()));
        assert_eq!(state.unsaved().count(), 1);
        let message = state.message.clone().unwrap();
        assert!(message.contains("NOT SAVED") && message.contains("disk is full"));
        assert!(matches!(&state.retry_saving()[..], [Effect::Save(it)] if it.number == 1));
        assert_eq!(state.unsaved().count(), 0);
        let _ = state.saved(1, Ok(specimen::saved("repair 117")));
        assert_eq!(state.unsaved().count(), 0);
        assert!(state.message.as_ref().unwrap().contains("repair 117"));
        // It was saved, so there is nothing to try again.
        state.saving_has_ended();
        assert_eq!(state.unsaved().count(), 0);
    }

    /// Somebody corrects it in the job while the sitting goes on.
    #[test]
    fn a_name_that_was_corrected_in_the_job_is_the_name_on_the_bench() {
        let mut state = specimen::state(SourceKind::Input);
        state.machine = Some("deck 3".to_owned());
        state.keep_measured(Slot::Before, &Arc::new(specimen::measurement(-1.2)));
        let corrected = specimen::saved_under("deck 3", Some("deck 4"));
        let effects = state.update(Event::Saved(1, Box::new(Ok(corrected))));
        assert_eq!(state.machine.as_deref(), Some("deck 4"));
        let message = state.message.clone().unwrap();
        assert!(message.contains("the machine is deck 4 now"), "{message}");
        assert!(matches!(&effects[..], [Effect::LookBack(Some(it))] if it == "deck 4"));
        assert!(state.newest_kept(&Slot::Before).is_some());
        assert!(state.routine.is_done(Step::Before));
        assert!(state.present_job().is_some());
        // Another machine of that name is another one, once it is typed.
        let _ = state.take_machine(Some("deck 3".to_owned()));
        state.keep_measured(Slot::After, &Arc::new(specimen::measurement(0.1)));
        let another = specimen::saved_under("deck 3", None);
        let _ = state.update(Event::Saved(2, Box::new(Ok(another))));
        assert_eq!(state.machine.as_deref(), Some("deck 3"));
    }

    #[test]
    fn a_note_and_a_check_are_entrusted_at_once() {
        let mut state = specimen::state(SourceKind::Input);
        state.machine = Some("deck 4".to_owned());
        let effects = state.take_note(Some("new belt".to_owned()));
        assert!(matches!(
            &effects[..],
            [Effect::Save(Entrusted { number: 1, thing: Thing::Note(text), machine, .. })]
                if text == "new belt" && machine.as_deref() == Some("deck 4")
        ));
        let judged = Arc::new(SweepReport {
            verdict: SweepVerdict::Smooth,
            ..SweepReport::default()
        });
        assert!(matches!(
            &state.keep_sweep(&judged)[..],
            [Effect::Save(Entrusted {
                number: 2,
                thing: Thing::Wiper(_),
                ..
            })]
        ));
        let unclear = Arc::new(SweepReport::unclear(Unclear::NoTone));
        assert!(state.keep_sweep(&unclear).is_empty());
        assert!(state.take_note(None).is_empty());
        state.saving_has_ended();
        assert_eq!(state.unsaved().count(), 2);
    }
}
