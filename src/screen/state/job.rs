//! What goes into the job: entrusted to whoever writes it, and held here until
//! it is safe on the disk.

use std::path::PathBuf;
use std::sync::Arc;

use super::{Effect, Kept, ScreenState};
use crate::readings::{SweepReport, SweepVerdict};
use crate::records::Job;

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
    pub fn saved(&mut self, number: u32, result: SaveResult) {
        let mut all = self.entrusted.iter();
        let Some(at) = all.position(|it| it.number == number) else {
            return;
        };
        let is_saved = result.is_ok();
        let said = match result {
            Ok(Saved { into, warning }) => {
                let thing = self.entrusted.remove(at).thing;
                let (name, job) = (thing.name(), &into.job.name);
                let said = format!("kept {name}, saved in job {job}");
                self.bring_in(&into, usize::from(matches!(thing, Thing::Snapshot(_))));
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
    use crate::screen::state::{Slot, SourceKind};

    #[test]
    fn what_could_not_be_saved_stays_and_says_so() {
        let mut state = specimen::state(SourceKind::Input);
        state.keep_measured(Slot::After, &Arc::new(specimen::measurement(0.1)));
        state.saved(1, Err("the disk is full".to_owned()));
        assert_eq!(state.unsaved().count(), 1);
        let message = state.message.clone().unwrap();
        assert!(message.contains("NOT SAVED") && message.contains("disk is full"));
        assert!(matches!(&state.retry_saving()[..], [Effect::Save(it)] if it.number == 1));
        assert_eq!(state.unsaved().count(), 0);
        state.saved(1, Ok(specimen::saved("repair 117")));
        assert_eq!(state.unsaved().count(), 0);
        assert!(state.message.as_ref().unwrap().contains("repair 117"));
        // It was saved, so there is nothing to try again.
        state.saving_has_ended();
        assert_eq!(state.unsaved().count(), 0);
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
