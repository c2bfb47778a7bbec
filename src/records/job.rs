//! A job: everything kept of one machine while it was worked on, in one file of
//! lines that is only ever appended to. What was wrong is corrected by a new
//! line that names the old one.
//!
//! A line says when, by which version, and one [`Entry`]. [`Job`] is what the
//! lines of a file come to.

use std::io;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::lines::{Kind, LinesError, LinesWarning, Words, append, check_place, open, unwritten};
use super::snapshot::Snapshot;
use crate::readings::SweepReport;
use crate::references::same_machine;

/// Schema of the lines that this version writes.
const SCHEMA: &str = "tapewright.job/1";

pub(super) const LINES: Kind<Line> = Kind {
    begins: b"{\"schema\":\"tapewright.job/",
    schema: SCHEMA,
    is_possible: |_| true,
    words: &Words {
        file: "the job",
        other: "is no job",
        entry: "line of the job",
        again: "take it again",
        taken: "counted",
        newer: "use that version to see it",
    },
};

/// A line of a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// When what it says was done or seen, mostly just before it was written.
    pub at: Timestamp,
    /// Version of the program that wrote it.
    pub program: String,
    /// What it says.
    #[serde(flatten)]
    pub entry: Entry,
}

/// What a line of a job says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Entry {
    /// The job begins; the first line.
    Opened {
        /// As the user named it, or made of the day and the machine.
        name: String,
        /// Of the simulated machine: invented, not measured.
        simulated: bool,
    },
    /// Something about the machine, or another thing in place of it.
    Said {
        /// What it is about.
        about: About,
        /// What holds from here on.
        is: String,
        /// What was said before, where this corrects it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        was: Option<String>,
    },
    /// What was done or seen.
    Note(String),
    /// Another text in place of a note.
    NoteCorrected {
        /// Which note, from 1.
        number: usize,
        /// Its text now.
        is: String,
        /// Its text before.
        was: String,
    },
    /// A measurement.
    Snapshot(Box<Snapshot>),
    /// A check of the trimmer's wiper, with its picture.
    Wiper(Box<SweepReport>),
}

/// What can be said about the machine of a job.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum About {
    /// Its name on the bench.
    Machine,
    /// Its serial number, as it was typed.
    Serial,
    /// What its owner says of it.
    OwnerNote,
    /// How it is supplied: cells, mains, a bench supply.
    Supply,
}

impl About {
    /// All of them, in the order in which they are shown.
    pub const ALL: [Self; 4] = [Self::Machine, Self::Serial, Self::OwnerNote, Self::Supply];

    /// As people read it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Machine => "machine",
            Self::Serial => "serial number",
            Self::OwnerNote => "owner's note",
            Self::Supply => "supply",
        }
    }
}

/// A note as it stands now.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// When it was written first.
    pub at: Timestamp,
    /// Its text.
    pub text: String,
}

/// A check of the wiper.
#[derive(Clone, Debug, PartialEq)]
pub struct WiperCheck {
    /// When it ended.
    pub at: Timestamp,
    /// What came of it.
    pub report: SweepReport,
}

/// What was corrected; the old text stays to be seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// When.
    pub at: Timestamp,
    /// What: `machine`, `note 2`.
    pub what: String,
    /// The text before.
    pub was: String,
    /// The text now.
    pub is: String,
}

/// What the lines of a job come to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Job {
    /// As it is called.
    pub name: String,
    /// When it was begun; `None` before anything is written.
    pub opened_at: Option<Timestamp>,
    /// When its last line was written.
    pub last_at: Option<Timestamp>,
    /// Of the simulated machine.
    pub simulated: bool,
    /// Versions of the program that wrote it, in order, each once.
    pub programs: Vec<String>,
    /// What is said of the machine, in the order of [`About::ALL`].
    said: [Option<String>; About::ALL.len()],
    /// Notes as they stand, oldest first; they are called by number, from 1.
    pub notes: Vec<Note>,
    /// Measurements, oldest first, each under the machine's name as it stands.
    pub snapshots: Vec<Snapshot>,
    /// Checks of the wiper, oldest first.
    pub wipers: Vec<WiperCheck>,
    /// What was corrected, oldest first.
    pub corrections: Vec<Correction>,
}

impl Job {
    /// What holds about its machine; `None` where nobody has said.
    pub fn said(&self, about: About) -> Option<&str> {
        self.said[about as usize].as_deref()
    }

    /// Name of its machine.
    pub fn machine(&self) -> Option<&str> {
        self.said(About::Machine)
    }

    /// Nothing was measured, checked or noted yet.
    pub fn is_empty(&self) -> bool {
        self.snapshots.is_empty() && self.wipers.is_empty() && self.notes.is_empty()
    }

