//! Keeps what a sitting measured, checked and noted in its job, on a thread of
//! its own: a disk may take seconds, and the needle must not wait for it.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::{self, JoinHandle};

use jiff::Timestamp;

use super::cli::JobOptions;
use super::shell_word::shell_word;
use super::sitting_job::{SittingJobs, kind_of};
use super::tape::today;
use super::{Failure, machine_parts};
use crate::readings::Origin;
use crate::records::cards::CardError;
use crate::records::{
    Entry, Job, JobFile, Label, LinesError, Snapshot, cards, jobs,
    places::{self, Places},
    whole,
};
use crate::references::parts::PartsCard;
use crate::references::same_machine;
use crate::report::numbers::plain;
use crate::screen::{
    Entrusted, Event, Kept, Lesson, OpenJob, SaveResult, Saved, Slot, SourceKind, Thing,
};

/// What waits to be written.
enum Work {
    /// Of this moment.
    Thing(Box<Entrusted>, Timestamp),
    Lesson(Box<Lesson>),
    /// Another job, in place of that of this machine.
    Open(PathBuf, Option<String>),
}

/// The thread that saves, and what it has to say.
pub(super) struct Saving {
    waiting: Sender<Work>,
    done: Receiver<Event>,
    thread: JoinHandle<()>,
    /// When each thing was to be saved first: what could not be then is of that
    /// moment all the same.
    first_tried: RefCell<BTreeMap<u32, Timestamp>>,
}

impl Saving {
    /// Fails only where the system has no thread to give.
    pub(super) fn start(mut keeper: Keeper) -> io::Result<Self> {
        let (waiting, to_save) = channel::<Work>();
        let (say, done) = channel();
        let save_all = move || {
            for work in to_save {
                let done = match work {
                    Work::Thing(it, at) => Event::Saved(it.number, Box::new(keeper.save(*it, at))),
                    Work::Lesson(lesson) => Event::Learnt(Box::new(keeper.learn(&lesson))),
                    Work::Open(path, machine) => {
                        Event::Opened(Box::new(keeper.open_another(&path, machine.as_deref())))
                    }
                };
                if say.send(done).is_err() {
                    return;
                }
            }
        };
        let thread = thread::Builder::new()
            .name("keeper".into())
            .spawn(save_all)?;
        Ok(Self {
            waiting,
            done,
            thread,
            first_tried: RefCell::default(),
        })
    }

    /// Saves it as soon as what was given before is saved; what comes of it at
    /// once.
    pub(super) fn save(&self, entrusted: Entrusted) -> Option<Event> {
        let number = entrusted.number;
        let mut first_tried = self.first_tried.borrow_mut();
        let at = *first_tried.entry(number).or_insert_with(Timestamp::now);
        let work = Work::Thing(Box::new(entrusted), at);
        let refused = self.waiting.send(work).err();
        refused.map(|_| Event::Saved(number, Box::new(Err(STOPPED.to_owned()))))
    }

    /// Puts a part on the card of a machine, likewise.
    pub(super) fn learn(&self, lesson: Lesson) -> Option<Event> {
        let refused = self.waiting.send(Work::Lesson(Box::new(lesson))).err();
        refused.map(|_| Event::Learnt(Box::new(Err(STOPPED.to_owned()))))
    }

    /// Goes on with another job, in place of that of this machine.
    pub(super) fn open(&self, path: PathBuf, machine: Option<String>) -> Option<Event> {
        let refused = self.waiting.send(Work::Open(path, machine)).err();
        refused.map(|_| Event::Opened(Box::new(Err(STOPPED.to_owned()))))
    }

    /// What was saved since it was asked last; never waits.
    pub(super) fn next_done(&self) -> Option<Event> {
        self.done.try_recv().ok()
    }

    /// Waits until everything is saved.
    pub(super) fn finish(self) -> Vec<Event> {
        drop(self.waiting);
        let rest = self.done.iter().collect();
        // A panic of it has been reported on the shell already.
        let _ = self.thread.join();
        rest
    }
}

const STOPPED: &str = "what writes the job has stopped";

/// A job that was named, and what is to be told about it.
pub(super) type Named = (OpenJob, String);

/// Keeps things in a job, and cards beside the jobs.
pub(super) struct Keeper {
    places: Places,
    kind: places::Kind,
    jobs: SittingJobs,
}

