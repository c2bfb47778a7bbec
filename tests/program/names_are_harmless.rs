//! A name, a note or a file may hold anything: nothing of it drives a terminal,
//! becomes a formula, runs in a page, or leads out of the folder of jobs.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use crate::sheets_are_made::tags;
use crate::support::invented;
use crate::support::program::{Answer, Folder, tone};
use jiff::tz::TimeZone;
use proptest::prelude::*;
use proptest::test_runner::Config;
use tapewright::records::places::{Kind, Places};
use tapewright::records::{About, Entry, Job, JobFile, Label, Snapshot, jobs};
use tapewright::report::numbers::plain;
use tapewright::report::sheet::{self, Sheet};
use tapewright::report::{self, history, tables};

const HOSTILE: [&str; 16] = [
    "\u{1b}[2J\u{1b}]0;title\u{7}",
    "\u{9b}31mred\u{9d}x",
    "a\u{202e}gnp.exe\u{2066}b\u{2069}",
    "one\ntwo\r\nthree\u{2028}four",
    "<script>alert(1)</script><img src=x onerror=alert(1)>",
    "\"><svg onload=alert(1)>&lt;b&gt;",
    "=cmd|'/c calc'!A0",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "../../../../etc/passwd",
    "zero\u{200b}width\u{feff}\u{2060}",
    "a\u{200e}b\u{200f}c\u{61c}d\u{ad}e\u{180e}f\u{115f}g\u{3164}h\u{ffa0}i\u{fffa}j",
    "מכשיר הקלטה 4 \u{627}\u{644}\u{62c}\u{647}\u{627}\u{632}",
    "e\u{301}\u{302}\u{303}\u{304}\u{305} 音響機器の速度を測る機械 👩‍🔧",
    "-rf --help",
    "   ",
    "'; DROP TABLE jobs; --",
];

/// Letters that drive a terminal, turn those beside them, or that nobody sees
/// (Unicode 16, from memory): a list of its own, not the program's.
fn is_harmful(letter: char) -> bool {
    let turns = "\u{61c}\u{200e}\u{200f}\u{202a}\u{202b}\u{202c}\u{202d}\u{202e}\u{2066}\u{2067}\
        \u{2068}\u{2069}";
    let unseen = "\u{ad}\u{115f}\u{1160}\u{180e}\u{200b}\u{2028}\u{2029}\u{2060}\u{3164}\u{feff}\
        \u{ffa0}\u{fff9}\u{fffa}\u{fffb}";
    letter < ' '
        || matches!(letter, '\u{7f}'..='\u{9f}' | '\u{e0000}'..='\u{e007f}')
        || turns.contains(letter)
        || unseen.contains(letter)
}

fn hostile_job(path: &Path, text: &str) -> JobFile {
    let (mut file, _) = JobFile::open(path).unwrap();
    let name = text.to_owned();
    let opened = Entry::Opened {
        name,
        simulated: false,
    };
    file.add(opened).unwrap();
    for about in About::ALL {
        file.say(about, text).unwrap();
    }
    for label in [Label::Before, Label::After, Label::Named(text.to_owned())] {
        let mut snapshot = Snapshot::new(label, text, invented::measurement());
        snapshot.machine = Some(text.to_owned());
        snapshot.note = Some(text.to_owned());
        snapshot.tape = Some(text.to_owned());
        let mut lines = invented::lines();
        text.clone_into(&mut lines.lines[0].parts[0].name);
        lines.card = Some(text.to_owned());
        snapshot.measurement.lines = Some(lines);
        file.add(Entry::Snapshot(Box::new(snapshot))).unwrap();
    }
    file.add(Entry::Note(text.to_owned())).unwrap();
    let corrected = Entry::NoteCorrected {
        number: 1,
        is: format!("{text}!"),
        was: text.to_owned(),
    };
    file.add(corrected).unwrap();
    file
}

#[track_caller]
fn is_harmless(text: &str, of: &str) {
    let lines = text.replace("\r\n", "\n");
    let harmful = lines.chars().find(|it| is_harmful(*it) && *it != '\n');
    assert_eq!(harmful, None, "{of:?}: {text:?}");
}

#[track_caller]
fn answers_harmlessly(answer: &Answer, of: &str) {
    is_harmless(&answer.text, of);
    is_harmless(&answer.errors, of);
}

