//! Which job what is kept in a sitting goes into: the one that was named, or
//! one that is made at the first thing kept; another machine is another job.

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::cli::JobOptions;
use super::jobs::unusable;
use super::tape::today;
use super::{Exit, Failure, no_folder};
use crate::records::places::{self, Places};
use crate::records::{About, Entry, Job, JobFile, LinesError, LinesWarning, jobs};
use crate::references::same_machine;
use crate::screen::SourceKind;

/// Jobs of one name on one day that are looked through for one of the same
/// machine before it is given up. A choice.
const MOST_OF_A_NAME: usize = 100;

/// A file with what is odd about it.
type Opened = (JobFile, Vec<LinesWarning>);

/// A job that somebody named and that fits; nothing is written in it yet.
struct Named {
    file: JobFile,
    begun_as: String,
    odd: Option<LinesWarning>,
}

/// A job of this sitting.
struct InUse {
    path: PathBuf,
    begun_as: String,
    /// Which naming of the machine something was kept under last, if anything was.
    naming: Option<u32>,
}

/// The jobs of a sitting.
pub(super) struct SittingJobs {
    places: Places,
    kind: places::Kind,
    /// The machine that the sitting begins with, as far as it has a name.
    machine: Option<String>,
    /// What the command line says of that, until it stands in its job.
    said: Vec<(About, String)>,
    /// Until it is begun.
    named: Option<Named>,
    /// The present one last.
    files: Vec<InUse>,
}

/// The folder for what comes from such a source.
pub(super) fn kind_of(source: SourceKind) -> places::Kind {
    match source {
        SourceKind::Rehearsal => places::Kind::Rehearsal,
        SourceKind::Input | SourceKind::Recording => places::Kind::Measured,
    }
}

/// The job that somebody called by a name, which need not exist yet.
fn called(places: &Places, kind: places::Kind, name: &str) -> Result<Opened, Failure> {
    let path =
        jobs::find_or_place(places, kind, name).map_err(|error| match places.jobs(kind) {
            None => no_folder(),
            Some(_) => Failure::new(Exit::Usage, error.to_string()),
        })?;
    JobFile::open(path).map_err(|error| unusable(&error))
}

/// The machine of the job that was named, if one was and it says.
pub(super) fn machine_of(
    places: &Places,
    kind: places::Kind,
    options: &JobOptions,
) -> Result<Option<String>, Failure> {
    let Some(name) = &options.job else {
        return Ok(None);
    };
    let (file, _) = called(places, kind, name)?;
    Ok(file.job().machine().map(str::to_owned))
}

/// A machine is known however its name is written.
fn is_same(about: About, one: &str, other: &str) -> bool {
    match about {
        About::Machine => same_machine(Some(one), Some(other)),
        _ => one == other,
    }
}

/// As a job is called that nobody named.
fn name_of_today(machine: Option<&str>, nth: usize) -> String {
    let name = if let Some(machine) = machine {
        format!("{} {}", today(), machine.trim())
    } else {
        let now = Timestamp::now().to_zoned_datetime(TimeZone::system());
        now.strftime("%Y-%m-%d %H-%M").to_string()
    };
    if nth == 1 {
        name
    } else {
        format!("{name} no. {nth}")
    }
}

impl SittingJobs {
    /// The place must be usable before anything is measured. A job that was
    /// named is begun, or goes on; what is to be told comes back.
    pub(super) fn open(
        places: &Places,
        source: SourceKind,
        options: &JobOptions,
        machine: Option<&str>,
    ) -> Result<(Self, Option<(JobFile, String)>), Failure> {
        let mut jobs = Self::check(places, source, options, machine)?;
        let named = jobs.begin_named()?;
        Ok((jobs, named))
    }