impl Keeper {
    /// The job, or the folder for one, must be usable before anything is
    /// measured. Nothing is written yet.
    pub(super) fn check(
        places: &Places,
        source: SourceKind,
        options: &JobOptions,
        machine: Option<&str>,
    ) -> Result<Self, Failure> {
        Ok(Self {
            places: places.clone(),
            kind: kind_of(source),
            jobs: SittingJobs::check(places, source, options, machine)?,
        })
    }

    /// The job that was named is begun, or goes on; it comes back with what is to
    /// be told about it.
    pub(super) fn begin(&mut self) -> Result<Option<Named>, Failure> {
        let named = self.jobs.begin_named()?;
        Ok(named.map(|(file, news)| (open_job(&self.places, self.kind, &file), news)))
    }

    fn open_another(&mut self, path: &Path, machine: Option<&str>) -> Result<OpenJob, String> {
        let file = self.jobs.open_another(path, machine)?;
        Ok(open_job(&self.places, self.kind, &file))
    }

    /// The card with the part on it, and where it lies now, or why it does not.
    /// It grows from what the disk holds now, and what stood there before stays
    /// beside it: a person may have written it, with remarks.
    fn learn(&self, lesson: &Lesson) -> Result<(PartsCard, String), String> {
        if self.is_simulated() {
            return Err("what is simulated goes on no card of a real machine".to_owned());
        }
        let said = |error: CardError| error.to_string();
        let known = machine_parts::of_machine(&self.places, &lesson.machine);
        let is_new = known.is_none();
        let (path, card) = if let Some((path, card)) = known {
            (path, card.map_err(said)?)
        } else {
            if lesson.machine.to_lowercase().ends_with(".toml") {
                return Err("a machine's card needs a plain name: m names it anew".to_owned());
            }
            let path = cards::file_of::<PartsCard>(&self.places, &lesson.machine);
            (path.map_err(said)?, PartsCard::new(&lesson.machine))
        };
        let card = lesson.learnt(card, today())?;
        if !is_new {
            let before = path.with_extension("toml.before");
            std::fs::read(&path)
                .and_then(|card| {
                    // Whoever may not read the one may not read the other, also where
                    // there is an earlier one.
                    let rights = path.metadata()?.permissions();
                    let _ = std::fs::set_permissions(&before, rights.clone());
                    whole::write(&before, true, |mut file| {
                        file.set_permissions(rights)?;
                        file.write_all(&card)
                    })
                })
                .map_err(|error| format!("cannot keep {} first: {error}", before.display()))?;
        }
        cards::write(&path, &card, !is_new).map_err(said)?;
        Ok((card, path.display().to_string()))
    }

    fn is_simulated(&self) -> bool {
        self.kind == places::Kind::Rehearsal
    }

    /// The job that it is in now, or why it is in none. The file is read again
    /// each time, since another program may have added to it.
    fn save(&mut self, entrusted: Entrusted, at: Timestamp) -> SaveResult {
        let (machine, naming) = (entrusted.machine.as_deref(), entrusted.naming);
        let (mut file, torn) = self.jobs.file_under(machine, naming)?;
        let entry = match entrusted.thing {
            Thing::Snapshot(mut kept) => {
                // Somebody may have corrected it meanwhile.
                if let Some(machine) = file.job().machine() {
                    kept.machine = Some(machine.to_owned());
                }
                let mut snapshot = self.snapshot(*kept);
                snapshot.taken_at = at;
                Entry::Snapshot(Box::new(snapshot))
            }
            Thing::Wiper(report) => Entry::Wiper(Box::new(report.writable())),
            Thing::Note(text) => Entry::Note(text),
        };
        let said = |error: LinesError| error.to_string();
        let warning = torn.or(file.add_of(at, entry).map_err(said)?);
        Ok(Saved {
            into: open_job(&self.places, self.kind, &file),
            warning: warning.map(|warning| warning.to_string()),
        })
    }

