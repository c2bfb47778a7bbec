//! The page of the job: what was kept in it so far, and the jobs that can be
//! opened in its place.

use std::path::PathBuf;

use jiff::Timestamp;

use super::earlier::last_of;
use super::job::OpenJob;
use super::overlay::Overlay;
use super::{Effect, ScreenState};
use crate::records::{About, Job, Snapshot};
use crate::report::numbers::plain;
use crate::report::sweep::headline;

/// An entry of the page, of one row or more.
pub(in crate::screen) struct JobRow {
    /// Without the mark in front of it.
    pub text: String,
    /// It stands out.
    pub is_strong: bool,
    /// The job that Enter opens here.
    pub opens: Option<PathBuf>,
}

/// Rows that are no rows of the list: the head and the foot.
pub(in crate::screen) const FRAME: u16 = 2;

impl ScreenState {
    /// All entries, whatever the size of the window.
    pub(in crate::screen) fn job_rows(&self) -> Vec<JobRow> {
        let mut rows = Vec::new();
        let mut say = |text: &str, is_strong, opens: Option<&PathBuf>| {
            rows.push(JobRow {
                text: plain(text),
                is_strong,
                opens: opens.cloned(),
            });
        };
        match self.present_job() {
            Some(OpenJob { job, .. }) => {
                say(&machine_words(job), false, None);
                for line in self.kept_lines(job) {
                    say(&line, true, None);
                }
                if job.is_empty() {
                    say("nothing kept in it yet", false, None);
                }
            }
            None => say(
                "It is made when something is kept: b before, a after, n a named snapshot, w a \
                 check of the wiper, e a note.",
                false,
                None,
            ),
        }
        for entrusted in self.unsaved() {
            let name = entrusted.thing.name();
            say(&format!("NOT SAVED: {name}, r tries again"), true, None);
        }
        let mut others = self.other_jobs().peekable();
        match (&self.machine, others.peek()) {
            (Some(machine), Some(_)) => say(&format!("Earlier jobs of {machine}:"), false, None),
            (Some(machine), None) => say(&format!("No earlier job of {machine}."), false, None),
            (None, Some(_)) => say("Jobs, of machines with and without a name:", false, None),
            (None, None) => say("No earlier job.", false, None),
        }
        for other in others {
            say(&self.other_line(&other.job), true, Some(&other.path));
        }
        rows
    }

    /// What was kept, in the order of time.
    fn kept_lines(&self, job: &Job) -> Vec<String> {
        let snapshots = job.snapshots.iter().map(|it| {
            let figures = self.figures_in_words(it);
            let run = it.run.map(|run| format!(", {run}")).unwrap_or_default();
            let supply = it.supply_volts.map(|volts| format!(", {volts} V"));
            let around = run + &supply.unwrap_or_default();
            (it.taken_at, format!("{} {figures}{around}", it.label))
        });
        let wipers = job.wipers.iter();
        let wipers = wipers.map(|it| (it.at, format!("wiper {}", headline(&it.report))));
        let notes = job.notes.iter().map(|it| (it.at, it.text.clone()));
        let mut all: Vec<(Timestamp, String)> = snapshots.chain(wipers).chain(notes).collect();
        all.sort_by_key(|(at, _)| *at);
        let line = |(at, text)| format!("{} {text}", self.minute_of(at));
        all.into_iter().map(line).collect()
    }

    /// Another job: its day, its name, its machine and what it says at its end.
    fn other_line(&self, job: &Job) -> String {
        let day = job.opened_at.map_or(String::new(), |at| self.day_of(at));
        let name = job.name.strip_prefix(day.as_str()).unwrap_or(&job.name);
        let machine = job
            .machine()
            .filter(|it| self.machine.is_none() && !name.contains(it));
        let machine = machine.map_or(String::new(), |it| format!(" ({it})"));
        let end = match last_of(job, |_| true) {
            Some(last) => format!("{} {}", last.label, self.figures_in_words(last)),
            None if job.snapshots.is_empty() => "nothing measured".to_owned(),
            None => "no speed that tells anything".to_owned(),
        };
        format!("{day} {}{machine}: {end}", name.trim())
    }

    fn figures_in_words(&self, snapshot: &Snapshot) -> String {
        let measurement = &snapshot.measurement;
        let speed = self.speed_in_words(measurement);
        speed + &self.flutter_in_words(measurement)
    }

    /// Moves the mark, by one entry or by a page of them.
    pub(in crate::screen) fn move_in_job(&mut self, rows: isize) {
        let last = self.job_rows().len().saturating_sub(1);
        if let Some(Overlay::Job(at)) = &mut self.overlay {
            *at = at.saturating_add_signed(rows).min(last);
        }
    }

    /// Entries of a page, of one row each.
    pub(in crate::screen) fn job_page(&self) -> isize {
        let rows = i16::try_from(self.size.1.saturating_sub(FRAME));
        isize::from(rows.unwrap_or(i16::MAX).max(1))
    }

    /// Opens the job on which the mark stands.
    pub(in crate::screen) fn take_job_row(&mut self, at: usize) -> Vec<Effect> {
        let mut rows = self.job_rows();
        let opens = rows.get_mut(at).and_then(|row| row.opens.take());
        match opens {
            Some(path) => self.open_job(path),
            None => self.say("no job stands there; Enter opens one of the list below"),
        }
    }
}

/// What is said of the machine.
fn machine_words(job: &Job) -> String {
    let said = About::ALL.iter().filter_map(|about| {
        let text = job.said(*about)?;
        // What the owner says is a sentence of its own.
        let colon = if *about == About::OwnerNote { ":" } else { "" };
        Some(format!("{}{colon} {text}", about.name()))
    });
    let said: Vec<String> = said.collect();
    if said.is_empty() {
        "a machine without a name: m names it".to_owned()
    } else {
        said.join(", ")
    }
}