    /// The same with nothing written yet: the sitting may still be refused.
    pub(super) fn check(
        places: &Places,
        source: SourceKind,
        options: &JobOptions,
        machine: Option<&str>,
    ) -> Result<Self, Failure> {
        let kind = kind_of(source);
        places.jobs(kind).ok_or_else(no_folder)?;
        let mut jobs = Self {
            places: places.clone(),
            kind,
            machine: machine.map(str::to_owned),
            said: options.said(),
            named: None,
            files: Vec::new(),
        };
        let Some(name) = &options.job else {
            let made = jobs.of_today(machine);
            let (file, _) = made.map_err(|error| Failure::new(Exit::File, error))?;
            file.check_place().map_err(|error| unusable(&error))?;
            return Ok(jobs);
        };
        let (file, warnings) = called(places, kind, name)?;
        file.check_place().map_err(|error| unusable(&error))?;
        if file.is_begun() {
            jobs.check_fits(file.job(), machine)?;
        }
        // One that was called by its path has the name of its file.
        let stem = file.path().file_stem().unwrap_or_default();
        let begun_as = if file.path() == Path::new(name) {
            stem.to_string_lossy().into_owned()
        } else {
            name.trim().to_owned()
        };
        jobs.named = Some(Named {
            file,
            begun_as,
            odd: warnings.into_iter().next(),
        });
        Ok(jobs)
    }

    /// The job that was named is begun, or goes on; what is to be told comes back.
    pub(super) fn begin_named(&mut self) -> Result<Option<(JobFile, String)>, Failure> {
        let Some(Named {
            mut file,
            begun_as,
            odd,
        }) = self.named.take()
        else {
            return Ok(None);
        };
        let goes_on = file.is_begun();
        let machine = self.machine.clone();
        let torn = self
            .begin(&mut file, &begun_as, machine.as_deref(), 0)
            .map_err(|error| unusable(&error))?;
        let name = &file.job().name;
        let news = if goes_on {
            format!("job {name} goes on: {}", words_of(file.job()))
        } else {
            format!("new job {name}")
        };
        let odd = torn.or(odd).map(|warning| warning.to_string());
        let told: Vec<String> = odd.into_iter().chain([news]).collect();
        Ok(Some((file, told.join("; "))))
    }

    /// What is simulated never mixes with what was measured, nor one machine
    /// with another.
    fn check_fits(&self, job: &Job, machine: Option<&str>) -> Result<(), Failure> {
        let refused = |why: String| Err(Failure::new(Exit::Usage, why));
        let name = &job.name;
        if job.simulated != self.is_simulated() {
            let is = if job.simulated {
                "the simulated machine: tapewright practise goes on with it"
            } else {
                "a real machine: tapewright watch goes on with it"
            };
            return refused(format!("the job \"{name}\" is of {is}; name another one"));
        }
        if job.is_empty() {
            return Ok(());
        }
        for (about, new) in [
            (About::Machine, machine),
            (About::Serial, self.serial_of(machine)),
        ] {
            if let Some((old, new)) = job.said(about).zip(new)
                && !is_same(about, old, new)
            {
                let what = about.name();
                return refused(format!(
                    "the job \"{name}\" is of {what} \"{old}\", not \"{new}\"; name another job, \
                     or correct that one with tapewright jobs correct"
                ));
            }
        }
        Ok(())
    }

    fn is_simulated(&self) -> bool {
        self.kind == places::Kind::Rehearsal
    }

    /// What the command line says holds for the machine that the sitting begins
    /// with, and for no other.
    fn said_of(&self, machine: Option<&str>) -> &[(About, String)] {
        let both = self.machine.as_deref().zip(machine);
        let is_another = both.is_some_and(|(old, new)| !is_same(About::Machine, old, new));
        if is_another { &[] } else { &self.said }
    }

    fn serial_of(&self, machine: Option<&str>) -> Option<&str> {
        let mut said = self.said_of(machine).iter();
        let serial = said.find(|(about, _)| *about == About::Serial);
        serial.map(|(_, text)| text.as_str())
    }

    /// What is kept of this machine may go into that job.
    fn accepts(&self, job: &Job, machine: Option<&str>) -> bool {
        let serials = job.said(About::Serial).zip(self.serial_of(machine));
        let is_its = serials.is_none_or(|(old, new)| old == new);
        job.takes(machine) && (is_its || job.is_empty())
    }

    /// Goes on with another job, in place of that of this machine. What the
    /// command line says of the machine holds for it if it is the same one.
    pub(super) fn open_another(
        &mut self,
        path: &Path,
        machine: Option<&str>,
    ) -> Result<JobFile, String> {
        let (file, _) = JobFile::open(path).map_err(|error| error.to_string())?;
        let is_same = same_machine(file.job().machine(), machine);
        let fits = self.check_fits(file.job(), machine.filter(|_| is_same));
        if is_same || file.job().simulated != self.is_simulated() {
            fits.map_err(|refused| refused.message)?;
        } else {
            self.said.clear();
        }
        self.put_last(&file, file.job().name.clone(), None);
        Ok(file)
    }