    fn snapshot(&self, kept: Kept) -> Snapshot {
        let (label, position) = match kept.slot {
            Slot::Before => (Label::Before, None),
            Slot::After => (Label::After, None),
            Slot::Along(position) => (Label::Named(position.name().to_owned()), Some(position)),
            Slot::Named(name) => (Label::Named(name), None),
        };
        let mut snapshot = Snapshot::new(label, kept.source, (*kept.measurement).clone());
        if let Some(card) = &kept.tape {
            snapshot.tape = Some(card.name.clone());
        }
        let card = kept.tape.as_ref().and_then(|it| it.recorded_on.as_deref());
        let ident = kept
            .measurement
            .ident
            .as_ref()
            .map(|it| it.machine.as_str());
        let said = kept.recorded_on.as_deref();
        if let Some(said) = said {
            let said = Origin::Said(said.to_owned());
            snapshot.measurement.answer_where_recorded(&said);
        }
        if [card, ident, said]
            .iter()
            .any(|it| same_machine(*it, kept.machine.as_deref()))
        {
            // The machine may have got its name only after it was begun.
            snapshot.measurement.tell_recorded_here();
        }
        snapshot.tolerance = Some(kept.tolerance.half_width);
        snapshot.machine = kept.machine;
        snapshot.simulated = self.is_simulated();
        snapshot.position = position;
        snapshot.run = kept.run;
        snapshot.supply_volts = kept.supply_volts;
        snapshot.wiper = kept.wiper.map(|report| report.without_picture());
        snapshot.wiper_at_first = kept.wiper_at_first.map(|report| report.without_picture());
        snapshot.wiper_cleanings = kept.wiper_cleanings;
        snapshot
    }
}

/// A job as the screen takes it.
pub(super) fn open_job(places: &Places, kind: places::Kind, file: &JobFile) -> OpenJob {
    OpenJob {
        path: file.path().to_owned(),
        job: Arc::new(without_pictures(file.job())),
        sheet: sheet_command(places, kind, file),
    }
}

/// What the screen shows of a job: figures and words.
fn without_pictures(job: &Job) -> Job {
    let mut job = job.clone();
    for snapshot in &mut job.snapshots {
        snapshot.measurement.track = None;
    }
    for check in &mut job.wipers {
        check.report = check.report.without_picture();
    }
    job
}

