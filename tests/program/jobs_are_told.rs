//! `tapewright jobs` tells what is kept of machines and of their years, and only
//! ever adds to it; recordings go into jobs and tables.

use std::fs;

use crate::support::invented;
use crate::support::program::{Answer, Folder, number, tone};
use serde_json::Value;
use tapewright::records::places::{Kind, Places};
use tapewright::records::{About, Entry, Job, JobFile, Label, Record, Snapshot, jobs};
use tapewright::units::Percent;

fn snapshot(label: Label, at: &str, deviation: f64) -> Entry {
    let mut snapshot = Snapshot::new(label, "line in", invented::measurement());
    snapshot.taken_at = at.parse().unwrap();
    snapshot.machine = Some("deck 4".to_owned());
    snapshot.measurement.lines = Some(invented::lines());
    let speed = snapshot.measurement.speed.as_mut().unwrap();
    speed.deviation = Percent(deviation);
    Entry::Snapshot(Box::new(snapshot))
}

fn begin(folder: &Folder, kind: Kind, name: &str, entries: Vec<Entry>) -> JobFile {
    let places = Places::in_folder(folder.root().to_owned());
    let path = jobs::file_of(&places, kind, name).unwrap();
    let (mut file, _) = JobFile::open(path).unwrap();
    let opened = Entry::Opened {
        name: name.to_owned(),
        simulated: kind == Kind::Rehearsal,
    };
    file.add(opened).unwrap();
    file.say(About::Machine, "deck 4").unwrap();
    for entry in entries {
        file.add(entry).unwrap();
    }
    file
}

/// One machine in two years.
fn bench() -> Folder {
    let folder = Folder::new();
    let first = vec![
        snapshot(Label::Before, "2025-11-29T10:00:00Z", -1.3),
        snapshot(Label::After, "2025-11-29T11:00:00Z", 0.02),
        Entry::Note("new bellt".to_owned()),
    ];
    begin(&folder, Kind::Measured, "2025 deck 4", first);
    let second = vec![
        snapshot(Label::Before, "2026-11-29T10:00:00Z", 0.03),
        snapshot(Label::After, "2026-11-29T11:00:00Z", 0.01),
    ];
    begin(&folder, Kind::Measured, "2026 deck 4", second);
    folder
}

fn told(folder: &Folder, line: &str) -> Answer {
    folder.run(&format!("jobs --data . {line}"))
}

fn text_of(folder: &Folder, name: &str) -> String {
    fs::read_to_string(folder.path(name)).unwrap()
}

#[test]
fn one_broken_file_hides_no_other() {
    let bench = bench();
    bench.with("jobs/broken.jsonl", "Dear aunt,\n");
    let list = told(&bench, "");
    list.ends(3).complains(&["broken.jsonl is no job"]);
    list.says(&["\"2025 deck 4\": 2 snapshots, one note", "\"2026 deck 4\""]);
    list.says(&["deck 4 OUT BY THIS TAPE → RIGHT BY THIS TAPE"]);
    // In the order of their beginning, a damaged line told and left out.
    let path = "jobs/2025-deck-4.jsonl";
    let damaged = text_of(&bench, path).replacen("{\"about\"", "{\"abaut\"", 1);
    bench.with(path, damaged);
    let show = told(&bench, "show '2025 deck 4'");
    show.ends(0).complains(&["line 2", "damaged"]);
    show.says(&["-1.300 ±0.012", "new bellt", "1.280 % nearer to right"]);
}

#[test]
fn a_text_is_found_in_whatever_was_typed() {
    let bench = bench();
    told(&bench, "find BELLT")
        .ends(0)
        .says(&["note 1: new bellt", "2025 deck 4"]);
    told(&bench, "find BELLT").never_says(&["2026 deck 4"]);
    told(&bench, "find zzz")
        .ends(0)
        .says(&["\"zzz\" is in no job"]);
    // What is simulated is nobody's job, and is not hidden either.
    begin(&bench, Kind::Rehearsal, "practice", Vec::new());
    told(&bench, "find zzz").says(&["tapewright jobs --rehearsal"]);
    told(&bench, "--rehearsal").says(&["\"practice\": SIMULATED"]);
    told(&bench, "show practice").ends(0).says(&["SIMULATED"]);
    let missing = told(&bench, "show nowhere");
    missing.ends(2).complains(&["there is no job \"nowhere\""]);
}

