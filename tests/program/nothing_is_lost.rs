//! Whatever goes wrong with the disk, each command that writes says so in a sentence
//! and ends with status 3, what was there before is as it was, and the same command
//! does its work once there is room. One that is killed leaves the earlier file or
//! the new one, never half of it.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant, SystemTime};

use crate::support::dice::Dice;
use crate::support::environment::{are_there, skipped};
use crate::support::invented;
use crate::support::preload::{COMPILER, built};
use crate::support::program::{Answer, Folder, tone};
use tapewright::records::{About, Entry, Fault, JobFile, Label, Snapshot};

/// What stands in each file that is replaced.
const EARLIER: &[u8] = b"what was there before\n";

/// A command that writes.
struct Writer {
    /// NTH is another number each time.
    line: &'static str,
    /// What it writes, in the folder.
    file: &'static str,
    /// It adds a line; all others write the file anew.
    adds: bool,
}

const fn adds(line: &'static str) -> Writer {
    Writer {
        line,
        file: JOB,
        adds: true,
    }
}

const fn writes(file: &'static str, line: &'static str) -> Writer {
    Writer {
        line,
        file,
        adds: false,
    }
}

const JOB: &str = "data/tapewright/jobs/a.jsonl";

const WRITERS: [Writer; 9] = [
    adds("jobs note a 'new belt'"),
    adds("jobs correct a --serial NTH"),
    adds("read --json --reference 3150 --job a --keep-as 'no. NTH' tone.wav"),
    writes("a.html", "sheet a --output a.html --replace"),
    writes(
        "trend.svg",
        "jobs history --machine 'deck 4' --picture trend.svg --replace",
    ),
    writes(
        "out/a.json",
        "jobs export a --into out --format json --replace",
    ),
    writes(
        "tables/tone.json",
        "read --json --reference 3150 --export tables --export-format json --replace tone.wav",
    ),
    writes(
        "made.wav",
        "tone 1000 --seconds 0.5 --rate 16000 --mono --output-file made.wav --force",
    ),
    writes(
        "data/tapewright/tapes/tape-3.toml",
        "tape certify 'tape 3' --error -0.2±0.1 --replace",
    ),
];

impl Writer {
    fn command(&self, bench: &Folder, nth: usize) -> Command {
        bench.command(&self.line.replace("NTH", &nth.to_string()))
    }

    /// Everything is as before a run of it.
    fn set_back(&self, bench: &Folder) {
        let file = bench.path(self.file);
        if !self.adds {
            fs::create_dir_all(file.parent().unwrap()).unwrap();
            fs::write(file, EARLIER).unwrap();
        }
    }

    /// It has done its work.
    #[track_caller]
    fn assert_done(&self, bench: &Folder, before: &Contents, what: &str) {
        let [before, now] = [before, &contents(bench)].map(|it| it[Path::new(self.file)].clone());
        if self.adds {
            let (_, warnings) = JobFile::open(bench.path(JOB)).unwrap();
            assert!(warnings.is_empty(), "{what}: {warnings:?}");
            assert!(
                now.starts_with(&before) && now.len() > before.len(),
                "{what}"
            );
        } else {
            assert!(now != EARLIER && now.len() > EARLIER.len(), "{what}");
        }
        assert_eq!(half_written(bench), [""; 0].map(PathBuf::from), "{what}");
    }
}

/// A folder with a job and a recording in it.
fn bench() -> Folder {
    let folder = Folder::new();
    fill(&folder);
    folder
}

fn fill(folder: &Folder) {
    let (mut file, _) = JobFile::open(folder.path(JOB)).unwrap();
    let (name, simulated) = ("a".to_owned(), false);
    file.add(Entry::Opened { name, simulated }).unwrap();
    file.say(About::Machine, "deck 4").unwrap();
    for label in [Label::Before, Label::After] {
        let snapshot = Snapshot::new(label, "line in", invented::measurement());
        file.add(Entry::Snapshot(Box::new(snapshot))).unwrap();
    }
    let heard = tone(8000, 4.0, 3118.5, |_| 1.0);
    folder.write("tone.wav", 8000, &[&heard]);
}

type Contents = BTreeMap<PathBuf, Vec<u8>>;

/// All files of a folder, by their paths in it.
fn contents(folder: &Folder) -> Contents {
    fn walk(folder: &Path, root: &Path, all: &mut Contents) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                walk(&path, root, all);
            } else {
                let name = path.strip_prefix(root).unwrap().to_owned();
                all.insert(name, fs::read(&path).unwrap());
            }
        }
    }
    let mut all = Contents::new();
    walk(folder.root(), folder.root(), &mut all);
    all
}

