//! `tapewright clock`: what it says of a recorded tone, what it keeps, what it
//! refuses, and with which exit status.

use std::f64::consts::TAU;

use crate::support::program::{Answer, Folder, deviation, write_wav};

fn clock(folder: &Folder, line: &str) -> Answer {
    folder.run(&format!("clock --data . {line}"))
}

const MEASURED: &str = "--file tone.wav --tone 3150 --tone-uncertainty 2";

/// A tone as a clock that runs `error_ppm` fast records it, wavering by a
/// peak of `wow` percent four times a second.
fn record(folder: &Folder, hz: f64, error_ppm: f64, wow: f64, seconds: u32) {
    let samples = (0..48_000 * seconds).map(|n| {
        let t = f64::from(n) / (48_000.0 * (1.0 + error_ppm * 1e-6));
        let wavering = wow / 100.0 * (TAU * 4.0 * t).sin() / (TAU * 4.0);
        ((TAU * hz * (t + wavering)).sin() * 0.25) as f32
    });
    write_wav(&folder.path("tone.wav"), 48_000, 1, samples);
}

/// The number after a word.
fn after(text: &str, word: &str) -> f64 {
    let rest = text.split_once(word).expect("the word").1.trim_start();
    let end = rest.find(|c: char| !"+-.0123456789".contains(c));
    rest[..end.unwrap_or(rest.len())].parse().expect("a number")
}

#[test]
fn a_recorded_tone_gives_the_error_that_read_takes_out() {
    let folder = Folder::new();
    record(&folder, 3150.0, 37.0, 0.0, 20);
    let answer = clock(&folder, MEASURED);
    answer
        .ends(0)
        .says(&["fast: a true tone reads 0.0037 % low"]);
    let said = answer.text;
    let error = after(&said, "--clock=");
    assert!((error - 37.0).abs() < 0.5, "{said}");
    // The tone's own ±2 ppm and next to nothing.
    let uncertainty = after(&said, &format!("--clock={error:.2}±"));
    assert!((2.0..3.0).contains(&uncertainty), "{said}");
    // Nobody said what it was made through.
    assert!(!folder.path("clocks.jsonl").exists());

    let as_it_is = folder.measured("tone.wav");
    assert!((deviation(&as_it_is) + 0.0037).abs() < 0.0001);
    let corrected = folder.measured(&format!("tone.wav --clock {error}"));
    assert!(deviation(&corrected).abs() < 0.0001);
}

#[test]
fn what_is_no_reference_tone_is_refused() {
    let folder = Folder::new();
    for (wow, seconds, tone, wanted) in [
        (0.1, 20, 3150, "as from a tape"),
        (0.0, 20, 3000, "no sample clock is"),
        (0.0, 20, 1000, "no usable tone"),
        (0.0, 5, 3150, "too short"),
    ] {
        record(&folder, 3150.0, 0.0, wow, seconds);
        let tone = format!("--file tone.wav --tone {tone} --tone-uncertainty 1");
        let said = clock(&folder, &tone);
        said.ends(4).complains(&[wanted]);
        assert_eq!((&*said.text, said.errors.lines().count()), ("", 1));
    }
}

#[test]
fn what_cannot_be_typed_is_told() {
    let folder = Folder::new();
    for wrong in [
        "--tone 3150",
        "--file a.wav",
        "--tone-uncertainty 1",
        "--tone 5 --tone-uncertainty 1",
        "--minutes 0",
        "--minutes nan",
        "--list --forget alsa:default",
        "--system-clock-uncertainty -1",
    ] {
        clock(&folder, wrong).ends(2);
    }
    clock(&folder, MEASURED).ends(3);
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

const USB_LINE: &str = "alsa:hw:CARD=A,DEV=0";

#[test]
fn what_is_kept_is_listed_and_forgotten() {
    let folder = Folder::new();
    let nothing = &["No sample clock has been measured yet"];
    clock(&folder, "--list").ends(0).says(nothing);
    folder.with("clocks.jsonl", kept_line(USB_LINE, "USB Line", 48_000));
    let listed = clock(&folder, "--list");
    listed.says(&["USB Line", USB_LINE, "-41.25 ppm ±50.20", "0.0041 % high"]);
    clock(&folder, "--forget another")
        .ends(2)
        .complains(&["--list"]);
    clock(&folder, "--forget 'usb line'").ends(0);
    clock(&folder, "--list").says(&["No sample clock"]);
}

#[test]
fn an_id_is_forgotten_whatever_others_are_called_and_each_is_named_once() {
    let folder = Folder::new();
    let lines = [
        kept_line("alsa:a", "Line", 44_100),
        kept_line("alsa:b", "line", 44_100),
        kept_line("alsa:a", "Line", 48_000),
        kept_line("alsa:c", "alsa:a", 48_000),
    ];
    folder.with("clocks.jsonl", lines.concat());
    let said = clock(&folder, "--forget line");
    let sentence = said.ends(2).errors.trim_end();
    let named = sentence.ends_with("one of them: alsa:a, alsa:b");
    assert!(named, "{sentence}");
    clock(&folder, "--forget alsa:a").ends(0);
    let listed = clock(&folder, "--list");
    listed.says(&["alsa:b", "alsa:c"]).never_says(&["Line"]);
}

#[test]
fn a_file_of_something_else_is_refused_before_anything_is_measured() {
    let folder = Folder::new();
    folder.with("clocks.jsonl", "a letter\n");
    let said = clock(&folder, "--minutes 1");
    said.ends(3).complains(&["holds no clock figures"]);
}

#[test]
fn a_locale_without_our_characters_gets_plain_ones() {
    let folder = Folder::new();
    folder.with("clocks.jsonl", kept_line(USB_LINE, "USB Line", 48_000));
    record(&folder, 3150.0, 37.0, 0.0, 10);
    for line in ["--list", MEASURED, "--forget 'usb line'"] {
        let mut clock = folder.command(&format!("clock --data . {line}"));
        let said = Answer::of(clock.env("LC_ALL", "C"));
        said.says(&["+-"]);
        assert!(said.text.is_ascii(), "{}", said.text);
    }
}