    /// The job for what is kept of this machine, begun: the present one, else
    /// an earlier one of this sitting, else one of today.
    pub(super) fn file_for(
        &mut self,
        machine: Option<&str>,
    ) -> Result<(JobFile, Option<LinesWarning>), String> {
        self.file_under(machine, 0)
    }

    /// The same where the machine is named anew now and then. Under one naming it
    /// is one machine, also where somebody corrects its name in the job meanwhile.
    pub(super) fn file_under(
        &mut self,
        machine: Option<&str>,
        naming: u32,
    ) -> Result<(JobFile, Option<LinesWarning>), String> {
        let said = |error: LinesError| error.to_string();
        let mut chosen = None;
        let mut is_corrected = false;
        for known in self.files.iter().rev() {
            let (file, _) = JobFile::open(&known.path).map_err(said)?;
            let is_one = known.naming == Some(naming);
            is_corrected = is_one && machine.is_some_and(|it| file.job().was_called(it));
            let takes = if file.is_begun() {
                is_corrected || self.accepts(file.job(), machine)
            } else {
                // It was moved away: only its own machine begins it anew.
                is_one
            };
            if takes {
                chosen = Some((file, known.begun_as.clone()));
                break;
            }
        }
        let (mut file, name) = match chosen {
            Some(chosen) => chosen,
            None => self.of_today(machine)?,
        };
        let machine = machine.filter(|_| !is_corrected);
        let torn = self
            .begin(&mut file, &name, machine, naming)
            .map_err(said)?;
        Ok((file, torn))
    }

    /// It is the present one of this sitting.
    fn put_last(&mut self, file: &JobFile, begun_as: String, naming: Option<u32>) {
        self.files.retain(|known| known.path != file.path());
        let path = file.path().to_owned();
        self.files.push(InUse {
            path,
            begun_as,
            naming,
        });
    }

    /// The first of today's jobs of this machine that is free or its own.
    fn of_today(&self, machine: Option<&str>) -> Result<(JobFile, String), String> {
        for nth in 1..=MOST_OF_A_NAME {
            let name = name_of_today(machine, nth);
            let path = jobs::file_of(&self.places, self.kind, &name);
            let path = path.ok_or_else(|| no_folder().message)?;
            let file = match JobFile::open(path) {
                Ok((file, _)) => file,
                // Not ours to touch.
                Err(LinesError::OfSomethingElse { .. }) => continue,
                Err(error) => return Err(error.to_string()),
            };
            // Of two machines without a name nobody knows whether they are one.
            let is_its = machine.is_some() && self.accepts(file.job(), machine);
            if !file.is_begun() || is_its {
                return Ok((file, name));
            }
        }
        Err("too many jobs of that name today; name one with --job".to_owned())
    }

    /// Begins it under this name unless it is begun, and says what is not said
    /// in it of its machine. It is the present one then.
    fn begin(
        &mut self,
        file: &mut JobFile,
        name: &str,
        machine: Option<&str>,
        naming: u32,
    ) -> Result<Option<LinesWarning>, LinesError> {
        let mut torn = None;
        if !file.is_begun() {
            let (name, simulated) = (name.to_owned(), self.is_simulated());
            torn = file.add(Entry::Opened { name, simulated })?;
        }
        let known = file.job().machine();
        let is_named =
            |machine: &&str| known.is_some_and(|it| is_same(About::Machine, it, machine));
        if let Some(machine) = machine.filter(|machine| !is_named(machine)) {
            torn = torn.or(file.say(About::Machine, machine)?);
        }
        let said = self.said_of(machine);
        for (about, text) in said {
            torn = torn.or(file.say(*about, text)?);
        }
        if !said.is_empty() {
            self.said.clear();
        }
        self.put_last(file, name.to_owned(), Some(naming));
        Ok(torn)
    }
}

/// What stands in it, in a few words.
fn words_of(job: &Job) -> String {
    let counted = [
        (job.snapshots.len(), "snapshot"),
        (job.wipers.len(), "wiper check"),
        (job.notes.len(), "note"),
    ];
    let counted = counted.iter().filter(|(count, _)| *count > 0);
    let words: Vec<String> = counted
        .map(|(count, what)| format!("{count} {what}{}", if *count == 1 { "" } else { "s" }))
        .collect();
    if words.is_empty() {
        "nothing kept yet".to_owned()
    } else {
        words.join(", ")
    }
}
