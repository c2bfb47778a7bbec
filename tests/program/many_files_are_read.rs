//! `read` on folders and many files: all that are recordings, in order, several
//! at a time, whatever one of them is, and again from where it was broken off.

use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::thread;
use std::time::{Duration, Instant};

use crate::support::jobs::only_job;
use crate::support::memory;
use crate::support::program::{Folder, codes, deviation, tone};

const RATE: u32 = 8000;

/// A tone of so many seconds that is so many percent fast.
fn record(folder: &Folder, name: &str, seconds: f64, percent: f64) {
    let samples = tone(RATE, seconds, 3150.0, |_| 1.0 + percent / 100.0);
    folder.write(name, RATE, &[&samples]);
}

/// Recordings in a folder of that name, and what is none.
fn archive(folder: &Folder, seconds: f64) {
    for inner in ["archive/b/deep", "archive/.hidden", "archive/empty"] {
        fs::create_dir_all(folder.path(inner)).unwrap();
    }
    for (nth, name) in [
        "archive/a.WAV",
        "archive/b/2.wav",
        "archive/b/deep/1.wav",
        "archive/b.wav",
        "archive/c.wav",
    ]
    .into_iter()
    .enumerate()
    {
        record(folder, name, seconds, 0.1 * nth as f64);
    }
    record(folder, "archive/.hidden/x.wav", 1.0, 0.0);
    record(folder, "archive/.a.wav", 1.0, 0.0);
    folder.with("archive/notes.txt", "no recording");
    folder.with("archive/cover.wav.png", "no recording");
}

/// As the program names them, in the order in which it takes them.
const ARCHIVE: [&str; 5] = [
    "archive/a.WAV",
    "archive/b/2.wav",
    "archive/b/deep/1.wav",
    "archive/b.wav",
    "archive/c.wav",
];

fn left_over(folder: &Folder) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder.path("data/tapewright/unfinished"));
    let entries = entries.into_iter().flatten();
    entries.map(|it| it.unwrap().path()).collect()
}

#[test]
fn of_a_folder_all_recordings_are_read_in_the_order_of_their_names() {
    let folder = Folder::new();
    archive(&folder, 3.0);
    let line = "--reference 3150 archive";
    let one = folder.read(&format!("--parallel 1 {line}"));
    one.ends(0);
    let files: Vec<&str> = one
        .objects
        .iter()
        .map(|it| it["file"].as_str().unwrap())
        .collect();
    assert_eq!(files, ARCHIVE);
    for (nth, object) in one.objects.iter().enumerate() {
        assert!(
            (deviation(object) - 0.1 * nth as f64).abs() < 0.02,
            "{object}"
        );
    }
    for more in ["--parallel 2", "--parallel 9", ""] {
        let several = folder.read(&format!("{more} {line}"));
        assert_eq!(several.text, one.text, "{more}");
    }
    let text = folder.run("read --reference 3150 archive");
    text.ends(0)
        .says(&["5 recordings, all measured", "Deviation median +0.200 %"]);
    assert!(left_over(&folder).is_empty());
}

#[cfg(unix)]
#[test]
fn links_are_followed_but_never_round_in_a_circle() {
    use std::os::unix::fs::symlink;
    let folder = Folder::new();
    archive(&folder, 1.0);
    fs::create_dir(folder.path("elsewhere")).unwrap();
    record(&folder, "elsewhere/far.wav", 1.0, 0.0);
    symlink("..", folder.path("archive/b/round")).unwrap();
    symlink(folder.path("elsewhere"), folder.path("archive/linked")).unwrap();
    symlink("nowhere.wav", folder.path("archive/lost.wav")).unwrap();
    folder.pipe("archive/pipe.wav");
    let read = folder.read("archive");
    let files: Vec<&str> = read
        .objects
        .iter()
        .map(|it| it["file"].as_str().unwrap())
        .collect();
    let mut expected = ARCHIVE.to_vec();
    expected.extend(["archive/linked/far.wav", "archive/lost.wav"]);
    assert_eq!(files, expected);
    read.ends(3)
        .complains(&["archive/lost.wav: there is no such file"]);
}

