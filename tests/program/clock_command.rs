//! `tapewright clock`: what it says of a recorded tone, what it keeps, what it
//! refuses, and with which exit status.

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn clock(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tapewright"))
        .arg("clock")
        .args(arguments)
        .arg("--clocks")
        .arg(folder.join("clocks.jsonl"))
        .output()
        .expect("the program runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("UTF-8")
}

/// A tone as a clock that runs `error_ppm` fast records it, wavering by a
/// peak of `wow` percent four times a second.
fn recording(folder: &Path, hz: f64, error_ppm: f64, wow: f64, seconds: u32) -> PathBuf {
    let path = folder.join("tone.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&path, spec).expect("a file");
    for n in 0..48_000 * seconds {
        let t = f64::from(n) / (48_000.0 * (1.0 + error_ppm * 1e-6));
        let wavering = wow / 100.0 * (TAU * 4.0 * t).sin() / (TAU * 4.0);
        let sample = (TAU * hz * (t + wavering)).sin() * 0.25 * 8_388_607.0;
        writer.write_sample(sample.round() as i32).expect("room");
    }
    writer.finalize().expect("room");
    path
}

/// The number after a word.
fn after(text: &str, word: &str) -> f64 {
    let rest = text.split_once(word).expect("the word").1.trim_start();
    let end = rest.find(|c: char| !"+-.0123456789".contains(c));
    rest[..end.unwrap_or(rest.len())].parse().expect("a number")
}

#[test]
fn a_recorded_tone_gives_the_error_that_read_takes_out() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = recording(folder.path(), 3150.0, 37.0, 0.0, 20);
    let file = path.to_str().expect("UTF-8");
    let said = clock(
        folder.path(),
        &["--file", file, "--tone", "3150", "--tone-uncertainty", "2"],
    );
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let said = text(&said.stdout);
    let error = after(&said, "--clock-error");
    let uncertainty = after(&said, "--clock-uncertainty");
    assert!((error - 37.0).abs() < 0.5, "{said}");
    // The tone's own ±2 ppm and next to nothing.
    assert!((2.0..3.0).contains(&uncertainty), "{said}");
    assert!(
        said.contains("fast: a true tone reads 0.0037 % low"),
        "{said}"
    );
    // Nobody said what it was made through.
    assert!(!folder.path().join("clocks.jsonl").exists());

    let read = |options: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_tapewright"))
            .args(["read", "--json", file])
            .args(options)
            .output()
            .expect("the program runs");
        let line: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
        line["speed"]["deviation_percent"]
            .as_f64()
            .expect("a speed")
    };
    assert!((read(&[]) + 0.0037).abs() < 0.0001);
    let error = error.to_string();
    assert!(read(&["--clock-error", &error]).abs() < 0.0001);
}

#[test]
fn what_is_no_reference_tone_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let refused = |hz, wow, seconds, tone: &str, wanted: &str| {
        let path = recording(folder.path(), hz, 0.0, wow, seconds);
        let file = path.to_str().expect("UTF-8");
        let said = clock(
            folder.path(),
            &["--file", file, "--tone", tone, "--tone-uncertainty", "1"],
        );
        assert_eq!(said.status.code(), Some(4), "{}", text(&said.stdout));
        assert_eq!(text(&said.stdout), "");
        let sentence = text(&said.stderr);
        assert_eq!(sentence.lines().count(), 1, "{sentence}");
        assert!(sentence.contains(wanted), "{wanted}: {sentence}");
    };
    refused(3150.0, 0.1, 20, "3150", "as from a tape");
    refused(3150.0, 0.0, 20, "3000", "no sample clock is");
    refused(3150.0, 0.0, 20, "1000", "no usable tone");
    refused(3150.0, 0.0, 5, "3150", "too short");
}

#[test]
fn what_cannot_be_typed_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    for wrong in [
        &["--tone", "3150"][..],
        &["--file", "a.wav"],
        &["--tone-uncertainty", "1"],
        &["--tone", "5", "--tone-uncertainty", "1"],
        &["--minutes", "0"],
        &["--minutes", "nan"],
        &["--list", "--forget", "alsa:default"],
        &["--system-clock-uncertainty", "-1"],
    ] {
        let said = clock(folder.path(), wrong);
        assert_eq!(said.status.code(), Some(2), "{wrong:?}");
    }
    let missing = [
        "--file",
        "/no/such.wav",
        "--tone",
        "3150",
        "--tone-uncertainty",
        "1",
    ];
    let said = clock(folder.path(), &missing);
    assert_eq!(said.status.code(), Some(3), "{}", text(&said.stderr));
}

