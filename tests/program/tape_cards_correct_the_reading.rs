//! A reference tape has a card: its own error is taken out of every reading,
//! its ± goes in, and a tape that was recorded on the machine under test is
//! never called a speed error. Tapes are invented: tones a little off 3150 Hz.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

/// The program, with a data folder of its own.
fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tapewright"))
        .args(arguments)
        .current_dir(folder)
        .env("XDG_DATA_HOME", folder.join("data"))
        .env("HOME", folder)
        .output()
        .unwrap()
}

fn said(output: &Output) -> String {
    let mut text = String::from_utf8_lossy(&output.stdout).into_owned();
    text.push_str(&String::from_utf8_lossy(&output.stderr));
    text
}

/// A tone of 20 s in `tape.wav`, so many percent off 3150 Hz.
fn tape(folder: &Path, percent: f64) {
    let hz = (3150.0 * (1.0 + percent / 100.0)).to_string();
    let made = run(
        folder,
        &["tone", &hz, "-o", "tape.wav", "--seconds", "20", "--force"],
    );
    assert!(made.status.success(), "{}", said(&made));
}

fn read(folder: &Path, options: &[&str]) -> Value {
    let mut arguments = vec!["read", "--json"];
    arguments.extend(options);
    arguments.push("tape.wav");
    let output = run(folder, &arguments);
    assert!(output.status.success(), "{}", said(&output));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn figure(reading: &Value, key: &str) -> f64 {
    reading["speed"][key].as_f64().unwrap()
}

fn codes(reading: &Value) -> Vec<String> {
    let cautions = reading["cautions"].as_array().unwrap();
    let code = |it: &Value| it["code"].as_str().unwrap().to_owned();
    cautions.iter().map(code).collect()
}

fn certify(folder: &Path, extra: &[&str]) -> Output {
    let mut arguments = vec!["tape", "certify", "Tone Tape 3", "--error", "-0.2"];
    arguments.extend(["--uncertainty", "0.1", "--carries", "tone:3150"]);
    arguments.extend(extra);
    run(folder, &arguments)
}

#[test]
fn a_certified_tapes_error_is_taken_out_and_its_uncertainty_put_in() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    tape(folder, 0.5);
    assert!(certify(folder, &[]).status.success());
    // 1.005 ÷ 0.998 − 1 = 0.7014 %.
    let reading = read(folder, &["--tape", "tone tape 3"]);
    assert!((figure(&reading, "deviation_percent") - 0.7014).abs() < 0.001);
    let own = figure(&reading, "uncertainty_percent");
    let whole = figure(&reading, "uncertainty_with_reference_percent");
    assert!((whole - own.hypot(0.1)).abs() < 0.002, "{own} {whole}");
    assert_eq!(reading["reference"]["tape"], "Tone Tape 3");
    assert_eq!(reading["reference"]["error_percent"], -0.2);
    let without = codes(&reading);
    assert!(!without.contains(&"reference_error_unknown".to_owned()));
    let words = said(&run(folder, &["read", "--tape", "tone tape 3", "tape.wav"]));
    assert!(words.contains("Tone Tape 3: own error"), "{words}");
}

#[test]
fn a_tape_measured_on_a_trusted_machine_takes_that_machines_error_over() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    // A tape that plays 0.3 % high, on a machine 0.2 % fast.
    tape(folder, 100.0 * (1.003 * 1.002 - 1.0));
    let measure = ["tape", "measure", "home", "tape.wav"];
    let on = ["--machine-error=0.2", "--machine-uncertainty=0.05"];
    let asked = [&measure[..], &on, &["--played-on", "deck 1"]].concat();
    // A tone of 3000 Hz would make another card.
    let refused = run(folder, &asked);
    assert_eq!(refused.status.code(), Some(4), "{}", said(&refused));
    assert!(said(&refused).contains("tone:3000"), "{}", said(&refused));
    let made = run(folder, &[&asked[..], &["--reference", "3150"]].concat());
    assert!(made.status.success(), "{}", said(&made));
    assert!(
        said(&made).contains("measured on deck 1"),
        "{}",
        said(&made)
    );
    // On the same machine it reads that machine's error.
    let reading = read(folder, &["--tape", "home"]);
    assert!((figure(&reading, "deviation_percent") - 0.2).abs() < 0.001);
    assert!(figure(&reading, "uncertainty_with_reference_percent") >= 0.05);
    let list = said(&run(folder, &["tape"]));
    assert!(list.contains("home") && list.contains("+0.3 %"), "{list}");
}