#[test]
fn a_folder_without_recordings_is_told_and_the_rest_is_read() {
    let folder = Folder::new();
    archive(&folder, 1.0);
    let told = ["archive/empty: no recordings in this folder", ".flac"];
    folder.run("read archive/empty").ends(3).complains(&told);
    let both = folder.read("archive/empty archive/c.wav archive/notes.txt");
    both.ends(3).complains(&told);
    // What is named is tried, whatever its name is.
    assert_eq!(both.objects.len(), 2);
    assert_eq!(both.objects[1]["file"], "archive/notes.txt");
    both.complains(&["this is a text file"]);
}

#[test]
fn one_bad_file_stops_no_other_and_the_highest_status_counts() {
    let folder = Folder::new();
    archive(&folder, 3.0);
    folder.with("archive/broken.wav", "RIFF");
    folder.write("archive/silent.wav", RATE, &[&vec![0.0; 24_000]]);
    let read = folder.read("--reference 3150 archive");
    read.ends(4);
    assert_eq!(read.objects.len(), 7);
    assert!(codes(&read.objects[4]).contains(&"file_unreadable"));
    read.complains(&[
        "7 recordings, 5 measured, 1 without a usable reference, 1 that could not be read",
        "archive/broken.wav: could not be read",
        "archive/silent.wav: no usable reference",
    ]);
    // Each complaint stands once, in the order of the files.
    let [broken, silent] = ["broken.wav: ", "silent.wav: no usable"].map(|it| read.errors.find(it));
    assert!(broken < silent, "{}", read.errors);
    let quiet = folder.read("--quiet --reference 3150 archive");
    assert_eq!(quiet.text, read.text);
    assert_eq!(quiet.errors.lines().count(), 2, "{}", quiet.errors);
}

#[test]
fn what_stands_out_is_named() {
    let folder = Folder::new();
    fs::create_dir(folder.path("tapes")).unwrap();
    for (nth, percent) in [0.1, 0.15, 0.12, 0.09, 0.11, 2.5].into_iter().enumerate() {
        record(&folder, &format!("tapes/{nth}.wav"), 3.0, percent);
    }
    let text = folder.run("read --reference 3150 tapes");
    text.ends(0)
        .says(&["Outlier tapes/5.wav: deviation +2.500 %"]);
    assert_eq!(text.text.matches("Outlier").count(), 1, "{}", text.text);
}

/// Runs until a number of objects came, ends it by a signal, and says what came
/// on standard error.
fn broken_off(folder: &Folder, line: &str, after: usize, signal: &str) -> (String, Option<i32>) {
    let mut child = folder
        .command(line)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    for _ in 0..after {
        lines.next().unwrap().unwrap();
    }
    let ended = std::process::Command::new("kill")
        .args([&format!("-{signal}"), &child.id().to_string()])
        .status();
    assert!(ended.unwrap().success());
    let asked = Instant::now();
    let status = child.wait().unwrap();
    assert!(asked.elapsed() < Duration::from_secs(5));
    let mut errors = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut errors)
        .unwrap();
    (errors, status.code())
}

/// How many recordings are done, by what an interrupted run left.
fn done_in(left: &Path) -> usize {
    let text = fs::read_to_string(left).unwrap();
    text.lines().filter(|it| is_of_one_done(it)).count()
}

fn is_of_one_done(line: &str) -> bool {
    line.contains("\"done\":{") && line.ends_with('}')
}

