//! Earlier jobs of the machine on the bench, looked up on a thread of their
//! own: a folder of a thousand jobs takes its time to read.

use std::cell::Cell;
use std::cmp::Reverse;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;

use super::keeper::open_job;
use crate::records::places::{Kind, Places};
use crate::records::{JobFile, jobs};
use crate::references::same_machine;
use crate::screen::{EarlierJobs, OpenJob};

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

/// The newest first. What cannot be read is told by tapewright jobs. One file
/// is read after the other: of a job of another machine nothing stays.
fn jobs_of(places: &Places, kind: Kind, machine: Option<String>) -> EarlierJobs {
    let is_its = |named: Option<&str>| match &machine {
        Some(machine) => same_machine(named, Some(machine)),
        None => true,
    };
    let open = |path| {
        let (file, _) = JobFile::open(path).ok()?;
        let is_shown = file.is_begun() && is_its(file.job().machine());
        is_shown.then(|| open_job(places, kind, &file))
    };
    let files = jobs::files(places, kind).unwrap_or_default();
    let mut jobs: Vec<OpenJob> = files.into_iter().filter_map(open).collect();
    let age = |it: &OpenJob| Reverse((it.job.opened_at, it.path.clone()));
    jobs.sort_by_cached_key(age);
    jobs.truncate(MOST);
    EarlierJobs { machine, jobs }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::{About, Entry};

    #[test]
    fn the_jobs_of_one_machine_are_found_the_newest_first_and_a_broken_one_is_passed_over() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        for (name, machine) in [
            ("b", Some("deck 4")),
            ("c", Some("deck 5")),
            ("d", None),
            ("a", Some("Deck-4")),
        ] {
            let path = jobs::file_of(&places, Kind::Measured, name).expect("a name");
            let (mut file, _) = JobFile::open(path).expect("free");
            let (name, simulated) = (name.to_owned(), false);
            file.add(Entry::Opened { name, simulated }).expect("room");
            if let Some(machine) = machine {
                file.say(About::Machine, machine).expect("room");
            }
        }
        let jobs = places.jobs(Kind::Measured).expect("a folder");
        std::fs::write(jobs.join("broken.jsonl"), "Dear aunt").expect("room");
        let found = |machine: Option<&str>| {
            let earlier = Earlier::new(places.clone(), Kind::Measured);
            // Only the newest question is answered.
            earlier.look(Some("deck 5".to_owned()));
            earlier.look(machine.map(str::to_owned));
            let mut wait = std::iter::repeat_with(|| {
                thread::sleep(std::time::Duration::from_millis(5));
                earlier.next_found()
            });
            let found = wait.find_map(|it| it).expect("it goes on for ever");
            let names = found.jobs.iter().map(|it| it.job.name.clone());
            names.collect::<String>()
        };
        assert_eq!(found(Some("deck 4")), "ab");
        assert_eq!(found(None), "adcb");
    }
}
