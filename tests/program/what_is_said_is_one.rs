//! A verdict is the same in the table, in JSON and in the comparison; which tone
//! the tape carries is asked wherever two would do; and each error is told once.

use std::f64::consts::TAU;

use crate::support::program::{Folder, has, tone};
use serde_json::Value;

const RATE: u32 = 48_000;

/// Half a minute of a tone with a little wow, in `a.wav`.
fn tape(folder: &Folder, hz: f64) {
    let wow = |t: f64| 1.0 + 0.0005 * (TAU * 1.1 * t).sin();
    folder.write("a.wav", RATE, &[&tone(RATE, 30.0, hz, wow)]);
}

fn verdict(folder: &Folder, said: &str) -> Value {
    folder.measured(said)["speed"]["verdict"].clone()
}

fn asks(reading: &Value) -> bool {
    let asked = has(reading, "reference_ambiguous");
    let verdict = &reading["speed"]["verdict"];
    assert_eq!(asked, verdict == "which_tone", "{reading}");
    asked
}

#[test]
fn right_in_a_band_is_right_in_the_table_and_in_json() {
    let folder = Folder::new();
    tape(&folder, 3150.0 * 0.9972);
    let said = "--reference 3150 a.wav";
    let table = folder.run(&format!("read {said}"));
    let right = table.text.contains("%  RIGHT BY THIS TAPE\n");
    assert!(right, "{}", table.text);
    table.says(&["band ±0.5 % deck"]).never_says(&["SLOW"]);
    let reading = folder.measured(said);
    assert_eq!(reading["speed"]["verdict"], "right_by_this_tape");
    assert_eq!(reading["speed"]["tolerance_percent"], 0.5);
    let narrow = format!("--tolerance professional {said}");
    assert_eq!(verdict(&folder, &narrow), "out_by_this_tape");
    let table = folder.run(&format!("read {narrow}")).text;
    assert!(table.contains("%  SLOW, OUT BY THIS TAPE\n"), "{table}");
    let known = format!("--tape-error 0±0.1 {said}");
    assert_eq!(verdict(&folder, &known), "in_tolerance");
}

/// Heard, and what it would be by 3150 and by 3000 Hz.
#[test]
fn which_tone_is_asked_wherever_two_would_do_and_nobody_has_said() {
    let folder = Folder::new();
    for (heard, by_3150, by_3000) in [
        (2925.0, "7.1 % slow", "2.5 % slow"),
        (3055.5, "3.0 % slow", "1.9 % fast"),
        (3150.0, "0.0 % fast", "5.0 % fast"),
    ] {
        tape(&folder, heard + 0.01);
        for unsaid in ["a.wav", "--reference tone:auto a.wav"] {
            let reading = folder.measured(unsaid);
            assert!(asks(&reading), "{heard}: {reading}");
            // The figures stand, by the tone that is named beside them.
            assert!(reading["speed"]["deviation_percent"].is_number());
            let table = folder.run(&format!("read {unsaid}"));
            table.says(&["WHICH TONE?", by_3150, by_3000]);
            table.says(&["tone:3150", "tone:3000"]);
            table.never_says(&["SLOW", "FAST", "OUT ", "RIGHT BY"]);
        }
        for said in ["tone:3150", "3000"] {
            let reading = folder.measured(&format!("--reference {said} a.wav"));
            assert!(!asks(&reading), "{heard}, {said}: {reading}");
        }
    }
    tape(&folder, 1003.0);
    let reading = folder.measured("--reference tone:auto a.wav");
    assert!(!asks(&reading), "one tone alone: {reading}");
}

#[test]
fn a_card_that_says_what_the_tape_carries_has_answered() {
    let folder = Folder::new();
    tape(&folder, 2925.0);
    for (name, carries) in [("said.toml", "--carries 3000"), ("open.toml", "")] {
        let certify = "tape certify --error 0±0.1";
        folder.run(&format!("{certify} {name} {carries}")).ends(0);
        let reading = folder.measured(&format!("--tape ./{name} a.wav"));
        assert_eq!(asks(&reading), carries.is_empty(), "{reading}");
    }
}

#[test]
fn another_tone_is_named_with_the_reference_that_reads_it() {
    let folder = Folder::new();
    for (heard, reference) in [(1008.0, "1000"), (433.0, "440"), (314.0, "315")] {
        tape(&folder, heard);
        let answer = folder.run("read a.wav");
        let way_out = format!("--reference tone:{reference} measures by it");
        assert!(answer.ends(4).errors.contains(&way_out), "{answer:?}");
        assert!(!answer.text.contains("tuning"), "{answer:?}");
    }
}

#[test]
fn an_error_is_told_once() {
    let folder = Folder::new();
    folder.with("notes.wav", "no sound");
    tape(&folder, 1008.0);
    for (file, told) in [("notes.wav", "recording"), ("a.wav", "outside")] {
        let answer = folder.run(&format!("read {file}"));
        assert_eq!(answer.errors.lines().count(), 1, "{answer:?}");
        assert!(answer.errors.contains(told), "{answer:?}");
        assert!(answer.text.starts_with(file), "{answer:?}");
        assert!(!answer.text.contains(told), "{answer:?}");
    }
}

#[test]
fn a_recording_in_the_place_of_a_command_is_offered_to_be_read() {
    let folder = Folder::new();
    let offered = folder.run("side-a.wav");
    offered.ends(2).complains(&["tapewright read side-a.wav"]);
    folder.run("wtch").ends(2).never_says(&["tapewright read"]);
}