    /// What is kept of this machine may go into it. One in which nothing is
    /// kept yet takes another name of its machine.
    pub fn takes(&self, machine: Option<&str>) -> bool {
        let both = self.machine().zip(machine);
        self.is_empty() || both.is_none_or(|(old, new)| same_machine(Some(old), Some(new)))
    }

    /// Its machine was called so until somebody corrected it.
    pub fn was_called(&self, machine: &str) -> bool {
        let mut corrections = self.corrections.iter();
        corrections.any(|it| {
            it.what == About::Machine.name() && same_machine(Some(&it.was), Some(machine))
        })
    }

    fn take(&mut self, line: Line) {
        self.last_at = self.last_at.max(Some(line.at));
        if !self.programs.contains(&line.program) {
            self.programs.push(line.program);
        }
        match line.entry {
            // Two programs may have begun it at once.
            Entry::Opened { name, simulated } => {
                if self.opened_at.is_none() {
                    self.opened_at = Some(line.at);
                    self.name = name;
                }
                self.simulated |= simulated;
            }
            Entry::Said { about, is, was } => self.take_said(line.at, about, is, was),
            Entry::Note(text) => self.notes.push(Note { at: line.at, text }),
            Entry::NoteCorrected { number, is, was } => {
                if let Some(note) = number.checked_sub(1).and_then(|at| self.notes.get_mut(at)) {
                    note.text.clone_from(&is);
                }
                self.corrected(line.at, format!("note {number}"), was, is);
            }
            Entry::Snapshot(snapshot) => self.take_snapshot(*snapshot),
            Entry::Wiper(report) => self.wipers.push(WiperCheck {
                at: line.at,
                report: *report,
            }),
        }
    }

    /// A recording may be kept long after it was taken.
    fn take_snapshot(&mut self, mut snapshot: Snapshot) {
        self.simulated |= snapshot.simulated;
        // A job is of one machine, also while nobody says which is on the bench, and
        // where one program keeps while another corrects its name.
        let named = snapshot.machine.take().filter(|it| !self.was_called(it));
        snapshot.machine = named.or(self.machine().map(str::to_owned));
        let is_older = |it: &Snapshot| it.taken_at <= snapshot.taken_at;
        let at = self.snapshots.partition_point(is_older);
        self.snapshots.insert(at, snapshot);
    }

    fn take_said(&mut self, at: Timestamp, about: About, is: String, was: Option<String>) {
        let known = self.said[about as usize].take();
        if about == About::Machine {
            self.name_snapshots([was.as_deref(), known.as_deref()], &is);
        }
        // Two programs may have said it first, each without knowing of the other.
        if let Some(was) = was.or(known).filter(|was| *was != is) {
            self.corrected(at, about.name().to_owned(), was, is.clone());
        }
        self.said[about as usize] = Some(is);
    }

    /// What was kept under the wrong names is the same machine's, and so is what
    /// was kept before somebody named it. Two programs may have corrected one
    /// name at once, so both that count as wrong are looked for.
    fn name_snapshots(&mut self, wrong: [Option<&str>; 2], is: &str) {
        for snapshot in &mut self.snapshots {
            let named = snapshot.machine.as_deref();
            if named.is_none() || wrong.iter().any(|it| same_machine(named, *it)) {
                snapshot.machine = Some(is.to_owned());
            }
        }
    }

    fn corrected(&mut self, at: Timestamp, what: String, was: String, is: String) {
        self.corrections.push(Correction { at, what, was, is });
    }
}

/// The file of a job and what it comes to.
#[derive(Debug)]
pub struct JobFile {
    path: PathBuf,
    job: Job,
}

impl JobFile {
    /// Opens a job, which need not exist yet, and reads what it holds. Changes
    /// nothing on the disk.
    pub fn open(path: impl Into<PathBuf>) -> Result<(Self, Vec<LinesWarning>), LinesError> {
        let path = path.into();
        if path.is_symlink() {
            // Whoever puts one among the jobs could have any file written.
            let source = io::Error::other("it is a link, and a job never is");
            let of = LINES.words;
            return Err(LinesError::Read { path, source, of });
        }
        let (lines, warnings) = open(&path, &LINES)?;
        let mut job = Job {
            // Until a line says another.
            name: path
                .file_stem()
                .unwrap_or_default()
                .to_string_lossy()
                .into(),
            ..Job::default()
        };
        for line in lines {
            job.take(line);
        }
        Ok((Self { path, job }, warnings))
    }

    /// Whether lines can be added, as far as that can be told without adding
    /// one.
    pub fn check_place(&self) -> Result<(), LinesError> {
        check_place(&self.path).map_err(|source| unwritten(&self.path, source, LINES.words))
    }

