//! A verdict is the same in the table, in JSON and in the comparison; which tone
//! the tape carries is asked wherever two would do; and each error is told once.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

const RATE: u32 = 48_000;

/// What the program answers in a folder.
fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tapewright"))
        .current_dir(folder)
        .args(arguments)
        .output()
        .unwrap()
}

fn text(folder: &Path, arguments: &[&str]) -> String {
    String::from_utf8(run(folder, &[&["read"], arguments].concat()).stdout).unwrap()
}

fn json(folder: &Path, arguments: &[&str]) -> Value {
    let arguments = [&["read", "--json"], arguments].concat();
    serde_json::from_slice(&run(folder, &arguments).stdout).unwrap()
}

/// Half a minute of a tone with a little wow.
fn tape(folder: &Path, name: &str, hz: f64) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(folder.join(name), spec).unwrap();
    let mut phase = 0.0_f64;
    for n in 0..30 * RATE {
        let seconds = f64::from(n) / f64::from(RATE);
        let wow = 0.0005 * (std::f64::consts::TAU * 1.1 * seconds).sin();
        phase += std::f64::consts::TAU * hz * (1.0 + wow) / f64::from(RATE);
        file.write_sample((8000.0 * phase.sin()) as i16).unwrap();
    }
    file.finalize().unwrap();
}

fn asks(reading: &Value) -> bool {
    let cautions = reading["cautions"].as_array().unwrap();
    let asked = cautions
        .iter()
        .any(|it| it["code"] == "reference_ambiguous");
    assert_eq!(
        asked,
        reading["speed"]["verdict"] == "which_tone",
        "{reading}"
    );
    asked
}

#[test]
fn right_in_a_band_is_right_in_the_table_and_in_json() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    tape(folder, "a.wav", 3150.0 * 0.9972);
    let said = ["--reference", "3150", "a.wav"];
    let table = text(folder, &said);
    assert!(table.contains("%  RIGHT BY THIS TAPE\n"), "{table}");
    assert!(table.contains("band ±0.5 % deck"), "{table}");
    assert!(!table.contains("SLOW"), "{table}");
    let reading = json(folder, &said);
    assert_eq!(reading["speed"]["verdict"], "right_by_this_tape");
    assert_eq!(reading["speed"]["tolerance_percent"], 0.5);
    let narrow = [&["--tolerance", "professional"], &said[..]].concat();
    assert_eq!(
        json(folder, &narrow)["speed"]["verdict"],
        "out_by_this_tape"
    );
    let table = text(folder, &narrow);
    assert!(table.contains("%  SLOW, OUT BY THIS TAPE\n"), "{table}");
    let known = [
        &["--reference-error", "0", "--reference-uncertainty", "0.1"],
        &said[..],
    ];
    assert_eq!(
        json(folder, &known.concat())["speed"]["verdict"],
        "in_tolerance"
    );
}

/// Heard, and what it would be by 3150 and by 3000 Hz.
#[test]
fn which_tone_is_asked_wherever_two_would_do_and_nobody_has_said() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for (heard, by_3150, by_3000) in [
        (2925.0, "7.1 % slow", "2.5 % slow"),
        (3055.5, "3.0 % slow", "1.9 % fast"),
        (3150.0, "0.0 % fast", "5.0 % fast"),
    ] {
        tape(folder, "a.wav", heard + 0.01);
        for unsaid in [&["a.wav"][..], &["--reference", "tone:auto", "a.wav"]] {
            let reading = json(folder, unsaid);
            assert!(asks(&reading), "{heard}: {reading}");
            // The figures stand, by the tone that is named beside them.
            assert!(reading["speed"]["deviation_percent"].is_number());
            let table = text(folder, unsaid);
            let words = table.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(words.contains("WHICH TONE?"), "{table}");
            for means in [by_3150, by_3000, "tone:3150", "tone:3000"] {
                assert!(words.contains(means), "{means} is missing: {table}");
            }
            for early in ["SLOW", "FAST", "OUT ", "RIGHT BY"] {
                assert!(!table.contains(early), "{early}: {table}");
            }
        }
        for said in ["tone:3150", "3000"] {
            let reading = json(folder, &["--reference", said, "a.wav"]);
            assert!(!asks(&reading), "{heard}, {said}: {reading}");
        }
    }
    tape(folder, "a.wav", 1003.0);
    let reading = json(folder, &["--reference", "tone:auto", "a.wav"]);
    assert!(!asks(&reading), "one tone alone: {reading}");
}

#[test]
fn a_card_that_says_what_the_tape_carries_has_answered() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    tape(folder, "a.wav", 2925.0);
    for (name, carries) in [
        ("said.toml", &["--carries", "3000"][..]),
        ("open.toml", &[]),
    ] {
        let made = [
            "tape",
            "certify",
            name,
            "--error",
            "0",
            "--uncertainty",
            "0.1",
        ];
        assert!(run(folder, &[&made[..], carries].concat()).status.success());
        let reading = json(folder, &["--tape", &format!("./{name}"), "a.wav"]);
        assert_eq!(asks(&reading), carries.is_empty(), "{reading}");
    }
}

#[test]
fn another_tone_is_named_with_the_reference_that_reads_it() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for (heard, reference) in [(1008.0, "1000"), (433.0, "440"), (314.0, "315")] {
        tape(folder, "a.wav", heard);
        let answer = run(folder, &["read", "a.wav"]);
        assert_eq!(answer.status.code(), Some(4));
        let errors = String::from_utf8(answer.stderr).unwrap();
        let way_out = format!("--reference tone:{reference} measures by it");
        assert!(errors.contains(&way_out), "{errors}");
        let table = String::from_utf8(answer.stdout).unwrap();
        assert!(!table.contains("tuning"), "{table}");
    }
}

#[test]
fn an_error_is_told_once() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    std::fs::write(folder.join("notes.wav"), "no sound").unwrap();
    tape(folder, "other.wav", 1008.0);
    for (file, told) in [("notes.wav", "recording"), ("other.wav", "outside")] {
        let answer = run(folder, &["read", file]);
        let errors = String::from_utf8(answer.stderr).unwrap();
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert!(errors.contains(told), "{errors}");
        let table = String::from_utf8(answer.stdout).unwrap();
        assert!(table.starts_with(file), "{table}");
        assert!(!table.contains(told), "{table}");
    }
}

#[test]
fn a_recording_in_the_place_of_a_command_is_offered_to_be_read() {
    let folder = tempfile::tempdir().unwrap();
    let answer = run(folder.path(), &["side-a.wav"]);
    assert_eq!(answer.status.code(), Some(2));
    let errors = String::from_utf8(answer.stderr).unwrap();
    assert!(errors.contains("tapewright read side-a.wav"), "{errors}");
    let answer = run(folder.path(), &["wtch"]);
    let errors = String::from_utf8(answer.stderr).unwrap();
    assert!(!errors.contains("tapewright read"), "{errors}");
}