#[test]
fn a_tape_recorded_on_the_machine_is_no_judge_of_it() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    tape(folder, 0.0);
    assert!(
        certify(folder, &["--recorded-on", "Portable 12"])
            .status
            .success()
    );
    let there = ["--tape", "tone tape 3", "--machine", "portable 12"];
    let reading = read(folder, &there);
    assert!(codes(&reading).contains(&"reference_recorded_here".to_owned()));
    assert!(reading["speed"]["uncertainty_with_reference_percent"].is_null());
    let words = said(&run(
        folder,
        &[&["read"], &there[..], &["tape.wav"]].concat(),
    ));
    assert!(words.contains("TAPE MADE HERE"), "{words}");
    let elsewhere = read(folder, &["--tape", "tone tape 3", "--machine", "deck 4"]);
    assert!(!codes(&elsewhere).contains(&"reference_recorded_here".to_owned()));
    assert!(!elsewhere["speed"]["uncertainty_with_reference_percent"].is_null());
}

#[test]
fn what_the_tape_carries_need_not_be_said_twice() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let made = run(
        folder,
        &["tone", "1000", "-o", "tape.wav", "--seconds", "20"],
    );
    assert!(made.status.success(), "{}", said(&made));
    let mut arguments = vec!["tape", "certify", "kilo", "--error", "0"];
    arguments.extend(["--uncertainty", "0.1", "--carries", "tone:1000"]);
    assert!(run(folder, &arguments).status.success());
    let reading = read(folder, &["--tape", "kilo"]);
    assert_eq!(reading["reference"]["hz"], 1000.0);
    // What is said wins.
    let other = run(
        folder,
        &[
            "read",
            "--json",
            "--tape",
            "kilo",
            "-r",
            "tone:3150",
            "tape.wav",
        ],
    );
    assert_eq!(other.status.code(), Some(4), "{}", said(&other));
}

#[test]
fn a_card_is_never_overwritten_unasked_and_what_is_wrong_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    tape(folder, 0.0);
    assert!(certify(folder, &[]).status.success());
    let again = certify(folder, &[]);
    assert_eq!(again.status.code(), Some(3));
    assert!(said(&again).contains("--replace"), "{}", said(&again));
    assert!(certify(folder, &["--replace"]).status.success());

    let missing = run(folder, &["read", "--tape", "no such", "tape.wav"]);
    assert_eq!(missing.status.code(), Some(3));
    assert!(
        said(&missing).contains("there are: Tone Tape 3"),
        "{}",
        said(&missing)
    );

    std::fs::write(
        folder.join("bad.toml"),
        "tape_card = 1\nname = \"a\"\nwrong",
    )
    .unwrap();
    let bad = run(folder, &["read", "--tape", "bad.toml", "tape.wav"]);
    assert_eq!(bad.status.code(), Some(3));
    assert!(said(&bad).contains("line 3"), "{}", said(&bad));

    let both = run(
        folder,
        &[
            "read",
            "--tape",
            "tone tape 3",
            "--reference-error",
            "1",
            "tape.wav",
        ],
    );
    assert_eq!(both.status.code(), Some(2), "{}", said(&both));
}