#[test]
fn a_year_is_told_and_drawn() {
    let bench = bench();
    let history = told(&bench, "history --machine Deck-4 --picture trend.svg");
    history.ends(0).says(&[
        "2025-11-29 before -1.300 ±0.012",
        "From 2025-11-29 to 2026-11-29: STAYED, +0.010 ±0.016 %",
        "RIGHT BY THIS TAPE → RIGHT BY THIS TAPE",
    ]);
    let drawn = text_of(&bench, "trend.svg");
    assert!(
        drawn.contains("<svg") && drawn.contains("2026-11-29"),
        "{drawn}"
    );
    let again = told(&bench, "history --machine 'deck 4' --picture trend.svg");
    again.ends(3).complains(&["trend.svg is there already"]);
    // What an earlier version kept in its one record belongs to the same years.
    let (mut record, _) = Record::open(bench.path("snapshots.jsonl")).unwrap();
    if let Entry::Snapshot(kept) = snapshot(Label::After, "2024-11-29T10:00:00Z", -0.4) {
        record.append(&kept).unwrap();
    }
    let history = told(&bench, "history --machine 'deck 4'");
    history.says(&["\"snapshots.jsonl of 2024-11-29\" 2024-11-29 after -0.400"]);
    history.says(&["From 2024-11-29 to 2025-11-29: MOVED by -0.900 ±0.016 %"]);
    let odd = told(&bench, "history --machine 'deck 4' --picture trend.txt");
    odd.ends(2).complains(&[".svg or .png"]);
    told(&bench, "history --machine nobody")
        .ends(0)
        .says(&["No before or after of"]);
    // The earlier one stands on the left, whichever is named first.
    let compared = told(&bench, "compare '2026 deck 4' 2025-deck-4");
    compared
        .ends(0)
        .says(&["+0.020 ±0.012 +0.010 ±0.012", "unchanged within the ±"]);
    let path = bench.path("jobs/2025-deck-4.jsonl");
    let by_path = told(&bench, &format!("show {}", path.display()));
    by_path.ends(0).says(&["new bellt"]);
}

#[test]
fn what_is_corrected_stays_in_the_file() {
    let bench = bench();
    let path = "jobs/2025-deck-4.jsonl";
    let mut before = text_of(&bench, path);
    for (line, said) in [
        ("--machine 'deck 5'", "machine: \"deck 4\" → \"deck 5\""),
        (
            "--serial 0042 --supply -12V",
            "serial number: \"0042\" supply: \"-12V\"",
        ),
        (
            "--note 1 'new belt'",
            "note 1: \"new bellt\" → \"new belt\"",
        ),
        ("--note 1 'new belt'", "note 1: is \"new belt\" already"),
    ] {
        told(&bench, &format!("correct '2025 deck 4' {line}"))
            .ends(0)
            .says(&[said]);
        let after = text_of(&bench, path);
        assert!(after.starts_with(&before), "{line}");
        before = after;
    }
    let noted = told(&bench, "note 2025-deck-4 capstan cleaned");
    noted.ends(0).says(&["Note 2 of \"2025 deck 4\""]);
    let show = told(&bench, "show '2025 deck 4'");
    show.says(&["machine deck 5", "0042", "-12V", "capstan cleaned"]);
    show.says(&["note 1: \"new bellt\" → \"new belt\""]);
    // What was kept under the wrong name is the other machine's now.
    told(&bench, "history --machine 'deck 5'").says(&["2025 deck 4"]);
    let before = text_of(&bench, path);
    for (line, why) in [
        ("correct '2025 deck 4'", "say what is, with --machine"),
        ("correct '2025 deck 4' --note 9 x", "the job has 1 to 2"),
        ("correct '2025 deck 4' --note one x", "there is no note one"),
        ("correct '2025 deck 4' --serial ''", "says nothing"),
        ("note '2025 deck 4' ''", "says nothing"),
        ("note nowhere x", "there is no job"),
    ] {
        told(&bench, line).ends(2).complains(&[why]);
    }
    assert_eq!(text_of(&bench, path), before);
    assert!(!bench.path("jobs/nowhere.jsonl").exists());
}