/// What spreadsheets take for a formula (a list of practice).
fn is_formula(cell: &str) -> bool {
    let begins = cell.trim_start().chars().next();
    cell.parse::<f64>().is_err() && begins.is_some_and(|it| "=+-@\t\r＝＋－＠".contains(it))
}

#[track_caller]
fn has_no_formula(text: &str, of: &str) {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(text.as_bytes());
    for row in reader.records() {
        // Rows of unlike widths are an error of the reader.
        for cell in &row.unwrap() {
            assert!(!is_formula(cell), "{of:?}: {cell:?}");
        }
    }
}

/// All that is made of a job in words, tables and pages.
fn everything_of(job: &Job) -> Vec<String> {
    let zone = TimeZone::UTC;
    let mut all = vec![
        report::jobs::list([job], &zone),
        report::jobs::show(job, &job.name, &zone),
        report::jobs::matches(job, "").join("\n"),
    ];
    let machine = job.machine().unwrap_or_default();
    let histories = history::of_machine([job], machine);
    all.extend(histories.iter().map(|it| it.text(machine, &zone)));
    all
}

#[test]
fn every_command_is_deaf_to_what_names_say() {
    for text in HOSTILE {
        let folder = Folder::new();
        let places = Places::in_folder(folder.root().to_owned());
        let path = jobs::file_of(&places, Kind::Measured, text)
            .unwrap_or_else(|| places.jobs(Kind::Measured).unwrap().join("blank.jsonl"));
        hostile_job(&path, text);
        let file = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let named = path.to_str().unwrap();
        let run = |args: &[&str]| {
            let mut command = folder.command("jobs --data .");
            let answer = Answer::of(command.args(args));
            answers_harmlessly(&answer, text);
            answer
        };
        run(&[]).ends(0);
        run(&["find", "1"]);
        run(&["find", text]);
        run(&["show", named]).ends(0);
        run(&["show", "--", text]);
        run(&["history", "--machine", "deck"]);
        run(&["compare", named, named]).ends(0);
        run(&["note", named, "--", text]);
        run(&["correct", named, "--serial", text]);
        run(&["export", named, "--into", "out"]).ends(0);
        run(&["export", named, "--into", "out", "--format", "json"]).ends(0);
        for name in fs::read_dir(folder.path("out")).unwrap() {
            let name = name.unwrap().path();
            let written = fs::read_to_string(&name).unwrap();
            if name.extension().is_some_and(|it| it == "csv") {
                has_no_formula(&written, text);
                is_harmless(&written, text);
            }
        }
        // Nothing beside the job and what was asked for.
        let names = folder.names();
        assert!(
            names
                .iter()
                .all(|it| ["data", "jobs", "out"].contains(&&**it)),
            "{names:?}"
        );
        let in_jobs = fs::read_dir(folder.path("jobs")).unwrap().count();
        assert_eq!(in_jobs, 1, "{file}");
        let mut sheet = folder.command("sheet --data .");
        for format in ["text", "md", "csv", "html"] {
            let args = [named, "--format", format, "--output", "-"];
            let mut command = folder.command("sheet --data .");
            let answer = Answer::of(command.args(args));
            answers_harmlessly(answer.ends(0), text);
        }
        Answer::of(sheet.arg(named)).ends(0);
        let html = fs::read_to_string(path.with_extension("html")).unwrap();
        for evil in ["<script", "<img", "<svg onload", "onerror=alert(1)>"] {
            assert!(!html.contains(evil), "{evil} in the page of {text:?}");
        }
        let mut command = folder.command("sheet --data . --format json --output -");
        let output = command.arg(named).output().unwrap();
        let json = String::from_utf8(output.stdout).unwrap();
        is_harmless(&json, text);
        let json: serde_json::Value = serde_json::from_str(&json).unwrap();
        assert_eq!(json["name"], text);
    }
}