#[cfg(unix)]
#[test]
fn an_interrupted_run_goes_on_where_it_was() {
    let folder = Folder::new();
    fs::create_dir(folder.path("tapes")).unwrap();
    for nth in 0..12 {
        record(
            &folder,
            &format!("tapes/{nth:02}.wav"),
            60.0,
            0.01 * f64::from(nth),
        );
    }
    folder.with("tapes/11.wav", "RIFF");
    let line = "read --json --reference 3150 tapes";
    let whole = folder.run(line);
    whole.ends(3);
    assert!(left_over(&folder).is_empty());
    for signal in ["INT", "KILL"] {
        let (errors, code) = broken_off(&folder, line, 4, signal);
        assert_eq!(code, None, "it ends by the signal");
        assert_eq!(errors.contains("--resume"), signal == "INT", "{errors}");
        assert_eq!(left_over(&folder).len(), 1);
        // As if the power had gone within a line.
        let left = left_over(&folder).remove(0);
        let mut kept = fs::read(&left).unwrap();
        let done = done_in(&left);
        assert!((4..12).contains(&done), "{done}");
        kept.extend(b"{\"stamp\":{\"fi");
        fs::write(&left, kept).unwrap();
        let again = folder.run(&format!("{line} --resume"));
        again.complains(&[&format!("measured before: {done} of 12 recordings")]);
        assert_eq!(
            (again.status, again.text),
            (whole.status, whole.text.clone())
        );
        assert!(left_over(&folder).is_empty());
    }
}

#[cfg(unix)]
#[test]
fn what_has_changed_and_what_is_asked_otherwise_is_measured_anew() {
    let folder = Folder::new();
    fs::create_dir(folder.path("tapes")).unwrap();
    for nth in 0..8 {
        record(&folder, &format!("tapes/{nth}.wav"), 60.0, 0.0);
    }
    let line = "read --json --reference 3150 tapes";
    broken_off(&folder, line, 3, "KILL");
    // The results of another tolerance are not those that were kept.
    let other = folder.run(&format!("{line} --tolerance portable --resume"));
    other.complains(&["nothing is left of an interrupted run"]);
    assert_eq!(other.objects.len(), 8);
    let done = done_in(&left_over(&folder)[0]);
    thread::sleep(Duration::from_millis(20));
    record(&folder, "tapes/1.wav", 60.0, 0.7);
    let again = folder.run(&format!("{line} --resume"));
    // Only what holds counts.
    let words = format!("measured before: {} of 8", done - 1);
    again.ends(0).complains(&[&words]);
    assert!((deviation(&again.objects[1]) - 0.7).abs() < 0.01);
    assert!(deviation(&again.objects[2]).abs() < 0.01);
}

/// Recordings of a minute each in the folder `tapes`, each faster than the one
/// before by a hundredth of a percent.
fn tapes(folder: &Folder, count: u32) {
    fs::create_dir(folder.path("tapes")).unwrap();
    for nth in 0..count {
        let name = format!("tapes/{nth}.wav");
        record(folder, &name, 60.0, 0.01 * f64::from(nth));
    }
}

#[cfg(unix)]
#[test]
fn what_could_not_be_read_is_tried_again() {
    let folder = Folder::new();
    tapes(&folder, 8);
    let path = folder.path("tapes/1.wav");
    let good = fs::read(&path).unwrap();
    let at = fs::metadata(&path).unwrap().modified().unwrap();
    let put = |bytes: &[u8]| {
        fs::write(&path, bytes).unwrap();
        let file = fs::File::options().append(true).open(&path).unwrap();
        file.set_modified(at).unwrap();
    };
    // As on a share that comes and goes: the file is the same afterwards.
    put(&vec![0; good.len()]);
    let line = "read --json --reference 3150 tapes";
    broken_off(&folder, line, 3, "KILL");
    put(&good);
    let again = folder.run(&format!("{line} --resume"));
    again.ends(0).complains(&["measured before: "]);
    assert!((deviation(&again.objects[1]) - 0.01).abs() < 0.005);
}

