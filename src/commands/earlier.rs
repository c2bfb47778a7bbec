//! Earlier jobs of the machine on the bench, looked up on a thread of their
//! own: a folder of a thousand jobs takes its time to read.

use std::cell::Cell;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;

use super::keeper::open_job;
use crate::records::jobs;
use crate::records::places::{Kind, Places};
use crate::references::same_machine;
use crate::screen::EarlierJobs;

/// The newest jobs that are shown. A choice.
const MOST: usize = 200;

/// See the module.
pub(super) struct Earlier {
    places: Places,
    kind: Kind,
    newest: Cell<u64>,
    tell: Sender<(u64, EarlierJobs)>,
    found: Receiver<(u64, EarlierJobs)>,
}

impl Earlier {
    pub(super) fn new(places: Places, kind: Kind) -> Self {
        let (tell, found) = mpsc::channel();
        Self {
            places,
            kind,
            newest: Cell::new(0),
            tell,
            found,
        }
    }

    /// Begins to look for the jobs of this machine; all jobs where it has no
    /// name.
    pub(super) fn look(&self, machine: Option<String>) {
        let number = self.newest.get() + 1;
        self.newest.set(number);
        let (places, kind, tell) = (self.places.clone(), self.kind, self.tell.clone());
        let work = move || {
            let found = jobs_of(&places, kind, machine);
            // The screen may have been left meanwhile.
            let _ = tell.send((number, found));
        };
        // Without a thread to be had, none are shown.
        let _ = thread::Builder::new().name("earlier".into()).spawn(work);
    }

    /// What was found; only the newest question counts.
    pub(super) fn next_found(&self) -> Option<EarlierJobs> {
        let (number, found) = self.found.try_recv().ok()?;
        (number == self.newest.get()).then_some(found)
    }
}

/// The newest first. What cannot be read is told by tapewright jobs.
fn jobs_of(places: &Places, kind: Kind, machine: Option<String>) -> EarlierJobs {
    let all = jobs::list(places, kind).into_iter().rev();
    let usable = all.filter_map(|(_, opened)| opened.ok());
    let is_its = |named: Option<&str>| match &machine {
        Some(machine) => same_machine(named, Some(machine)),
        None => true,
    };
    let its = usable.filter(|(file, _)| file.is_begun() && is_its(file.job().machine()));
    let jobs = its
        .take(MOST)
        .map(|(file, _)| open_job(places, kind, &file));
    EarlierJobs {
        jobs: jobs.collect(),
        machine,
    }
}
