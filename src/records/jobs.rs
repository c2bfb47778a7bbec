//! The folder of jobs: which file belongs to a name, and all jobs there are.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use jiff::tz::TimeZone;

use super::cards::plain_name;
use super::job::{Job, JobFile};
use super::lines::{LinesError, LinesWarning};
use super::places::{Kind, Places};
use super::record::Record;
use super::snapshot::Snapshot;

/// Longer names of files are cut: some file systems take no more than 255
/// bytes, and the end of a torn file's name wants room too.
const LONGEST_NAME_BYTES: usize = 120;

/// A job that was found, or why it cannot be used.
pub type Found = (PathBuf, Result<(JobFile, Vec<LinesWarning>), LinesError>);

/// The file of a job of this name. It lies in the folder of jobs whatever the
/// name is; `None` where the name has neither letter nor digit, or the system
/// names no folder.
pub fn file_of(places: &Places, kind: Kind, name: &str) -> Option<PathBuf> {
    if !name.contains(char::is_alphanumeric) {
        return None;
    }
    Some(
        places
            .jobs(kind)?
            .join(format!("{}.jsonl", file_name(name))),
    )
}

/// The file of a job that somebody calls by its name, by the stem of its file,
/// or by a path that ends in `.jsonl`, be it there or not; `None` as above.
pub fn path_of(places: &Places, kind: Kind, called: &str) -> Option<PathBuf> {
    let path = Path::new(called);
    if is_job_file(path) {
        return Some(path.to_owned());
    }
    file_of(places, kind, called)
}

/// Why a job is not to be found.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
pub enum NoJob {
    /// There is none.
    #[error("there is no job \"{named}\" ({}); tapewright jobs lists those that there are", path.display())]
    Missing {
        /// As the user named it.
        named: String,
        /// Where it would be.
        path: PathBuf,
    },
    /// Without a letter or a digit, or no folder is known.
    #[error("\"{0}\" is no name for a job; write one with a letter or a digit, such as \"deck 4\"")]
    NoName(String),
}

/// The same of a job that is there, among the first of these kinds that has it; also
/// by the name that a file was given later.
pub fn find(places: &Places, kinds: &[Kind], named: &str) -> Result<PathBuf, NoJob> {
    let missing = |path| NoJob::Missing {
        named: named.to_owned(),
        path,
    };
    let usual = kinds.iter();
    let usual: Vec<PathBuf> = usual
        .filter_map(|kind| path_of(places, *kind, named))
        .collect();
    if let Some(path) = usual.iter().find(|it| it.symlink_metadata().is_ok()) {
        return Ok(path.clone());
    }
    let is_it = |(path, opened): &Found| {
        let stem = path.file_stem().and_then(|it| it.to_str());
        let name = opened.as_ref().ok().map(|(file, _)| &*file.job().name);
        [stem, name].contains(&Some(named))
    };
    let renamed = kinds.iter().flat_map(|kind| list(places, *kind));
    let mut renamed = renamed.filter(is_it);
    match (renamed.next(), usual.into_iter().next()) {
        (Some((path, _)), _) => Ok(path),
        (None, Some(path)) => Err(missing(path)),
        (None, None) => Err(NoJob::NoName(named.to_owned())),
    }
}