/// Deviation in the table of this stem.
fn exported(folder: &Folder, stem: &str) -> f64 {
    let path = folder.path(&format!("out/{stem}-readings.csv"));
    let mut reader = csv::Reader::from_path(&path).unwrap_or_else(|it| panic!("{stem}: {it}"));
    let columns = reader.headers().unwrap().clone();
    let at = columns.iter().position(|it| it == "deviation_percent");
    let row = reader.records().next().unwrap().unwrap();
    row[at.unwrap()].parse().unwrap()
}

fn half_written(folder: &Folder) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder.path("out")).unwrap();
    let paths = entries.map(|it| it.unwrap().path());
    paths
        .filter(|it| it.extension().is_some_and(|it| it == "part"))
        .collect()
}

#[cfg(unix)]
#[test]
fn an_interrupted_export_goes_on_and_replaces_only_its_own_tables() {
    let folder = Folder::new();
    tapes(&folder, 8);
    fs::create_dir(folder.path("out")).unwrap();
    let theirs = folder.with("out/6-speed.csv", "theirs");
    let line = "read --json --reference 3150 --export out tapes";
    for replace in ["", "--replace"] {
        for nth in (0..8).filter(|it| *it != 6) {
            let _ = fs::remove_file(folder.path(&format!("out/{nth}-readings.csv")));
            for table in ["speed", "flutter", "lines"] {
                let _ = fs::remove_file(folder.path(&format!("out/{nth}-{table}.csv")));
            }
        }
        let (errors, _) = broken_off(&folder, line, 2, "INT");
        assert!(errors.contains("--resume"), "{errors}");
        assert_eq!(half_written(&folder), [""; 0].map(PathBuf::from));
        // As if it had been killed with the tables written and nothing noted.
        let left = left_over(&folder).remove(0);
        let text = fs::read_to_string(&left).unwrap();
        let last = text.lines().rfind(|it| is_of_one_done(it)).unwrap();
        fs::write(&left, text.replace(&format!("{last}\n"), "")).unwrap();
        let again = folder.run(&format!("{line} {replace} --resume"));
        again.complains(&["measured before: "]);
        assert_eq!(again.objects.len(), 8);
        let refused = again.errors.matches("is there already").count();
        if replace.is_empty() {
            again
                .ends(3)
                .complains(&["out/6-speed.csv is there already"]);
            assert_eq!(refused, 1, "{}", again.errors);
            assert_eq!(fs::read_to_string(&theirs).unwrap(), "theirs");
        } else {
            again.ends(0);
            assert!((exported(&folder, "6") - 0.06).abs() < 0.005);
            assert_ne!(fs::read_to_string(&theirs).unwrap(), "theirs");
        }
        for nth in (0..8).filter(|it| *it != 6) {
            let there = exported(&folder, &nth.to_string());
            assert!(
                (there - 0.01 * f64::from(nth)).abs() < 0.005,
                "{nth}: {there}"
            );
        }
        assert!(left_over(&folder).is_empty());
    }
}

#[cfg(unix)]
#[test]
fn tables_keep_their_names_when_recordings_are_added_before_going_on() {
    let folder = Folder::new();
    for (nth, name) in ["b", "c", "d", "e", "f"].into_iter().enumerate() {
        fs::create_dir_all(folder.path(&format!("tapes/{name}"))).unwrap();
        let percent = 0.1 * (nth + 1) as f64;
        record(&folder, &format!("tapes/{name}/x.wav"), 60.0, percent);
    }
    let line = "read --json --reference 3150 --parallel 1 --export out tapes";
    broken_off(&folder, line, 2, "KILL");
    fs::create_dir(folder.path("tapes/a")).unwrap();
    record(&folder, "tapes/a/x.wav", 60.0, 0.0);
    folder.run(&format!("{line} --resume")).ends(0);
    let tenths = |stem: &str| (10.0 * exported(&folder, stem)).round() as i64;
    assert_eq!([tenths("x"), tenths("x-2")], [1, 2]);
    let mut all = ["x-3", "x-4", "x-5", "x-6"].map(tenths);
    all.sort_unstable();
    assert_eq!(all, [0, 3, 4, 5]);
}