    /// What is listed among many needs no curve against time.
    #[must_use]
    pub(super) fn without_tracks(mut self) -> Self {
        for snapshot in &mut self.job.snapshots {
            snapshot.measurement.track = None;
        }
        self
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What it comes to.
    pub fn job(&self) -> &Job {
        &self.job
    }

    /// Something has been written in it, even if the line that opens it is torn.
    pub fn is_begun(&self) -> bool {
        self.job.last_at.is_some()
    }

    /// Adds a line that says this now, and forces it to the disk. A last line
    /// that was torn is first moved to a file beside the job; the warning says
    /// so. Folders are made as needed.
    pub fn add(&mut self, entry: Entry) -> Result<Option<LinesWarning>, LinesError> {
        self.add_of(Timestamp::now(), entry)
    }

    /// The same of an earlier moment.
    pub fn add_of(
        &mut self,
        at: Timestamp,
        entry: Entry,
    ) -> Result<Option<LinesWarning>, LinesError> {
        #[derive(Serialize)]
        struct Written<'a> {
            schema: &'static str,
            #[serde(flatten)]
            line: &'a Line,
        }
        let line = Line {
            at,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            entry,
        };
        let written = Written {
            schema: SCHEMA,
            line: &line,
        };
        let torn = append(&self.path, &written, &LINES)?;
        self.job.take(line);
        Ok(torn)
    }

    /// Says something about the machine: as a correction where something else
    /// was said before; nothing where that is what holds.
    pub fn say(&mut self, about: About, is: &str) -> Result<Option<LinesWarning>, LinesError> {
        let was = self.job.said(about).map(str::to_owned);
        if was.as_deref() == Some(is) {
            return Ok(None);
        }
        let is = is.to_owned();
        self.add(Entry::Said { about, is, was })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Measurement;
    use crate::records::Label;

    fn opened(path: &Path) -> JobFile {
        let (mut file, warnings) = JobFile::open(path).expect("a job");
        assert!(warnings.is_empty(), "{warnings:?}");
        let opened = Entry::Opened {
            name: "repair 117".to_owned(),
            simulated: false,
        };
        file.add(opened).expect("room");
        file
    }

    #[test]
    fn what_is_added_is_there_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("jobs").join("repair-117.jsonl");
        let mut file = opened(&path);
        file.say(About::Machine, "deck 4").expect("room");
        file.say(About::Serial, "0042").expect("room");
        file.add(Entry::Note("new belt".to_owned())).expect("room");
        let mut snapshot = Snapshot::new(Label::Before, "line in", Measurement::default());
        snapshot.machine = Some("deck 4".to_owned());
        file.add(Entry::Snapshot(Box::new(snapshot))).expect("room");
        file.add(Entry::Wiper(Box::default())).expect("room");
        let (again, warnings) = JobFile::open(&path).expect("a job");
        assert!(warnings.is_empty(), "{warnings:?}");
        assert_eq!(again.job(), file.job());
        let job = again.job();
        assert_eq!(job.name, "repair 117");
        assert_eq!(job.machine(), Some("deck 4"));
        assert_eq!((job.snapshots.len(), job.wipers.len()), (1, 1));
        assert!(job.corrections.is_empty());
        assert_eq!(job.programs, [env!("CARGO_PKG_VERSION")]);
    }