/// What makes the sheet of a job, as it is typed.
fn sheet_command(places: &Places, kind: places::Kind, file: &JobFile) -> String {
    let name = &file.job().name;
    let is_found = jobs::find(places, &[kind], name).is_ok_and(|it| it == file.path());
    // What a terminal cannot show or an option looks like is called by its path.
    let by_name = is_found && plain(name) == *name && !name.starts_with('-');
    let path = file.path().display().to_string();
    let called = if by_name { name } else { &path };
    let mut command = format!("tapewright sheet {}", shell_word(called));
    if by_name && kind == places::Kind::Rehearsal {
        command += " --rehearsal";
    }
    if let Some(folder) = places.named_folder().filter(|_| by_name) {
        command += " --data ";
        command += &shell_word(&folder.display().to_string());
    }
    command
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{SweepReport, SweepVerdict};
    use crate::records::About;
    use crate::references::parts::HeardAt;
    use crate::units::Percent;

    fn kept(number: u32, machine: Option<&str>) -> Entrusted {
        let kept = Kept {
            slot: Slot::Named(format!("number {number}")),
            measurement: Arc::new(invented()),
            tolerance: crate::references::Tolerance::default(),
            machine: machine.map(str::to_owned),
            supply_volts: None,
            tape: None,
            recorded_on: None,
            is_new: true,
            run: None,
            wiper: None,
            wiper_at_first: None,
            wiper_cleanings: None,
            source: "line in".to_owned(),
        };
        entrusted(number, machine, Thing::Snapshot(Box::new(kept)))
    }

    fn note(number: u32, machine: Option<&str>) -> Entrusted {
        entrusted(number, machine, Thing::Note(format!("note {number}")))
    }

    fn entrusted(number: u32, machine: Option<&str>, thing: Thing) -> Entrusted {
        Entrusted {
            number,
            thing,
            machine: machine.map(str::to_owned),
            naming: 0,
            saving: true,
        }
    }

    fn invented() -> crate::readings::Measurement {
        use crate::readings::{ChannelChoice, Conditions, Engine, Settings};
        let engine = Engine::new(Settings {
            rate_hz: 48_000,
            channels: 1,
            choice: ChannelChoice::Auto,
            conditions: Conditions::default(),
            tolerance: crate::units::Percent(0.5),
        });
        engine.expect("a usual format").measurement()
    }

    fn opened(
        places: &Places,
        source: SourceKind,
        options: &JobOptions,
        machine: Option<&str>,
    ) -> Result<(Keeper, Option<Named>), Failure> {
        let mut keeper = Keeper::check(places, source, options, machine)?;
        let named = keeper.begin()?;
        Ok((keeper, named))
    }

    fn saving_of(folder: &Path, source: SourceKind, options: &JobOptions) -> Saving {
        let places = Places::in_folder(folder.to_owned());
        let opened = opened(&places, source, options, None);
        let (keeper, _) = opened.unwrap_or_else(|failure| panic!("{}", failure.message));
        Saving::start(keeper).expect("a thread")
    }

    fn saving_for(folder: &Path, options: &JobOptions, machine: Option<&str>) -> Saving {
        let places = Places::in_folder(folder.to_owned());
        let opened = opened(&places, SourceKind::Input, options, machine);
        let (keeper, _) = opened.unwrap_or_else(|failure| panic!("{}", failure.message));
        Saving::start(keeper).expect("a thread")
    }

    fn saving_in(folder: &Path) -> Saving {
        saving_of(folder, SourceKind::Input, &JobOptions::default())
    }

    /// What became of all that was given, by its number.
    fn saved(saving: Saving) -> Vec<(u32, SaveResult)> {
        let done = saving.finish().into_iter().map(|done| match done {
            Event::Saved(number, result) => (number, *result),
            _ => panic!("not saved"),
        });
        done.collect()
    }

    /// All jobs of a folder, by their names.
    fn jobs_in(folder: &Path, kind: places::Kind) -> Vec<(String, Job)> {
        let places = Places::in_folder(folder.to_owned());
        let all = jobs::list(&places, kind).into_iter().map(|(_, opened)| {
            let (file, warnings) = opened.expect("a job");
            assert!(warnings.is_empty(), "{warnings:?}");
            (file.job().name.clone(), file.job().clone())
        });
        all.collect()
    }

    #[test]
    fn everything_given_is_saved_before_it_ends_in_order() {
        let folder = tempfile::tempdir().expect("a folder");
        let saving = saving_in(folder.path());
        for number in 1..=5 {
            assert!(saving.save(kept(number, Some("deck 4"))).is_none());
        }
        let done: Vec<u32> = saved(saving)
            .into_iter()
            .map(|(number, result)| {
                result.expect("saved");
                number
            })
            .collect();
        assert_eq!(done, [1, 2, 3, 4, 5]);
        let all = jobs_in(folder.path(), places::Kind::Measured);
        let [(name, job)] = &all[..] else {
            panic!("{all:?}")
        };
        assert_eq!(*name, format!("{} deck 4", today()));
        assert_eq!(job.machine(), Some("deck 4"));
        let labels: Vec<String> = (job.snapshots.iter())
            .map(|it| it.label.to_string())
            .collect();
        assert_eq!(labels.len(), 5);
        assert_eq!(labels[4], "number 5");
    }

    #[test]
    fn what_cannot_be_saved_comes_back_with_the_reason_and_can_be_tried_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("jobs");
        let saving = saving_in(folder.path());
        // A file in the place of the folder.
        std::fs::write(&path, "").expect("room");
        assert!(saving.save(note(1, None)).is_none());
        let wait = std::iter::repeat_with(|| {
            std::thread::sleep(std::time::Duration::from_millis(5));
            saving.next_done()
        });
        let Some(Event::Saved(1, refused)) = wait.flatten().next() else {
            panic!("nothing came of it")
        };
        let refused = refused.expect_err("no room");
        assert!(refused.contains("jobs"), "{refused}");
        std::fs::remove_file(&path).expect("ours");
        assert!(saving.save(note(1, None)).is_none());
        assert!(saved(saving)[0].1.is_ok());
        let all = jobs_in(folder.path(), places::Kind::Measured);
        assert_eq!(all[0].1.notes[0].text, "note 1");
    }

    /// The next that is done.
    fn next(saving: &Saving) -> SaveResult {
        let mut wait = std::iter::repeat_with(|| {
            std::thread::sleep(std::time::Duration::from_millis(5));
            saving.next_done()
        });
        match wait.find_map(|it| it) {
            Some(Event::Saved(_, result)) => *result,
            _ => panic!("not saved"),
        }
    }

    #[test]
    fn what_is_saved_at_a_second_attempt_is_of_the_moment_of_the_first() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("jobs");
        let saving = saving_in(folder.path());
        std::fs::write(&path, "").expect("room");
        let deck = Some("deck 4");
        let check = entrusted(3, deck, Thing::Wiper(Arc::default()));
        let things = [kept(1, deck), note(2, deck), check];
        for thing in &things {
            saving.save(thing.clone());
            next(&saving).expect_err("no room");
        }
        let tried = jiff::Timestamp::now();
        std::fs::remove_file(&path).expect("ours");
        saving.save(kept(4, deck));
        for thing in &things {
            saving.save(thing.clone());
        }
        assert!(saved(saving).iter().all(|(_, result)| result.is_ok()));
        let all = jobs_in(folder.path(), places::Kind::Measured);
        let job = &all[0].1;
        let of_first = job.snapshots.iter().map(|it| it.taken_at <= tried);
        assert_eq!(of_first.filter(|it| *it).count(), 1);
        assert!(job.notes[0].at <= tried && job.wipers[0].at <= tried);
        assert!(job.last_at > Some(tried));
    }

    fn correct_machine(path: &Path, machine: &str) {
        let (mut file, _) = JobFile::open(path).expect("a job");
        file.say(About::Machine, machine).expect("room");
    }

    #[test]
    fn a_machine_that_is_corrected_meanwhile_stays_in_its_job() {
        let folder = tempfile::tempdir().expect("a folder");
        let saving = saving_in(folder.path());
        saving.save(kept(1, Some("deck 3")));
        let path = next(&saving).expect("saved").into.path;
        correct_machine(&path, "deck 4");
        saving.save(kept(2, Some("deck 3")));
        // What was under way when that was told.
        saving.save(note(3, Some("Deck-3")));
        assert!(saved(saving).iter().all(|(_, result)| result.is_ok()));
        let all = jobs_in(folder.path(), places::Kind::Measured);
        let [(_, job)] = &all[..] else {
            panic!("{all:?}")
        };
        assert_eq!(job.machine(), Some("deck 4"));
        let machines = job.snapshots.iter().map(|it| it.machine.as_deref());
        assert_eq!(machines.collect::<Vec<_>>(), [Some("deck 4"); 2]);
        assert_eq!((job.notes.len(), job.corrections.len()), (1, 1));
    }

    #[test]
    fn a_machine_named_anew_is_another_one_than_the_one_that_was_corrected() {
        let folder = tempfile::tempdir().expect("a folder");
        let saving = saving_in(folder.path());
        saving.save(note(1, Some("deck 3")));
        let path = next(&saving).expect("saved").into.path;
        correct_machine(&path, "deck 4");
        saving.save(Entrusted {
            naming: 1,
            ..note(2, Some("deck 3"))
        });
        let other = next(&saving).expect("saved").into;
        assert_ne!(other.path, path);
        assert_eq!(other.job.machine(), Some("deck 3"));
    }

    #[test]
    fn a_sitting_that_may_still_be_refused_writes_nothing() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let options = JobOptions {
            job: Some("repair 117".to_owned()),
            serial: Some("0042".to_owned()),
            ..JobOptions::default()
        };
        let checked = Keeper::check(&places, SourceKind::Input, &options, Some("deck 4"));
        let mut keeper = checked.unwrap_or_else(|failure| panic!("{}", failure.message));
        let there = || jobs_in(folder.path(), places::Kind::Measured).len();
        assert_eq!(there(), 0);
        assert!(keeper.begin().is_ok_and(|named| named.is_some()));
        assert_eq!(there(), 1);
        assert!(keeper.begin().is_ok_and(|named| named.is_none()));
    }

    #[test]
    fn a_correction_holds_in_a_job_in_which_nothing_was_kept_yet() {
        let folder = tempfile::tempdir().expect("a folder");
        let options = JobOptions {
            job: Some("repair 117".to_owned()),
            ..JobOptions::default()
        };
        let saving = saving_for(folder.path(), &options, Some("deck 3"));
        let path = folder.path().join("jobs").join("repair-117.jsonl");
        correct_machine(&path, "deck 4");
        saving.save(kept(1, Some("deck 3")));
        let into = next(&saving).expect("saved").into;
        assert_eq!(into.job.machine(), Some("deck 4"));
        assert_eq!(into.job.snapshots[0].machine.as_deref(), Some("deck 4"));
    }

    #[test]
    fn what_the_command_line_says_is_said_of_the_machine_that_it_names() {
        let folder = tempfile::tempdir().expect("a folder");
        let options = JobOptions {
            serial: Some("0042".to_owned()),
            ..JobOptions::default()
        };
        let saving = saving_for(folder.path(), &options, Some("deck 4"));
        for (number, machine) in [(1, "deck 5"), (2, "Deck-4")] {
            saving.save(note(number, Some(machine)));
        }
        assert!(saved(saving).iter().all(|(_, result)| result.is_ok()));
        let all = jobs_in(folder.path(), places::Kind::Measured);
        let serials = all.iter().map(|(_, job)| job.said(About::Serial));
        assert_eq!(serials.collect::<Vec<_>>(), [None, Some("0042")]);
    }

    #[test]
    fn a_job_that_was_moved_away_takes_no_other_machine() {
        let folder = tempfile::tempdir().expect("a folder");
        let saving = saving_in(folder.path());
        let keep = |number, machine, naming| {
            saving.save(Entrusted {
                naming,
                ..note(number, Some(machine))
            });
            next(&saving).expect("saved").into
        };
        let first = keep(1, "deck 4", 0);
        let second = keep(2, "deck 5", 1);
        std::fs::remove_file(&second.path).expect("ours");
        let again = keep(3, "deck 4", 2);
        assert_eq!((&again.path, again.job.notes.len()), (&first.path, 2));
        let other = keep(4, "deck 6", 3);
        assert_eq!(other.job.name, format!("{} deck 6", today()));
        // The place of the one on the bench is begun anew.
        std::fs::remove_file(&other.path).expect("ours");
        let anew = keep(5, "deck 6", 3);
        assert_eq!((&anew.path, anew.job.notes.len()), (&other.path, 1));
    }

    #[test]
    fn a_job_is_gone_on_with_under_its_own_name_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let open = |name: &str| {
            let options = JobOptions {
                job: Some(name.to_owned()),
                ..JobOptions::default()
            };
            let opened = opened(&places, SourceKind::Input, &options, None)?;
            Ok::<_, Failure>(opened.1.expect("named"))
        };
        let (_, news) = open("117/1").expect("new");
        assert_eq!(news, "new job 117/1");
        for other in ["117.1", "117-1", "117 1"] {
            let refused = open(other).expect_err("another's").message;
            assert!(refused.contains("\"117/1\""), "{refused}");
        }
        let (job, news) = open(" 117/1").expect("the same");
        assert!(news.contains("job 117/1 goes on"), "{news}");
        // A copy under another name is still that job.
        let renamed = job.path.with_file_name("Copy (2).jsonl");
        std::fs::rename(&job.path, &renamed).expect("room");
        let (job, news) = open("117/1").expect("the same");
        assert!(news.contains("job 117/1 goes on"), "{news}");
        assert_eq!(job.path, renamed);
        assert!(job.sheet.contains("sheet \"117/1\"") || job.sheet.contains("sheet 117/1"));
    }

    #[test]
    fn checks_and_notes_go_into_the_job_too_with_the_picture_of_the_check() {
        let folder = tempfile::tempdir().expect("a folder");
        let options = JobOptions {
            job: Some("repair 117".to_owned()),
            serial: Some("0042".to_owned()),
            owner_note: Some("runs slow".to_owned()),
            supply: Some(" ".to_owned()),
        };
        let saving = saving_of(folder.path(), SourceKind::Input, &options);
        let mut report = SweepReport {
            verdict: SweepVerdict::Smooth,
            // JSON has no such number.
            evidence: f64::INFINITY,
            ..SweepReport::default()
        };
        report.picture.speed = vec![Some(Percent(0.1)), None];
        saving.save(entrusted(1, None, Thing::Wiper(Arc::new(report.clone()))));
        saving.save(note(2, Some("deck 4")));
        let done = saved(saving);
        let sheet = &done[1].1.as_ref().expect("saved").into.sheet;
        let folder_word = shell_word(folder.path().to_str().expect("text")).into_owned();
        assert_eq!(
            *sheet,
            format!("tapewright sheet \"repair 117\" --data {folder_word}")
        );
        let all = jobs_in(folder.path(), places::Kind::Measured);
        let (name, job) = &all[0];
        assert_eq!((name.as_str(), all.len()), ("repair 117", 1));
        assert_eq!(job.wipers[0].report.picture, report.picture);
        assert_eq!(job.notes[0].text, "note 2");
        let said = About::ALL.map(|about| job.said(about));
        let expected = [Some("deck 4"), Some("0042"), Some("runs slow"), None];
        assert_eq!(said, expected);
    }

    #[test]
    fn another_machine_is_another_job_and_the_first_is_gone_on_with() {
        let folder = tempfile::tempdir().expect("a folder");
        let options = JobOptions {
            job: Some("repair 117".to_owned()),
            serial: Some("0042".to_owned()),
            ..JobOptions::default()
        };
        let saving = saving_of(folder.path(), SourceKind::Input, &options);
        let machines = [
            None,
            Some("deck 4"),
            Some("deck 5"),
            Some("Deck-4"),
            None,
            Some("deck 5"),
        ];
        for (number, machine) in (1..).zip(machines) {
            saving.save(note(number, machine));
        }
        assert!(saved(saving).iter().all(|(_, result)| result.is_ok()));
        let all = jobs_in(folder.path(), places::Kind::Measured);
        let told: Vec<_> = all
            .iter()
            .map(|(name, job)| {
                let notes: Vec<&str> = job.notes.iter().map(|it| it.text.as_str()).collect();
                (name.as_str(), notes.join(", "), job.said(About::Serial))
            })
            .collect();
        let other = format!("{} deck 5", today());
        let expected = [
            (
                "repair 117",
                "note 1, note 2, note 4, note 5".to_owned(),
                Some("0042"),
            ),
            (other.as_str(), "note 3, note 6".to_owned(), None),
        ];
        assert_eq!(told, expected);
        assert!(all.iter().all(|(_, job)| job.corrections.is_empty()));
    }

    #[test]
    fn a_job_of_today_goes_on_and_two_machines_without_a_name_are_two_jobs() {
        let folder = tempfile::tempdir().expect("a folder");
        for machine in [Some("deck 4"), Some("DECK 4"), None, None] {
            let saving = saving_in(folder.path());
            saving.save(note(1, machine));
            assert!(saved(saving)[0].1.is_ok());
        }
        let all = jobs_in(folder.path(), places::Kind::Measured);
        let counts: Vec<usize> = all.iter().map(|(_, job)| job.notes.len()).collect();
        assert_eq!(counts, [2, 1, 1]);
    }

    #[test]
    fn two_programs_keep_into_one_job() {
        let folder = tempfile::tempdir().expect("a folder");
        let options = JobOptions {
            job: Some("a".to_owned()),
            ..JobOptions::default()
        };
        let both = [0, 1].map(|_| saving_of(folder.path(), SourceKind::Input, &options));
        for number in 1..=20 {
            for saving in &both {
                saving.save(note(number, Some("deck 4")));
            }
        }
        for saving in both {
            assert!(saved(saving).iter().all(|(_, result)| result.is_ok()));
        }
        let all = jobs_in(folder.path(), places::Kind::Measured);
        assert_eq!((all.len(), all[0].1.notes.len()), (1, 40));
        assert_eq!(all[0].1.machine(), Some("deck 4"));
        assert!(all[0].1.corrections.is_empty());
    }

    #[test]
    fn a_job_of_another_machine_or_of_the_simulated_one_is_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let open = |source, name: &str, machine, serial: Option<&str>| {
            let options = JobOptions {
                job: Some(name.to_owned()),
                serial: serial.map(str::to_owned),
                ..JobOptions::default()
            };
            opened(&places, source, &options, machine).map_err(|it| it.message)
        };
        let told = |opened: &(Keeper, Option<Named>)| {
            let (_, named) = opened;
            named.as_ref().map(|(_, news)| news.clone())
        };
        let named = open(SourceKind::Input, "a", Some("deck 4"), Some("1")).expect("new");
        assert_eq!(told(&named).as_deref(), Some("new job a"));
        let saving = Saving::start(named.0).expect("a thread");
        saving.save(note(1, Some("deck 4")));
        drop(saved(saving));
        let again = open(SourceKind::Recording, "A", Some("Deck-4"), None).expect("the same");
        assert_eq!(told(&again).as_deref(), Some("job a goes on: 1 note"));
        let elsewhere = folder.path().join("elsewhere.jsonl");
        let elsewhere = elsewhere.to_str().expect("text");
        let apart = open(SourceKind::Input, elsewhere, None, None).expect("new");
        assert_eq!(told(&apart).as_deref(), Some("new job elsewhere"));
        let (named, _) = apart.1.expect("it was named");
        assert_eq!(
            named.sheet,
            format!("tapewright sheet {}", shell_word(elsewhere))
        );
        let file: PathBuf = folder.path().join("jobs").join("a.jsonl");
        let before = std::fs::read(&file).expect("there");
        let by_path = file.to_str().expect("text");
        for (refused, why) in [
            (open(SourceKind::Input, "a", Some("deck 5"), None), "deck 4"),
            (
                open(SourceKind::Input, "a", None, Some("2")),
                "serial number",
            ),
            (
                open(SourceKind::Rehearsal, by_path, None, None),
                "a real machine",
            ),
            (open(SourceKind::Input, "..", None, None), "no name"),
        ] {
            let said = refused.err().expect("refused");
            assert!(said.contains(why), "{said}");
        }
        assert_eq!(std::fs::read(&file).expect("there"), before);
    }

    #[test]
    fn a_rehearsal_keeps_apart() {
        let folder = tempfile::tempdir().expect("a folder");
        let saving = saving_of(folder.path(), SourceKind::Rehearsal, &JobOptions::default());
        saving.save(kept(1, Some("deck 4")));
        let done = saved(saving);
        let sheet = &done[0].1.as_ref().expect("saved").into.sheet;
        assert!(sheet.contains(" deck 4\" --rehearsal --data "), "{sheet}");
        assert!(jobs_in(folder.path(), places::Kind::Measured).is_empty());
        let all = jobs_in(folder.path(), places::Kind::Rehearsal);
        assert!(all[0].1.simulated && all[0].1.snapshots[0].simulated);
    }

    fn lesson(part: &str) -> Lesson {
        let line = serde_json::json!({
            "hz": 7.6, "hz_uncertainty": 0.002, "peak": 0.1, "peak_uncertainty": 0.002,
            "weighted_share": 0.5
        });
        Lesson {
            machine: "bench deck".to_owned(),
            part: part.to_owned(),
            harmonic: 1,
            line: serde_json::from_value(line).expect("a line"),
            at: HeardAt::new(
                Percent(0.0),
                Some(Percent(0.05)),
                Some(Percent(0.1)),
                false,
                None,
            ),
        }
    }

    fn learnt(folder: &Path, kind: SourceKind, part: &str) -> Result<(PartsCard, String), String> {
        let saving = saving_of(folder, kind, &JobOptions::default());
        assert!(saving.learn(lesson(part)).is_none());
        match saving.finish().pop() {
            Some(Event::Learnt(result)) => *result,
            _ => panic!("nothing came of it"),
        }
    }

    /// A person may have written it, under another name than its file's.
    #[test]
    fn learning_keeps_what_a_person_wrote() {
        let folder = tempfile::tempdir().expect("a folder");
        let parts = folder.path().join("parts");
        std::fs::create_dir(&parts).expect("room");
        let path = parts.join("Bench Deck.toml");
        let by_hand = "# mine\nparts_card = 1\nname = \"the big one\"\n[[part]]\nname = \"motor\"\n\
            turns_per_second = 33.0\n";
        std::fs::write(&path, by_hand).expect("room");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            let own = std::fs::Permissions::from_mode(0o600);
            std::fs::set_permissions(&path, own).expect("it is ours");
        }
        std::fs::write(path.with_extension("toml.before"), "open to all").expect("room");
        let (card, place) = learnt(folder.path(), SourceKind::Input, "capstan").expect("learnt");
        assert_eq!(place, path.display().to_string());
        assert!(
            card.part("motor").is_some() && card.part("capstan").is_some(),
            "{card:?}"
        );
        let before = path.with_extension("toml.before");
        assert_eq!(std::fs::read_to_string(&before).expect("kept"), by_hand);
        let rights = |path: &Path| path.metadata().expect("it is there").permissions();
        assert_eq!(rights(&before), rights(&path));
        // What is broken is not written over.
        std::fs::write(&path, "parts_card = 9").expect("room");
        let refused = learnt(folder.path(), SourceKind::Input, "belt").expect_err("broken");
        assert!(refused.contains("Bench Deck.toml"), "{refused}");
        assert_eq!(
            std::fs::read_to_string(&path).expect("there"),
            "parts_card = 9"
        );
    }

    #[test]
    fn what_is_simulated_goes_on_no_card() {
        let folder = tempfile::tempdir().expect("a folder");
        assert!(learnt(folder.path(), SourceKind::Rehearsal, "capstan").is_err());
        assert!(learnt(folder.path(), SourceKind::Input, "capstan").is_ok());
        assert!(folder.path().join("parts").join("bench-deck.toml").exists());
    }
}