fn half_written(folder: &Folder) -> Vec<PathBuf> {
    let all = contents(folder).into_keys();
    all.filter(|it| it.extension().is_some_and(|it| it == "part"))
        .collect()
}

/// As two hours later: what is younger may still be written by another computer.
fn age_half_written(folder: &Folder) {
    for left in half_written(folder) {
        let left = fs::File::options()
            .append(true)
            .open(folder.root().join(left));
        let then = SystemTime::now() - Duration::from_secs(2 * 3600);
        left.unwrap().set_modified(then).unwrap();
    }
}

/// A disk whose faults are switched by a file.
struct Disk {
    place: Folder,
    library: PathBuf,
}

impl Disk {
    fn new() -> Self {
        let place = Folder::new();
        let library = built("disk_faults", place.root());
        Self { place, library }
    }

    fn fails(&self, rules: &str) {
        self.place.with("rules", rules);
    }

    fn is_well(&self) {
        self.fails("");
    }

    fn under<'a>(&self, command: &'a mut Command) -> &'a mut Command {
        command
            .env("LD_PRELOAD", &self.library)
            .env("DISK_FAULTS", self.place.path("rules"))
    }
}

/// What the system says of an error.
fn words(error: &str) -> &'static str {
    match error.trim_start_matches("half:") {
        "ENOSPC" => "No space left on device",
        "EDQUOT" => "Disk quota exceeded",
        "EIO" => "Input/output error",
        "EROFS" => "Read-only file system",
        "EACCES" => "Permission denied",
        other => panic!("{other}"),
    }
}

#[test]
fn a_disk_that_fails_is_told_costs_nothing_and_may_be_tried_again() {
    if !are_there("a disk that fails", &[COMPILER]) {
        return;
    }
    let (bench, disk) = (bench(), Disk::new());
    let mut tried = 0;
    for writer in &WRITERS {
        // What is written anew is written beside its place.
        let name = Path::new(writer.file).file_name().unwrap();
        let name = name.to_str().unwrap();
        let part = if writer.adds { name } else { ".part" };
        let mut faults: Vec<(&str, &str)> = vec![
            ("write", "ENOSPC"),
            ("write", "half:EDQUOT"),
            ("write", "half:EIO"),
            ("open", "EROFS"),
            ("open", "EACCES"),
            ("sync", "EIO"),
        ];
        faults.push(if writer.adds {
            ("lock", "EIO")
        } else {
            ("rename", "EIO")
        });
        for (call, error) in faults {
            tried += 1;
            let of = if call == "rename" { name } else { part };
            let what = format!("{}: {call} {error}", writer.line);
            writer.set_back(&bench);
            let before = contents(&bench);
            disk.fails(&format!("{call} {error} {of}\n"));
            let refused = Answer::of(disk.under(&mut writer.command(&bench, tried)));
            assert_eq!(refused.status, Some(3), "{what}: {}", refused.said());
            let said = refused.errors.lines();
            let said: Vec<&str> = said.filter(|it| it.contains(words(error))).collect();
            assert_eq!(said.len(), 1, "{what}: {}", refused.errors);
            assert!(contents(&bench) == before, "{what}: {}", refused.said());
            disk.is_well();
            let done = Answer::of(disk.under(&mut writer.command(&bench, tried)));
            assert_eq!(done.status, Some(0), "{what}: {}", done.said());
            writer.assert_done(&bench, &before, &what);
        }
        // A disk that takes little at a time takes all of it.
        writer.set_back(&bench);
        let before = contents(&bench);
        disk.fails(&format!("write short {part}\n"));
        let done = Answer::of(disk.under(&mut writer.command(&bench, 1000 + tried)));
        assert_eq!(done.status, Some(0), "{}: {}", writer.line, done.said());
        writer.assert_done(&bench, &before, writer.line);
    }
    disk.fails("write ENOSPC .part");
    Answer::of(disk.under(&mut bench.command("manpages pages")))
        .ends(3)
        .complains(&[words("ENOSPC")]);
    println!("{tried} faults of the disk, nothing lost");
}

