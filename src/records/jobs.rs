//! The folder of jobs: which file belongs to a name, and all jobs there are.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, BufRead, BufReader, Read};
use std::path::{Path, PathBuf};

use jiff::tz::TimeZone;

use super::cards::plain_name;
use super::job::{Entry, Job, JobFile, LINES, Line};
use super::lines::{LinesError, LinesWarning};
use super::places::{Kind, Places};
use super::record::Record;
use super::snapshot::Snapshot;

/// Longer names of files are cut: some file systems take no more than 255
/// bytes, and the end of a torn file's name wants room too.
const LONGEST_NAME_BYTES: usize = 120;

/// Of those the end that tells two long names apart: a dash and 16 digits.
const DIGEST_BYTES: usize = 17;

/// A first line that is longer begins no job: it holds a name and a moment.
const LONGEST_FIRST_LINE_BYTES: u64 = 64 * 1024;

/// Letters to Unicode, and yet nobody sees them (from memory).
const FILLERS: [char; 4] = ['\u{115f}', '\u{1160}', '\u{3164}', '\u{ffa0}'];

/// A job that was found, or why it cannot be used.
pub type Found = (PathBuf, Result<(JobFile, Vec<LinesWarning>), LinesError>);

/// The file of a job of this name. It lies in the folder of jobs whatever the
/// name is; `None` where the name has neither letter nor digit, or the system
/// names no folder.
pub fn file_of(places: &Places, kind: Kind, name: &str) -> Option<PathBuf> {
    let is_seen = |it: char| it.is_alphanumeric() && !FILLERS.contains(&it);
    if !name.contains(is_seen) {
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
fn path_of(places: &Places, kind: Kind, called: &str) -> Option<PathBuf> {
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
    /// Its file would be that of another one: names are written more finely than
    /// files can be called.
    #[error("\"{named}\" would lie in the file of the job \"{is}\" ({}); say \"{is}\" if you mean that one, else take a name that differs in a letter or a digit", path.display())]
    Another {
        /// As the user named it.
        named: String,
        /// As the one that is there calls itself.
        is: String,
        /// Where it lies.
        path: PathBuf,
    },
    /// What there is cannot be seen.
    #[error("cannot read the folder of jobs {}: {why}", path.display())]
    Unreadable {
        /// The folder.
        path: PathBuf,
        /// What the system says.
        why: String,
    },
}

/// The file of a job that is there, among the first of these kinds that has it:
/// by its own name, whatever its file is called by now, by the stem of its file,
/// or by its path.
pub fn find(places: &Places, kinds: &[Kind], named: &str) -> Result<PathBuf, NoJob> {
    if let Some(path) = by_name(places, kinds, named)? {
        return Ok(path);
    }
    let is_it = |it: &PathBuf| it.file_stem().and_then(|it| it.to_str()) == Some(named);
    if let Some(path) = files_of(places, kinds)?.into_iter().find(is_it) {
        return Ok(path);
    }
    let named = named.to_owned();
    match kinds.iter().find_map(|kind| path_of(places, *kind, &named)) {
        Some(path) => Err(NoJob::Missing { named, path }),
        None => Err(NoJob::NoName(named)),
    }
}

/// The file of a job to go on with, found by its own name or path, else the one
/// where it is to be begun.
pub fn find_or_place(places: &Places, kind: Kind, named: &str) -> Result<PathBuf, NoJob> {
    if let Some(path) = by_name(places, &[kind], named)? {
        return Ok(path);
    }
    let named = named.to_owned();
    match path_of(places, kind, &named) {
        None => Err(NoJob::NoName(named)),
        Some(path) => match name_in(&path) {
            Some(is) => Err(NoJob::Another { named, is, path }),
            None => Ok(path),
        },
    }
}

fn by_name(places: &Places, kinds: &[Kind], named: &str) -> Result<Option<PathBuf>, NoJob> {
    let path = Path::new(named);
    if is_job_file(path) {
        return Ok(path.symlink_metadata().is_ok().then(|| path.to_owned()));
    }
    let is_it = |it: &Path| name_in(it).map(|name| written_alike(&name, named));
    let mut usual = kinds
        .iter()
        .filter_map(|kind| file_of(places, *kind, named));
    // Why one that cannot be read cannot be is told by whoever opens it.
    let is_usual = |it: &PathBuf| it.symlink_metadata().is_ok() && is_it(it).unwrap_or(true);
    if let Some(path) = usual.find(is_usual) {
        return Ok(Some(path));
    }
    let all = files_of(places, kinds)?;
    Ok(all.into_iter().find(|it| is_it(it).unwrap_or(false)))
}

/// One name, written with other capitals or a hyphen in place of a space.
fn written_alike(one: &str, other: &str) -> bool {
    let plain = |it: &str| it.trim().to_lowercase().replace(char::is_whitespace, "-");
    plain(one) == plain(other)
}

/// As a job calls itself in its first line: of a thousand jobs no more is read to
/// find one. `None` where it does not say, or cannot be read.
fn name_in(path: &Path) -> Option<String> {
    // Neither a link nor what never ends.
    path.symlink_metadata().ok().filter(fs::Metadata::is_file)?;
    let file = fs::File::open(path).ok()?;
    let mut first = String::new();
    BufReader::new(file.take(LONGEST_FIRST_LINE_BYTES))
        .read_line(&mut first)
        .ok()?;
    match serde_json::from_str::<Line>(&first).ok()?.entry {
        Entry::Opened { name, .. } => Some(name),
        _ => None,
    }
}

/// A name that every file system takes, one for each name that matters.
pub fn file_name(name: &str) -> String {
    let plain = plain_name(name).replace(FILLERS, "-");
    if plain.len() <= LONGEST_NAME_BYTES {
        return plain;
    }
    let mut end = LONGEST_NAME_BYTES - DIGEST_BYTES;
    while !plain.is_char_boundary(end) {
        end -= 1;
    }
    // FNV-1a (common practice): two long names that begin alike differ in it.
    let digest = plain.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |sum, byte| {
        (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    format!("{}-{digest:016x}", &plain[..end])
}

/// The files of all jobs of a kind, in no order; none where there is no folder yet.
pub fn files(places: &Places, kind: Kind) -> io::Result<Vec<PathBuf>> {
    let Some(folder) = places.jobs(kind) else {
        return Ok(Vec::new());
    };
    let entries = match fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        entries => entries?,
    };
    let mut files = Vec::new();
    for entry in entries {
        let path = entry?.path();
        if is_job_file(&path) {
            files.push(path);
        }
    }
    Ok(files)
}

/// Those of several kinds, in the order of their names.
fn files_of(places: &Places, kinds: &[Kind]) -> Result<Vec<PathBuf>, NoJob> {
    let mut all = Vec::new();
    for kind in kinds {
        let mut files = files(places, *kind).map_err(|error| NoJob::Unreadable {
            path: places.jobs(*kind).unwrap_or_default(),
            why: error.to_string(),
        })?;
        files.sort();
        all.extend(files);
    }
    Ok(all)
}

/// All jobs of a kind, usable or not, oldest first; the folder itself where that
/// cannot be read. Without the tracks of their snapshots: of many jobs those are
/// most of what there is.
pub fn list(places: &Places, kind: Kind) -> Vec<Found> {
    let files = match files(places, kind) {
        Ok(files) => files,
        Err(source) => {
            let path = places.jobs(kind).unwrap_or_default();
            let of = LINES.words;
            let unreadable = LinesError::Read {
                path: path.clone(),
                source,
                of,
            };
            return vec![(path, Err(unreadable))];
        }
    };
    let mut found: Vec<Found> = files
        .into_iter()
        .map(|path| {
            let opened = JobFile::open(&path);
            let light = opened.map(|(file, warnings)| (file.without_tracks(), warnings));
            (path, light)
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
    use crate::records::Label;

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
    fn the_name_of_a_file_is_seen_and_means_that_file() {
        let fillers = "\u{115f}\u{1160}\u{3164}\u{ffa0}";
        assert_eq!(file_name(&format!("deck{fillers}4")), "deck----4");
        for length in 100..300 {
            let stem = file_name(&"a".repeat(length));
            assert!(stem.len() <= LONGEST_NAME_BYTES, "{length}");
            assert_eq!(file_name(&stem), stem, "{length}");
        }
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        assert_eq!(file_of(&places, Kind::Measured, fillers), None);
    }

    #[test]
    fn names_of_one_file_are_not_one_job() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let kinds = [Kind::Measured];
        let path = file_of(&places, Kind::Measured, "117/1").expect("a name");
        let (mut file, _) = JobFile::open(&path).expect("free");
        let (name, simulated) = ("117/1".to_owned(), false);
        file.add(Entry::Opened { name, simulated }).expect("room");
        for named in ["117/1", " 117/1 ", "117-1"] {
            assert_eq!(find(&places, &kinds, named).as_ref(), Ok(&path), "{named}");
        }
        for other in ["117.1", "117 1"] {
            let refused = find(&places, &kinds, other);
            assert!(matches!(refused, Err(NoJob::Missing { .. })), "{other}");
        }
    }

    #[test]
    fn a_folder_that_cannot_be_read_is_not_an_empty_one() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let jobs = places.jobs(Kind::Measured).expect("a folder");
        fs::write(&jobs, "no folder").expect("room");
        let found = list(&places, Kind::Measured);
        let [(path, Err(error))] = &found[..] else {
            panic!("{found:?}")
        };
        assert!(
            *path == jobs && error.to_string().contains("jobs"),
            "{error}"
        );
        let refused = find(&places, &[Kind::Measured], "deck 4");
        let refused = refused.expect_err("unreadable").to_string();
        assert!(refused.contains("cannot read"), "{refused}");
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
    fn a_list_holds_no_tracks_and_a_job_that_is_opened_does() {
        let folder = tempfile::tempdir().expect("a folder");
        let places = Places::in_folder(folder.path().to_owned());
        let path = file_of(&places, Kind::Measured, "deck 4").expect("a name");
        let (mut file, _) = JobFile::open(&path).expect("free");
        let measurement = Measurement {
            track: Some(crate::readings::Track::default()),
            ..Measurement::default()
        };
        let snapshot = Snapshot::new(Label::Before, "line in", measurement);
        file.add(Entry::Snapshot(Box::new(snapshot))).expect("room");
        let has_track = |file: &JobFile| file.job().snapshots[0].measurement.track.is_some();
        let listed = list(&places, Kind::Measured);
        assert!(matches!(&listed[..], [(_, Ok((file, _)))] if !has_track(file)));
        let (opened, _) = JobFile::open(&path).expect("a job");
        assert!(has_track(&opened));
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