/// A name that every file system takes, one for each name that matters.
pub fn file_name(name: &str) -> String {
    let plain = plain_name(name);
    if plain.len() <= LONGEST_NAME_BYTES {
        return plain;
    }
    let mut end = LONGEST_NAME_BYTES;
    while !plain.is_char_boundary(end) {
        end -= 1;
    }
    // FNV-1a (common practice): two long names that begin alike differ in it.
    let digest = plain.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |sum, byte| {
        (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    format!("{}-{digest:016x}", &plain[..end])
}

/// The files of all jobs of a kind, in no order.
pub fn files(places: &Places, kind: Kind) -> impl Iterator<Item = PathBuf> {
    let folder = places.jobs(kind);
    let entries = folder.and_then(|folder| fs::read_dir(folder).ok());
    let paths = entries.into_iter().flatten();
    let paths = paths.filter_map(|entry| Some(entry.ok()?.path()));
    paths.filter(|path| is_job_file(path))
}

/// All jobs of a kind, usable or not, oldest first.
pub fn list(places: &Places, kind: Kind) -> Vec<Found> {
    let mut found: Vec<Found> = files(places, kind)
        .map(|path| {
            let opened = JobFile::open(&path);
            (path, opened)
        })
        .collect();
    let begun = |(_, opened): &Found| {
        let file = opened.as_ref().ok().map(|(file, _)| file.job().opened_at);
        file.flatten()
    };
    found.sort_by(|one, other| (begun(one), &one.0).cmp(&(begun(other), &other.0)));
    found
}

/// What an earlier version kept in its one record, as a job a day of this zone;
/// with what is odd about the record.
pub fn of_record(
    places: &Places,
    kind: Kind,
    zone: &TimeZone,
) -> Result<(Vec<Job>, Vec<LinesWarning>), LinesError> {
    let Some(path) = places.record(kind) else {
        return Ok((Vec::new(), Vec::new()));
    };
    let (record, warnings) = Record::open(&path)?;
    let file = path.file_name().unwrap_or_default().to_string_lossy();
    let mut snapshots: Vec<&Snapshot> = record.list().iter().collect();
    snapshots.sort_by_key(|it| it.taken_at);
    let mut days: BTreeMap<String, Job> = BTreeMap::new();
    for snapshot in snapshots {
        let local = snapshot.taken_at.to_zoned_datetime(zone.clone());
        let day = local.strftime("%Y-%m-%d").to_string();
        let job = days.entry(day.clone()).or_default();
        job.name = format!("{file} of {day}");
        job.simulated |= snapshot.simulated;
        job.snapshots.push(snapshot.clone());
    }
    Ok((days.into_values().collect(), warnings))
}

fn is_job_file(path: &Path) -> bool {
    path.extension()
        .is_some_and(|it| it.eq_ignore_ascii_case("jsonl"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Measurement;
    use crate::records::{Entry, Label};

    #[test]
    fn no_name_leads_out_of_the_folder() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let jobs = places.jobs(Kind::Measured).expect("a folder");
        for name in [
            "../../etc/passwd",
            "/etc/passwd",
            "a\0b",
            "con.",
            "..\\x",
            "ä 1",
        ] {
            let path = file_of(&places, Kind::Measured, name).expect("a name");
            assert_eq!(path.parent(), Some(&*jobs), "{name}");
            let file = path.file_name().and_then(|it| it.to_str()).expect("text");
            assert!(!file.contains("..") && !file.starts_with('.'), "{file}");
        }
        for none in ["", "..", "///", "\u{1b}["] {
            assert_eq!(file_of(&places, Kind::Measured, none), None, "{none}");
        }
    }

    #[test]
    fn long_names_that_begin_alike_are_two_jobs() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let [one, other] = ["x", "y"].map(|end| {
            let name = "ä".repeat(500) + end;
            file_of(&places, Kind::Measured, &name).expect("a name")
        });
        assert_ne!(one, other);
        let (mut file, _) = JobFile::open(&one).expect("free");
        file.add(Entry::Note("fits".to_owned())).expect("room");
    }

    #[test]
    fn a_job_is_found_by_name_file_and_path() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let both = [Kind::Measured, Kind::Rehearsal];
        let begin = |kind, name: &str| {
            let path = file_of(&places, kind, name).expect("a name");
            let (mut file, _) = JobFile::open(&path).expect("free");
            let name = name.to_owned();
            let simulated = kind == Kind::Rehearsal;
            file.add(Entry::Opened { name, simulated }).expect("room");
            path
        };
        let deck = begin(Kind::Measured, "2026-11-29 Deck 4");
        let other = begin(Kind::Rehearsal, "practice");
        let by_path = deck.display().to_string();
        for named in ["2026-11-29 Deck 4", "2026-11-29-deck-4", &by_path] {
            assert_eq!(find(&places, &both, named).as_ref(), Ok(&deck), "{named}");
        }
        assert_eq!(find(&places, &both, "practice").as_ref(), Ok(&other));
        let measured = find(&places, &both[..1], "practice");
        assert!(matches!(measured, Err(NoJob::Missing { .. })));
        let renamed = deck.with_file_name("Copy (2).jsonl");
        fs::rename(&deck, &renamed).expect("room");
        for named in ["2026-11-29 Deck 4", "Copy (2)"] {
            assert_eq!(find(&places, &both, named).as_ref(), Ok(&renamed));
        }
        for none in ["", "../", "///"] {
            let refused = NoJob::NoName(none.to_owned());
            assert_eq!(find(&places, &both, none), Err(refused));
        }
    }

    /// Work that begins in front of midnight UTC and ends behind it is of one day
    /// where it was done.
    #[test]
    fn the_record_is_parted_by_the_days_of_the_bench_and_its_faults_are_told() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let path = places.record(Kind::Measured).expect("a path");
        let (mut record, _) = Record::open(&path).expect("free");
        for time in ["2026-03-02T00:30:00Z", "2026-03-01T23:30:00Z"] {
            let mut snapshot = Snapshot::new(Label::Before, "line in", Measurement::default());
            snapshot.taken_at = time.parse().expect("a time");
            record.append(&snapshot).expect("room");
        }
        let days = |hours| {
            let zone = TimeZone::fixed(jiff::tz::offset(hours));
            let (jobs, warnings) = of_record(&places, Kind::Measured, &zone).expect("readable");
            let times = |it: &Job| {
                it.snapshots
                    .iter()
                    .map(|it| it.taken_at)
                    .collect::<Vec<_>>()
            };
            assert!(jobs.iter().all(|it| times(it).is_sorted()));
            let days = jobs.iter().map(|it| (it.name.clone(), it.snapshots.len()));
            (days.collect::<Vec<_>>(), warnings.len())
        };
        let east = vec![("snapshots.jsonl of 2026-03-02".to_owned(), 2)];
        assert_eq!(days(2), (east, 0));
        assert_eq!(days(0).0.len(), 2);
        let mut text = fs::read_to_string(&path).expect("there");
        text.push_str("{\"schema\":\"tapewright.snapshot/1\",\"odd\":1}\n");
        fs::write(&path, text).expect("room");
        assert_eq!(days(2).1, 1);
        fs::write(&path, "Dear aunt\n").expect("room");
        assert!(of_record(&places, Kind::Measured, &TimeZone::UTC).is_err());
    }

    /// Who puts a link among the jobs could have any file read and written.
    #[cfg(unix)]
    #[test]
    fn a_link_among_the_jobs_is_no_job() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let outside = folder.path().join("elsewhere.jsonl");
        let (mut file, _) = JobFile::open(&outside).expect("free");
        file.add(Entry::Note("outside".to_owned())).expect("room");
        let link = file_of(&places, Kind::Measured, "link").expect("a name");
        fs::create_dir_all(link.parent().expect("a folder")).expect("room");
        for target in [outside.clone(), folder.path().join("nothing")] {
            let _ = fs::remove_file(&link);
            std::os::unix::fs::symlink(target, &link).expect("room");
            assert!(JobFile::open(&link).is_err());
            let listed = list(&places, Kind::Measured);
            assert!(matches!(&listed[..], [(_, Err(_))]), "{listed:?}");
        }
    }

    #[test]
    fn all_jobs_are_listed_oldest_first_and_a_broken_one_too() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        assert!(list(&places, Kind::Measured).is_empty());
        for name in ["second letter first", "a first letter second"] {
            let path = file_of(&places, Kind::Measured, name).expect("a name");
            let (mut file, _) = JobFile::open(path).expect("free");
            let name = name.to_owned();
            let simulated = false;
            file.add(Entry::Opened { name, simulated }).expect("room");
        }
        let jobs = places.jobs(Kind::Measured).expect("a folder");
        fs::write(jobs.join("broken.jsonl"), "no job\n").expect("room");
        fs::write(jobs.join("beside.txt"), "no job\n").expect("room");
        let names: Vec<_> = list(&places, Kind::Measured)
            .into_iter()
            .map(|(_, opened)| opened.ok().map(|(file, _)| file.job().name.clone()))
            .collect();
        let expected = [
            None,
            Some("second letter first".to_owned()),
            Some("a first letter second".to_owned()),
        ];
        assert_eq!(names, expected);
    }
}