#[test]
fn half_a_line_that_cannot_be_taken_back_is_set_aside_by_the_next() {
    if !are_there("half a line", &[COMPILER]) {
        return;
    }
    let (bench, disk) = (bench(), Disk::new());
    let before = fs::read(bench.path(JOB)).unwrap();
    disk.fails("write half:ENOSPC a.jsonl\ncut EIO a.jsonl\n");
    let mut note = bench.command("jobs note a 'new belt'");
    Answer::of(disk.under(&mut note))
        .ends(3)
        .complains(&["No space left"]);
    let torn = fs::read(bench.path(JOB)).unwrap();
    assert!(torn.starts_with(&before) && torn.len() > before.len());
    let (_, warnings) = JobFile::open(bench.path(JOB)).unwrap();
    assert_eq!(warnings.len(), 1);
    assert_eq!(warnings[0].fault, Fault::Torn);
    disk.is_well();
    let again = Answer::of(disk.under(&mut note));
    again.ends(0).complains(&["was moved to"]);
    let aside = fs::read(bench.path(&format!("{JOB}.torn"))).unwrap();
    assert_eq!(aside, [&torn[before.len()..], b"\n"].concat());
    let (file, warnings) = JobFile::open(bench.path(JOB)).unwrap();
    assert!(warnings.is_empty(), "{warnings:?}");
    assert_eq!(file.job().notes.len(), 1);
}

#[test]
fn a_file_system_that_has_no_locks_or_no_links_will_do() {
    if !are_there("no locks", &[COMPILER]) {
        return;
    }
    let (bench, disk) = (bench(), Disk::new());
    disk.fails("lock ENOLCK /\nlink EPERM /\n");
    for (nth, writer) in WRITERS.iter().enumerate() {
        writer.set_back(&bench);
        let before = contents(&bench);
        let done = Answer::of(disk.under(&mut writer.command(&bench, nth)));
        assert_eq!(done.status, Some(0), "{}: {}", writer.line, done.said());
        writer.assert_done(&bench, &before, writer.line);
    }
    // A new file: nothing is put in its place.
    let new = || bench.command("tone 1000 --seconds 0.1 --output-file new.wav");
    Answer::of(disk.under(&mut new())).ends(0);
    Answer::of(disk.under(&mut new()))
        .ends(3)
        .complains(&["is there already"]);
}

/// Where the way through many recordings cannot be noted, they are measured all the
/// same.
#[test]
fn a_run_over_recordings_needs_no_room_of_its_own() {
    if !are_there("a run without room", &[COMPILER]) {
        return;
    }
    let (bench, disk) = (bench(), Disk::new());
    fs::copy(bench.path("tone.wav"), bench.path("again.wav")).unwrap();
    for rule in [
        "folder ENOSPC",
        "open EROFS",
        "write ENOSPC",
        "write half:EIO",
    ] {
        disk.fails(&format!("{rule} unfinished\n"));
        let mut read = bench.command("read --json --reference 3150 again.wav tone.wav");
        let read = Answer::of(disk.under(&mut read));
        read.ends(0).complains(&["cannot be kept for --resume"]);
        assert_eq!(read.objects.len(), 2, "{rule}");
    }
}

/// What is left behind by a kill is gone after a later writing in that folder.
#[test]
fn a_killed_command_leaves_the_earlier_file_or_the_new_one() {
    const TRIES: usize = 54;
    if !are_there("killed commands", &[COMPILER]) {
        return;
    }
    let (bench, disk) = (bench(), Disk::new());
    let mut dice = Dice::new(0x9);
    let mut came = BTreeMap::new();
    // Slow enough that it is met at all its steps.
    let slow = "write late a.jsonl\nwrite late .part\nsync late /\nrename late /\n";
    // What each takes when it is let be, on this machine as busy as it is.
    let mut takes_s = [0.0; WRITERS.len()];
    for nth in 0..TRIES {
        let writer = &WRITERS[nth % WRITERS.len()];
        let takes_s = &mut takes_s[nth % WRITERS.len()];
        if nth < WRITERS.len() {
            writer.set_back(&bench);
            disk.fails(slow);
            let begun = Instant::now();
            Answer::of(disk.under(&mut writer.command(&bench, 1000 + nth))).ends(0);
            *takes_s = begun.elapsed().as_secs_f64();
        }
        writer.set_back(&bench);
        let before = contents(&bench);
        disk.fails(slow);
        let mut command = writer.command(&bench, nth);
        command.stdout(Stdio::null()).stderr(Stdio::null());
        let mut child = disk.under(&mut command).spawn().unwrap();
        thread::sleep(Duration::from_secs_f64(dice.between(0.0, 1.2 * *takes_s)));
        child.kill().unwrap();
        child.wait().unwrap();
        let now = contents(&bench);
        let file = Path::new(writer.file);
        let left = half_written(&bench).len();
        for (path, earlier) in before.iter().filter(|(path, _)| *path != file) {
            assert!(now[path] == *earlier, "{path:?}");
        }
        let became = if now[file] == before[file] {
            "earlier"
        } else {
            if writer.adds {
                assert!(now[file].starts_with(&before[file]));
                let (_, warnings) = JobFile::open(bench.path(JOB)).unwrap();
                assert!(warnings.iter().all(|it| it.fault == Fault::Torn));
            }
            "new"
        };
        *came.entry((became, left)).or_insert(0) += 1;
        disk.is_well();
        age_half_written(&bench);
        let again = Answer::of(disk.under(&mut writer.command(&bench, nth)));
        assert_eq!(again.status, Some(0), "{}: {}", writer.line, again.said());
        if !writer.adds {
            let whole = contents(&bench)[file].clone();
            assert!(
                now[file] == EARLIER || now[file] == whole,
                "{}",
                writer.line
            );
        }
        writer.assert_done(&bench, &before, writer.line);
    }
    println!("{TRIES} kills; which file was there, and how many were left beside it: {came:?}");
    assert!(
        came.keys().any(|(became, _)| *became == "earlier"),
        "{came:?}"
    );
    assert!(came.keys().any(|(became, _)| *became == "new"), "{came:?}");
    assert!(came.keys().any(|(_, left)| *left > 0), "{came:?}");
}