    #[test]
    fn what_was_kept_before_the_machine_was_named_is_of_that_machine() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut file = opened(&folder.path().join("job.jsonl"));
        let snapshot = Snapshot::new(Label::Before, "line in", Measurement::default());
        file.add(Entry::Snapshot(Box::new(snapshot))).expect("room");
        file.say(About::Machine, "deck 4").expect("room");
        assert_eq!(file.job().snapshots[0].machine.as_deref(), Some("deck 4"));
        assert!(file.job().corrections.is_empty());
    }

    #[test]
    fn snapshots_stand_by_the_time_they_were_taken_in_whatever_order_they_are_kept() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("job.jsonl");
        let mut file = opened(&path);
        let days = ["2026-03-02", "2026-03-01", "2026-03-03", "2026-03-01"];
        for (number, day) in (1..).zip(days) {
            let label = Label::Named(format!("no. {number}"));
            let mut snapshot = Snapshot::new(label, "line in", Measurement::default());
            snapshot.taken_at = format!("{day}T12:00:00Z").parse().expect("a time");
            file.add(Entry::Snapshot(Box::new(snapshot))).expect("room");
        }
        let (again, _) = JobFile::open(&path).expect("a job");
        assert_eq!(again.job(), file.job());
        let order = again.job().snapshots.iter();
        let order: Vec<String> = order.map(|it| it.label.to_string()).collect();
        assert_eq!(order, ["no. 2", "no. 4", "no. 1", "no. 3"]);
    }

    #[test]
    fn what_is_kept_while_nobody_names_the_machine_is_of_that_of_the_job() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut file = opened(&folder.path().join("job.jsonl"));
        file.say(About::Machine, "deck 4").expect("room");
        let snapshot = Snapshot::new(Label::After, "line in", Measurement::default());
        file.add(Entry::Snapshot(Box::new(snapshot))).expect("room");
        assert_eq!(file.job().snapshots[0].machine.as_deref(), Some("deck 4"));
    }

    #[test]
    fn what_one_program_keeps_while_another_corrects_the_machine_is_of_that_machine() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut file = opened(&folder.path().join("job.jsonl"));
        for name in ["deck 3", "deck 4"] {
            file.say(About::Machine, name).expect("room");
        }
        for name in ["deck 3", "deck 4", "deck 5"] {
            let mut snapshot = Snapshot::new(Label::After, "line in", Measurement::default());
            snapshot.machine = Some(name.to_owned());
            file.add(Entry::Snapshot(Box::new(snapshot))).expect("room");
        }
        let kept = file.job().snapshots.iter();
        let kept: Vec<_> = kept.filter_map(|it| it.machine.as_deref()).collect();
        assert_eq!(kept, ["deck 4", "deck 4", "deck 5"]);
    }

    #[test]
    fn two_programs_that_name_the_machine_at_once_leave_it_one_name() {
        for first in [None, Some("deck 3")] {
            let folder = tempfile::tempdir().expect("a folder");
            let mut file = opened(&folder.path().join("job.jsonl"));
            let mut snapshot = Snapshot::new(Label::Before, "line in", Measurement::default());
            snapshot.machine = first.map(str::to_owned);
            file.add(Entry::Snapshot(Box::new(snapshot))).expect("room");
            if let Some(first) = first {
                file.say(About::Machine, first).expect("room");
            }
            for name in ["deck 4", "deck 5"] {
                let said = Entry::Said {
                    about: About::Machine,
                    is: name.to_owned(),
                    was: first.map(str::to_owned),
                };
                file.add(said).expect("room");
            }
            let job = file.job();
            assert_eq!(job.machine(), Some("deck 5"));
            assert_eq!(job.snapshots[0].machine.as_deref(), Some("deck 5"));
            let last = job.corrections.last().expect("one");
            assert_eq!(
                (&*last.was, &*last.is),
                (first.unwrap_or("deck 4"), "deck 5")
            );
        }
    }

    /// Nothing that guards a job may be passed over then.
    #[test]
    fn a_job_whose_first_line_is_lost_is_begun() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("job.jsonl");
        let mut file = opened(&path);
        file.say(About::Machine, "deck 4").expect("room");
        let text = std::fs::read_to_string(&path).expect("there");
        std::fs::write(&path, text.replacen("\"opened\"", "\"opxned\"", 1)).expect("room");
        let (again, warnings) = JobFile::open(&path).expect("a job");
        assert_eq!(warnings.len(), 1);
        assert_eq!(again.job().opened_at, None);
        assert!(again.is_begun());
    }

    #[test]
    fn a_correction_names_what_it_corrects_and_rewrites_nothing() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("job.jsonl");
        let mut file = opened(&path);
        file.say(About::Machine, "deck 3").expect("room");
        let mut snapshot = Snapshot::new(Label::Before, "line in", Measurement::default());
        snapshot.machine = Some("deck 3".to_owned());
        file.add(Entry::Snapshot(Box::new(snapshot))).expect("room");
        file.add(Entry::Note("new bellt".to_owned())).expect("room");
        let before = std::fs::read(&path).expect("there");
        file.say(About::Machine, "deck 4").expect("room");
        file.say(About::Machine, "deck 4").expect("room");
        file.add(Entry::NoteCorrected {
            number: 1,
            is: "new belt".to_owned(),
            was: "new bellt".to_owned(),
        })
        .expect("room");
        let after = std::fs::read(&path).expect("there");
        assert!(after.starts_with(&before));
        let (again, _) = JobFile::open(&path).expect("a job");
        let job = again.job();
        assert_eq!(job.snapshots[0].machine.as_deref(), Some("deck 4"));
        assert_eq!(job.notes[0].text, "new belt");
        let said: Vec<_> = job
            .corrections
            .iter()
            .map(|it| (it.what.as_str(), it.was.as_str(), it.is.as_str()))
            .collect();
        let expected = [
            ("machine", "deck 3", "deck 4"),
            ("note 1", "new bellt", "new belt"),
        ];
        assert_eq!(said, expected);
    }
}