/// The cell of a column in a row of a table, read by a library.
fn cell(table: &str, row: usize, column: &str) -> String {
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let head = reader.headers().unwrap().clone();
    let at = head.iter().position(|it| it == column).unwrap();
    let row = reader.records().nth(row).unwrap().unwrap();
    row[at].to_owned()
}

#[test]
fn tables_of_a_job_are_written_once() {
    let bench = bench();
    let export = told(&bench, "export '2025 deck 4' --into out");
    export.ends(0).says(&["out/2025-deck-4-readings.csv"]);
    let readings = text_of(&bench, "out/2025-deck-4-readings.csv");
    assert!(readings.lines().count() == 3 && readings.ends_with("\r\n"));
    assert_eq!(cell(&readings, 1, "deviation_percent"), "0.02");
    assert_eq!(cell(&readings, 0, "kept_as"), "before");
    let lines = text_of(&bench, "out/2025-deck-4-lines.csv");
    assert_eq!(cell(&lines, 1, "part"), "capstan");
    // The columns explain themselves, and the program says the same.
    let columns = text_of(&bench, "out/2025-deck-4-columns.csv");
    let said = told(&bench, "columns").text;
    let mut reader = csv::Reader::from_reader(columns.as_bytes());
    for column in reader.records() {
        let column = column.unwrap();
        assert!(
            said.contains(&column[1]) && said.contains(&column[2]),
            "{column:?}"
        );
    }
    bench.with("out/2025-deck-4-notes.csv", "mine");
    let again = told(&bench, "export '2025 deck 4' --into out");
    again.ends(3).complains(&["is there already"]);
    assert_eq!(text_of(&bench, "out/2025-deck-4-notes.csv"), "mine");
    told(&bench, "export '2025 deck 4' --into out --replace").ends(0);
    told(&bench, "export '2025 deck 4' --into out --format json").ends(0);
    let json: Value = serde_json::from_str(&text_of(&bench, "out/2025-deck-4.json")).unwrap();
    assert_eq!(json["schema"], "tapewright.tables/1");
    let notes = &json["tables"].as_array().unwrap()[8];
    assert_eq!(
        (&notes["name"], &notes["rows"][0][2]),
        (&"notes".into(), &"new bellt".into())
    );
}

fn job_of(folder: &Folder, name: &str) -> Job {
    let (file, warnings) = JobFile::open(folder.path(&format!("jobs/{name}.jsonl"))).unwrap();
    assert!(warnings.is_empty(), "{warnings:?}");
    file.job().clone()
}