/// Tables that a run which goes into a job has written are its own when it begins
/// anew.
#[test]
fn a_killed_run_into_a_job_and_tables_begins_anew_with_the_same_command() {
    let bench = bench();
    fs::create_dir(bench.path("tapes")).unwrap();
    for nth in 0..6 {
        let heard = tone(8000, 20.0, 3150.0, |_| 1.0 + 0.001 * f64::from(nth));
        bench.write(&format!("tapes/{nth}.wav"), 8000, &[&heard]);
    }
    let line = "read --json --reference 3150 --parallel 1 --job a --export out tapes";
    let mut child = bench
        .command(line)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let is_begun = || bench.path("out/1-readings.csv").exists();
    while !is_begun() && child.try_wait().unwrap().is_none() {
        thread::sleep(Duration::from_millis(1));
    }
    child.kill().unwrap();
    assert!(
        !child.wait().unwrap().success(),
        "it was done before the kill"
    );
    age_half_written(&bench);
    bench.run(line).ends(0).never_says(&["--replace"]);
    assert_eq!(half_written(&bench), [""; 0].map(PathBuf::from));
    let (file, warnings) = JobFile::open(bench.path(JOB)).unwrap();
    assert!(warnings.is_empty(), "{warnings:?}");
    let mut labels: Vec<String> = (file.job().snapshots.iter())
        .map(|it| it.label.to_string())
        .filter(|it| it.contains(".wav"))
        .collect();
    labels.sort();
    let each: Vec<String> = (0..6).map(|nth| format!("{nth}.wav")).collect();
    assert_eq!(labels, each);
    let tables = fs::read_dir(bench.path("out")).unwrap().count();
    assert_eq!(tables, 6 * 4);
}

/// Set for a copy of this test program with mounts of its own.
const INSIDE: &str = "TAPEWRIGHT_TEST_MOUNTS";

/// Runs the body in a copy of this test that may mount file systems which nobody
/// else sees; says where that cannot be.
fn with_mounts(test: &str, body: impl FnOnce()) {
    if std::env::var_os(INSIDE).is_some() {
        return body();
    }
    let may = Command::new("unshare").args(["-rm", "true"]).output();
    if !may.is_ok_and(|it| it.status.success()) {
        return skipped(test, "unshare, and leave to mount");
    }
    let test = format!("nothing_is_lost::{test}");
    let inside = Command::new("unshare")
        .arg("-rm")
        .arg(std::env::current_exe().unwrap())
        .args(["--exact", &test, "--nocapture"])
        .env(INSIDE, "1")
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&inside.stdout);
    let errors = String::from_utf8_lossy(&inside.stderr);
    // One whose name was not found would end well too.
    let is_done = inside.status.success() && said.contains("1 passed");
    assert!(is_done, "{test} failed inside: {said}{errors}");
}

#[track_caller]
fn mount(options: &str, at: &Path) {
    let mounted = Command::new("mount")
        .args(["-t", "tmpfs", "-o", options, "tmpfs"])
        .arg(at)
        .status();
    assert!(mounted.unwrap().success(), "{options}");
}