#[test]
fn a_cards_name_is_a_plain_one() {
    let outer = tempfile::tempdir().unwrap();
    let folder = &outer.path().join("bench");
    std::fs::create_dir(folder).unwrap();
    for name in ["a/b", "../evil", "..", "x/"] {
        let made = run(
            folder,
            &["tape", "certify", name, "--error=0", "--uncertainty=0.1"],
        );
        assert_eq!(made.status.code(), Some(2), "{name}: {}", said(&made));
        assert!(said(&made).contains("plain name"), "{}", said(&made));
    }
    assert_eq!(std::fs::read_dir(folder).unwrap().count(), 0);
    assert_eq!(std::fs::read_dir(outer.path()).unwrap().count(), 1);
}

#[test]
fn measuring_a_tape_offers_nothing_that_it_refuses() {
    let folder = tempfile::tempdir().unwrap();
    let help = said(&run(folder.path(), &["tape", "measure", "--help"]));
    for option in [
        "--tape ",
        "--home-made",
        "--reference-error",
        "--reference-uncertainty",
    ] {
        assert!(!help.contains(option), "{option}: {help}");
    }
    assert!(help.contains("--machine-error"), "{help}");
}

#[test]
fn a_speed_that_moved_makes_no_card() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for (percent, name) in [(0.0, "slow.wav"), (2.0, "fast.wav")] {
        tape(folder, percent);
        std::fs::rename(folder.join("tape.wav"), folder.join(name)).unwrap();
    }
    let samples = |name: &str| -> Vec<i32> {
        let mut reader = hound::WavReader::open(folder.join(name)).unwrap();
        reader.samples().map(Result::unwrap).collect()
    };
    let spec = hound::WavReader::open(folder.join("slow.wav"))
        .unwrap()
        .spec();
    let mut writer = hound::WavWriter::create(folder.join("tape.wav"), spec).unwrap();
    let count = samples("slow.wav").len() - 4800;
    for sample in samples("slow.wav")[..count]
        .iter()
        .chain(&samples("fast.wav")[4800..])
    {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
    let machine = ["--machine-error=0", "--machine-uncertainty=0.05"];
    let asked = ["tape", "measure", "moved", "tape.wav", "--reference=3150"];
    let made = run(folder, &[&asked[..], &machine].concat());
    assert_eq!(made.status.code(), Some(4), "{}", said(&made));
    assert!(said(&made).contains("speed was moved"), "{}", said(&made));
    let list = said(&run(folder, &["tape"]));
    assert!(list.contains("No tape cards"), "{list}");
}

#[test]
fn where_a_tape_was_recorded_is_asked_until_somebody_says_it() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    tape(folder, 0.5);
    let asked = |options: &[&str]| {
        let words = said(&run(folder, &[&["read", "tape.wav"], options].concat()));
        words.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let question = "Where was it recorded?";
    let words = asked(&[]);
    assert!(
        words.contains(question) && words.contains("--recorded-on"),
        "{words}"
    );
    assert!(asked(&["--home-made"]).contains(question));
    let elsewhere = ["--recorded-on", "deck 4", "--machine", "deck 9"];
    let words = asked(&[&elsewhere[..], &["--reference", "3150"]].concat());
    assert!(
        !words.contains(question) && words.contains("recorded on \"deck 4\""),
        "{words}"
    );
    assert!(words.contains("FAST"), "{words}");
    // However the name is written.
    let words = asked(&["--recorded-on", "Deck-9", "--machine", "deck 9"]);
    assert!(words.contains("TAPE MADE HERE"), "{words}");
    assert!(!words.contains(question), "{words}");
    assert!(
        certify(folder, &["--recorded-on", "deck9"])
            .status
            .success()
    );
    let words = asked(&["--tape", "tone tape 3"]);
    assert!(!words.contains(question), "{words}");
    let words = asked(&["--tape", "tone tape 3", "--machine", "Deck 9"]);
    assert!(words.contains("TAPE MADE HERE"), "{words}");
}