#[test]
fn recordings_go_into_a_job_once() {
    let folder = Folder::new();
    let slow = tone(48_000, 12.0, 3150.0, |_| 0.99);
    let right = tone(48_000, 12.0, 3150.0, |_| 1.0001);
    folder.write("slow.wav", 48_000, &[&slow]);
    folder.write("right.wav", 48_000, &[&right]);
    folder.with("text.wav", "no recording");
    let read = |line: &str| {
        let of_job = "read --data . --reference 3150 --job 'repair 117'";
        folder.run(&format!("{of_job} {line}"))
    };
    let first = read("--machine 'deck 4' --keep-as before slow.wav");
    first
        .ends(0)
        .complains(&["slow.wav is kept as before in the job \"repair 117\""]);
    read("--keep-as after right.wav text.wav").ends(3);
    let again = read("--keep-as before slow.wav");
    again
        .ends(0)
        .complains(&["is in the job \"repair 117\" as before already"]);
    read("right.wav").ends(0);
    let job = job_of(&folder, "repair-117");
    let kept: Vec<_> = job
        .snapshots
        .iter()
        .map(|it| it.label.to_string())
        .collect();
    assert_eq!(kept, ["before", "after", "right.wav"]);
    // The job knows the machine, and the file when it was written.
    assert!(
        job.snapshots
            .iter()
            .all(|it| it.machine.as_deref() == Some("deck 4"))
    );
    let written = fs::metadata(folder.path("slow.wav"))
        .unwrap()
        .modified()
        .unwrap();
    let written: jiff::Timestamp = written.try_into().unwrap();
    assert_eq!(job.snapshots[0].taken_at, written);
    assert_eq!(job.snapshots[0].source, "slow.wav");
    let other = read("--machine 'deck 5' right.wav");
    other
        .ends(2)
        .complains(&["is of machine \"deck 4\", not \"deck 5\""]);
    assert_eq!(job_of(&folder, "repair-117"), job);
    told(&folder, "").says(&["→ RIGHT BY THIS TAPE"]);
}

#[test]
fn tables_of_recordings_say_what_json_says() {
    let folder = Folder::new();
    let wavering = |t: f64| 0.99 + 0.001 * (std::f64::consts::TAU * 7.6 * t).sin();
    let samples = tone(48_000, 20.0, 3150.0, wavering);
    for name in ["a.wav", "one/a.wav", "two/A.wav"] {
        fs::create_dir_all(folder.path(name).parent().unwrap()).unwrap();
        folder.write(name, 48_000, &[&samples]);
    }
    let read = folder.run("read --json --export out a.wav one two");
    read.ends(0);
    for stem in ["a", "a-2", "a-3"] {
        let readings = text_of(&folder, &format!("out/{stem}-readings.csv"));
        let text = &read.text;
        for (column, key) in [
            ("deviation_percent", "deviation_percent"),
            ("uncertainty_percent", "uncertainty_percent"),
            ("weighted_two_sigma_percent", "weighted_two_sigma_percent"),
            ("snr_db", "snr_db"),
        ] {
            let figure = cell(&readings, 0, column);
            let said = format!("\"{key}\":{figure}");
            assert!(text.contains(&said), "{said}: {text}");
        }
        let speed = text_of(&folder, &format!("out/{stem}-speed.csv"));
        let rows = speed.lines().count() - 1;
        assert!((150..=210).contains(&rows), "{rows} steps in 20 s");
        let deviations = (0..rows).map(|row| cell(&speed, row, "deviation_percent"));
        let known: Vec<f64> = deviations.filter_map(|it| it.parse().ok()).collect();
        let mean = known.iter().sum::<f64>() / known.len() as f64;
        let whole = number(&read.object["speed"]["deviation_percent"]);
        assert!((mean - whole).abs() < 0.01, "{mean} {whole}");
        let lines = text_of(&folder, &format!("out/{stem}-lines.csv"));
        let rate: f64 = cell(&lines, 0, "hz").parse().unwrap();
        assert!((rate - 7.6).abs() < 0.1, "{rate}");
    }
    // The same again is in nobody's way, what somebody changed is not replaced.
    folder.run("read --json --export out a.wav").ends(0);
    folder.with("out/a-readings.csv", "mine");
    let again = folder.run("read --json --export out a.wav");
    again.ends(3).complains(&["is there already"]);
    assert_eq!(text_of(&folder, "out/a-readings.csv"), "mine");
    folder
        .run("read --json --export out --replace a.wav")
        .ends(0);
    folder
        .run("read --export out --export-format json a.wav")
        .ends(0);
    let json: Value = serde_json::from_str(&text_of(&folder, "out/a.json")).unwrap();
    assert_eq!(json["tables"][0]["name"], "readings");
}