/// Runs with nobody at the other end of its standard output.
fn unread(folder: &Folder, line: &str) -> Option<i32> {
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let mut command = folder.command(line);
    let status = command.stdout(writer).stderr(Stdio::null()).status();
    status.unwrap().code()
}

#[test]
fn where_nobody_reads_on_tables_and_jobs_are_whole_all_the_same() {
    let folder = Folder::new();
    tapes(&folder, 6);
    folder.with("tapes/4.wav", "RIFF");
    let line = "read --json --reference 3150 --export out tapes";
    assert_eq!(unread(&folder, line), Some(3));
    for nth in [0, 1, 2, 3, 5] {
        assert!((exported(&folder, &nth.to_string()) - 0.01 * f64::from(nth)).abs() < 0.005);
    }
    // It was measured, and told to nobody.
    let again = folder.run(&format!("{line} --resume"));
    again.ends(3).complains(&["measured before: 5 of 6"]);
    assert_eq!(again.objects.len(), 6);
    let line = "read --reference 3150 --data . --job deck tapes";
    assert_eq!(unread(&folder, line), Some(3));
    assert_eq!(only_job(&folder.path("jobs")).snapshots.len(), 5);
}

#[test]
fn where_nobody_reads_on_what_is_done_is_left_for_going_on() {
    let folder = Folder::new();
    tapes(&folder, 6);
    folder.with("tapes/0.wav", "RIFF");
    let line = "read --json --reference 3150 --parallel 1 tapes/1.wav tapes";
    // Of the first one nothing was wrong.
    assert_eq!(unread(&folder, line), Some(0));
    let again = folder.run(&format!("{line} --resume"));
    again.ends(3).complains(&["measured before: "]);
    let line = "read --json --reference 3150 --parallel 1 tapes";
    assert_eq!(unread(&folder, line), Some(3));
}

#[test]
fn where_nothing_can_be_kept_that_is_told_once_and_all_is_measured() {
    let folder = Folder::new();
    archive(&folder, 1.0);
    folder.with("file", "no folder");
    let read = folder.read("--data file archive");
    read.ends(0).complains(&["cannot be kept for --resume"]);
    assert_eq!(
        read.errors.matches("--resume").count(),
        1,
        "{}",
        read.errors
    );
    assert_eq!(read.objects.len(), 5);
    let quiet = folder.read("--data file archive --quiet");
    assert!(!quiet.errors.contains("--resume"), "{}", quiet.errors);
}

/// Highest memory of a run, in KiB, as Linux tells it while the last object
/// waits to be read.
#[cfg(target_os = "linux")]
fn highest_kib(folder: &Folder, line: &str, count: usize) -> u64 {
    let mut child = folder
        .command(line)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut highest = 0;
    for (nth, line) in lines.enumerate() {
        line.unwrap();
        // It lives while there is more to come than the pipe holds.
        if nth + 100 < count && nth % 100 == 0 {
            highest = memory::most_kib(&child.id().to_string()).unwrap();
        }
    }
    child.wait().unwrap();
    highest
}

#[cfg(target_os = "linux")]
#[test]
fn memory_does_not_grow_with_the_number_of_files() {
    let folder = Folder::new();
    for (name, count) in [("few", 300), ("many", 3000)] {
        fs::create_dir(folder.path(name)).unwrap();
        record(&folder, &format!("{name}/0.wav"), 0.2, 0.0);
        for nth in 1..count {
            let link = folder.path(&format!("{name}/{nth}.wav"));
            fs::hard_link(folder.path(&format!("{name}/0.wav")), link).unwrap();
        }
    }
    let few = highest_kib(&folder, "read --json few", 300);
    let many = highest_kib(&folder, "read --json many", 3000);
    // Names and figures of each remain, for the summary.
    assert!(many < few + 4096, "{few} KiB of 300, {many} KiB of 3000");
}