/// A line of the file, as a measurement leaves it.
fn kept_line(id: &str, name: &str, rate_hz: u32) -> String {
    let figure = serde_json::json!({
        "input": id,
        "name": name,
        "rate_hz": rate_hz,
        "error": -41.25,
        "uncertainty": 50.2,
        "taken_at": "2026-11-25T17:00:00Z",
        "against": {"system_clock": {"uncertainty": 50.0, "disciplined": false}},
        "over": 296.0,
    });
    format!(r#"{{"schema":"tapewright.clock/1","input":"{id}","figure":{figure}}}"#) + "\n"
}

#[test]
fn what_is_kept_is_listed_and_forgotten() {
    let folder = tempfile::tempdir().expect("a folder");
    let said = clock(folder.path(), &["--list"]);
    assert!(said.status.success());
    assert!(text(&said.stdout).contains("No sample clock has been measured yet"));
    let line = kept_line("alsa:hw:CARD=A,DEV=0", "USB Line", 48_000);
    std::fs::write(folder.path().join("clocks.jsonl"), line).expect("room");
    let listed = text(&clock(folder.path(), &["--list"]).stdout);
    for needed in [
        "USB Line",
        "alsa:hw:CARD=A,DEV=0",
        "-41.25 ppm ±50.20",
        "0.0041 % high",
    ] {
        assert!(listed.contains(needed), "{needed}: {listed}");
    }
    let said = clock(folder.path(), &["--forget", "another"]);
    assert_eq!(said.status.code(), Some(2));
    assert!(text(&said.stderr).contains("--list"));
    assert!(
        clock(folder.path(), &["--forget", "usb line"])
            .status
            .success()
    );
    assert!(text(&clock(folder.path(), &["--list"]).stdout).contains("No sample clock"));
}

#[test]
fn an_id_is_forgotten_whatever_others_are_called_and_each_is_named_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let lines = [
        kept_line("alsa:a", "Line", 44_100),
        kept_line("alsa:b", "line", 44_100),
        kept_line("alsa:a", "Line", 48_000),
        kept_line("alsa:c", "alsa:a", 48_000),
    ];
    std::fs::write(folder.path().join("clocks.jsonl"), lines.concat()).expect("room");
    let said = clock(folder.path(), &["--forget", "line"]);
    assert_eq!(said.status.code(), Some(2));
    let sentence = text(&said.stderr);
    assert!(
        sentence.trim_end().ends_with("one of them: alsa:a, alsa:b"),
        "{sentence}"
    );
    let said = clock(folder.path(), &["--forget", "alsa:a"]);
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let listed = text(&clock(folder.path(), &["--list"]).stdout);
    assert!(
        listed.contains("alsa:b") && listed.contains("alsa:c"),
        "{listed}"
    );
    assert!(!listed.contains("Line"), "{listed}");
}

#[test]
fn a_file_of_something_else_is_refused_before_anything_is_measured() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("clocks.jsonl"), "a letter\n").expect("room");
    let said = clock(folder.path(), &["--minutes", "1"]);
    assert_eq!(said.status.code(), Some(3));
    assert!(text(&said.stderr).contains("holds no clock figures"));
}

#[test]
fn a_locale_without_our_characters_gets_plain_ones() {
    let folder = tempfile::tempdir().expect("a folder");
    let kept = folder.path().join("clocks.jsonl");
    let line = kept_line("alsa:hw:CARD=A,DEV=0", "USB Line", 48_000);
    std::fs::write(&kept, line).expect("room");
    let tone = recording(folder.path(), 3150.0, 37.0, 0.0, 10);
    let file = tone.to_str().expect("UTF-8");
    let measured = ["--file", file, "--tone", "3150", "--tone-uncertainty", "2"];
    for arguments in [&["--list"][..], &measured, &["--forget", "usb line"]] {
        let output = Command::new(env!("CARGO_BIN_EXE_tapewright"))
            .arg("clock")
            .args(arguments)
            .arg("--clocks")
            .arg(&kept)
            .env("LC_ALL", "C")
            .output()
            .expect("the program runs");
        let said = text(&output.stdout);
        assert!(said.contains("+-") && said.is_ascii(), "{said}");
    }
}