fn unmount(at: &Path) {
    let done = Command::new("umount").arg(at).status();
    assert!(done.unwrap().success());
}

/// Each writer is refused by the bench as it is, and not once it was mended.
fn refused_then_done(bench: &Folder, error: &str, harm: impl Fn(), mend: impl Fn()) {
    for (nth, writer) in WRITERS.iter().enumerate() {
        writer.set_back(bench);
        harm();
        let before = contents(bench);
        let refused = Answer::of(&mut writer.command(bench, nth));
        assert_eq!(
            refused.status,
            Some(3),
            "{}: {}",
            writer.line,
            refused.said()
        );
        refused.complains(&[words(error)]);
        assert!(contents(bench) == before, "{}", writer.line);
        mend();
        let done = Answer::of(&mut writer.command(bench, nth));
        assert_eq!(done.status, Some(0), "{}: {}", writer.line, done.said());
        let before = contents_without(before, "filler");
        writer.assert_done(bench, &before, writer.line);
    }
}

fn contents_without(mut contents: Contents, name: &str) -> Contents {
    contents.remove(Path::new(name));
    contents
}

#[test]
fn a_full_disk_is_told_costs_nothing_and_may_be_tried_again() {
    with_mounts(
        "a_full_disk_is_told_costs_nothing_and_may_be_tried_again",
        || {
            let bench = Folder::new();
            mount("size=4m", bench.root());
            fill(&bench);
            let filler = bench.path("filler");
            let harm = || {
                // To the last page; a line that fits in what is left of its page needs none.
                let room = vec![0u8; 5 << 20];
                assert!(fs::write(&filler, room).is_err());
                let job = fs::metadata(bench.path(JOB)).unwrap().len();
                let rest = (4096 - job as usize % 4096) % 4096;
                let file = fs::File::options().append(true).open(bench.path(JOB));
                file.unwrap().write_all(&vec![b'\n'; rest]).unwrap();
            };
            let mend = || fs::remove_file(&filler).unwrap();
            refused_then_done(&bench, "ENOSPC", harm, mend);
            unmount(bench.root());
        },
    );
}

#[test]
fn a_folder_that_may_only_be_read_is_told_and_stays_as_it_was() {
    with_mounts(
        "a_folder_that_may_only_be_read_is_told_and_stays_as_it_was",
        || {
            let bench = Folder::new();
            mount("size=8m", bench.root());
            fill(&bench);
            let again = |how: &str| {
                let done = Command::new("mount")
                    .args(["-o", &format!("remount,{how}")])
                    .arg(bench.root())
                    .status();
                assert!(done.unwrap().success(), "{how}");
            };
            refused_then_done(&bench, "EROFS", || again("ro"), || again("rw"));
            unmount(bench.root());
        },
    );
}

/// Lines are added by many programs at once, some of which correct what the others
/// keep.
#[test]
fn commands_that_add_to_one_job_at_once_lose_nothing() {
    const PROGRAMS: usize = 8;
    const EACH: usize = 5;
    let bench = bench();
    let line = |program: usize, nth: usize| match program {
        0 => format!("jobs correct a --machine 'deck {}'", 10 + nth),
        1 => format!("jobs correct a --serial {nth}"),
        2 => format!("read --json --reference 3150 --job a --keep-as 'no. {nth}' tone.wav"),
        _ => format!("jobs note a 'note {program}.{nth}'"),
    };
    thread::scope(|scope| {
        for program in 0..PROGRAMS {
            let (bench, line) = (&bench, &line);
            scope.spawn(move || {
                for nth in 0..EACH {
                    bench.run(&line(program, nth)).ends(0);
                }
            });
        }
    });
    let (file, warnings) = JobFile::open(bench.path(JOB)).unwrap();
    assert!(warnings.is_empty(), "{warnings:?}");
    let job = file.job();
    let mut notes: Vec<&str> = job.notes.iter().map(|it| &*it.text).collect();
    notes.sort_unstable();
    notes.dedup();
    assert_eq!(notes.len(), (PROGRAMS - 3) * EACH);
    assert_eq!(job.snapshots.len(), 2 + EACH);
    // The first that is said of a serial number corrects nothing.
    assert_eq!(job.corrections.len(), EACH + EACH - 1);
    let last = format!("deck {}", 10 + EACH - 1);
    assert_eq!(job.machine(), Some(&*last));
    assert!(
        job.snapshots
            .iter()
            .all(|it| it.machine.as_ref() == Some(&last))
    );
}