#[test]
fn recordings_of_any_name_are_read_kept_and_exported() {
    let folder = Folder::new();
    let samples = tone(48_000, 6.0, 3150.0, |_| 1.0);
    for text in [
        "\u{1b}[2J",
        "\u{202e}gnp",
        "=cmd()",
        "one\ntwo",
        "-x",
        "音響",
    ] {
        folder.write(&format!("{text}.wav"), 48_000, &[&samples]);
    }
    let mut command = folder.command("read --data . --job deck --export out .");
    let answer = Answer::of(&mut command);
    answers_harmlessly(answer.ends(0), "folder");
    let json = Answer::of(&mut folder.command("read --json ."));
    answers_harmlessly(json.ends(0), "json");
    let files = json.objects.iter().map(|it| it["file"].as_str().unwrap());
    assert!(
        files.into_iter().any(|it| it.contains("\u{202e}gnp")),
        "{}",
        json.text
    );
    let out: Vec<PathBuf> = fs::read_dir(folder.path("out"))
        .unwrap()
        .map(|it| it.unwrap().path())
        .collect();
    assert_eq!(out.len(), 6 * 4, "{out:?}");
    for path in out {
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        assert!(
            !name.starts_with('-') && !name.contains(is_harmful),
            "{name:?}"
        );
        let written = fs::read_to_string(&path).unwrap();
        has_no_formula(&written, &name);
        is_harmless(&written, &name);
    }
    let (file, _) = JobFile::open(folder.path("jobs/deck.jsonl")).unwrap();
    assert_eq!(file.job().snapshots.len(), 6);
}

/// Letters of every kind, the harmful ones often.
fn any_text() -> impl Strategy<Value = String> {
    let letter = prop_oneof![
        any::<char>(),
        proptest::sample::select(
            "\u{1b}\u{9b}\u{202e}\u{2066}\u{200b}\u{200f}\u{ad}\u{3164}\u{feff}\u{e0041}\n\r\t\0=+-@'\",;<>&\\/.:%\u{301}音א"
                .chars()
                .collect::<Vec<_>>()
        ),
    ];
    proptest::collection::vec(letter, 0..40).prop_map(|letters| letters.into_iter().collect())
}

proptest! {
    #![proptest_config(Config {
        cases: 64,
        failure_persistence: None,
        ..Config::default()
    })]

    #[test]
    fn what_is_shown_is_harmless_and_json_stays_what_it_is(text in any_text()) {
        let shown = plain(&text);
        prop_assert!(!shown.contains(is_harmful), "{shown:?}");
        let json = serde_json::to_string(&text).unwrap();
        let back: String = serde_json::from_str(&plain(&json)).unwrap();
        prop_assert_eq!(back, text);
    }

    #[test]
    fn every_name_has_a_file_in_the_folder_or_none(text in any_text()) {
        let places = Places::in_folder(PathBuf::from("/data"));
        for kind in [Kind::Measured, Kind::Rehearsal] {
            let folder = places.jobs(kind).unwrap();
            if let Some(path) = jobs::file_of(&places, kind, &text) {
                prop_assert_eq!(path.parent(), Some(&*folder));
                let name = path.file_name().unwrap().to_str().unwrap();
                prop_assert!(name.len() < 200 && !name.starts_with('.'), "{name:?}");
                prop_assert!(!name.contains(['/', '\\', '\0']) && !name.contains(is_harmful));
                // The name of the file means the same job.
                let stem = path.file_stem().unwrap().to_str().unwrap();
                prop_assert_eq!(jobs::file_of(&places, kind, stem), Some(path.clone()));
            }
        }
    }

    #[test]
    fn a_job_says_nothing_harmful_wherever_it_is_written(text in any_text()) {
        let folder = Folder::new();
        let file = hostile_job(&folder.path("job.jsonl"), &text);
        let (again, warnings) = JobFile::open(file.path()).unwrap();
        prop_assert!(warnings.is_empty(), "{warnings:?}");
        let job = again.job();
        prop_assert_eq!(&job.name, &text);
        for said in everything_of(job) {
            is_harmless(&said, &text);
        }
        let of_job = tables::of_job(job);
        for table in of_job.iter().chain([&tables::columns()]) {
            let written = table.csv();
            has_no_formula(&written, &text);
            is_harmless(&written, &text);
        }
        let json: serde_json::Value = serde_json::from_str(&tables::json(&of_job)).unwrap();
        prop_assert_eq!(json["tables"][0]["rows"][0][0].as_str(), Some(&*text));
        let zone = TimeZone::UTC;
        let page = sheet::html(&Sheet::of(job, "job.jsonl", None, &zone));
        // Every text is behind a mark of our own, and none makes one: no element
        // and no attribute that a tame page has not.
        let tame = hostile_job(&folder.path("tame.jsonl"), "tame");
        let tame = sheet::html(&Sheet::of(tame.job(), "tame.jsonl", None, &zone));
        let marks = |page: &str| tags(page).into_iter().collect::<BTreeSet<_>>();
        let made: Vec<_> = marks(&page).difference(&marks(&tame)).cloned().collect();
        prop_assert!(made.is_empty(), "{made:?}");
    }
}
