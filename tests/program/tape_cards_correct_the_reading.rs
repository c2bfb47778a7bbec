//! A reference tape has a card: its own error is taken out of every reading,
//! its ± goes in, and a tape that was recorded on the machine under test is
//! never called a speed error. Tapes are invented: tones a little off 3150 Hz.

use crate::support::program::{Answer, Folder, deviation, has, number, tone};
use serde_json::Value;

const RATE: u32 = 48_000;

/// A folder with a tone of 20 s in `tape.wav`, a percentage off 3150 Hz.
fn tape(percent: f64) -> Folder {
    let folder = Folder::new();
    let sound = tone(RATE, 20.0, 3150.0, |_| 1.0 + percent / 100.0);
    folder.write("tape.wav", RATE, &[&sound, &sound]);
    folder
}

const CERTIFY: &str = "tape certify 'Tone Tape 3' --error -0.2±0.1 --carries tone:3150";

fn certified(percent: f64, more: &str) -> Folder {
    let folder = tape(percent);
    folder.run(&format!("{CERTIFY} {more}")).ends(0);
    folder
}

fn with_reference(reading: &Value) -> &Value {
    &reading["speed"]["uncertainty_with_reference_percent"]
}

#[test]
fn a_certified_tapes_error_is_taken_out_and_its_uncertainty_put_in() {
    let folder = certified(0.5, "");
    // 1.005 ÷ 0.998 − 1 = 0.7014 %.
    let reading = folder.measured("--tape 'tone tape 3' tape.wav");
    assert!((deviation(&reading) - 0.7014).abs() < 0.001);
    let own = number(&reading["speed"]["uncertainty_percent"]);
    let whole = number(with_reference(&reading));
    assert!((whole - own.hypot(0.1)).abs() < 0.002, "{own} {whole}");
    assert_eq!(reading["reference"]["tape"], "Tone Tape 3");
    assert_eq!(reading["reference"]["error_percent"], -0.2);
    assert!(!has(&reading, "reference_error_unknown"));
    let words = folder.run("read --tape 'tone tape 3' tape.wav");
    words.says(&["Tone Tape 3: own error"]);
}

#[test]
fn a_tape_measured_on_a_trusted_machine_takes_that_machines_error_over() {
    // A tape that plays 0.3 % high, on a machine 0.2 % fast.
    let folder = tape(100.0 * (1.003 * 1.002 - 1.0));
    let asked = "tape measure home tape.wav --played-on 'deck 1' \
                 --machine-error=0.2±0.05";
    // A tone of 3000 Hz would make another card.
    folder.run(asked).ends(4).complains(&["tone:3000"]);
    let made = folder.run(&format!("{asked} --reference 3150"));
    made.ends(0).says(&["measured on deck 1"]);
    // On the same machine it reads that machine's error.
    let reading = folder.measured("--tape home tape.wav");
    assert!((deviation(&reading) - 0.2).abs() < 0.001);
    assert!(number(with_reference(&reading)) >= 0.05);
    folder.run("tape").says(&["home", "+0.3 %"]);
}

#[test]
fn a_tape_recorded_on_the_machine_is_no_judge_of_it() {
    let folder = certified(0.0, "--recorded-on 'Portable 12'");
    let there = "--tape 'tone tape 3' --machine 'portable 12' tape.wav";
    let reading = folder.measured(there);
    assert!(has(&reading, "reference_recorded_here"));
    assert!(with_reference(&reading).is_null());
    folder
        .run(&format!("read {there}"))
        .says(&["RECORDED ON THIS MACHINE"]);
    let elsewhere = folder.measured("--tape 'tone tape 3' --machine 'deck 4' tape.wav");
    assert!(!has(&elsewhere, "reference_recorded_here"));
    assert!(!with_reference(&elsewhere).is_null());
}

#[test]
fn what_the_tape_carries_need_not_be_said_twice() {
    let folder = Folder::new();
    folder.write("tape.wav", RATE, &[&tone(RATE, 20.0, 1000.0, |_| 1.0)]);
    let certify = "tape certify kilo --error 0±0.1 --carries tone:1000";
    folder.run(certify).ends(0);
    let reading = folder.measured("--tape kilo tape.wav");
    assert_eq!(reading["reference"]["hz"], 1000.0);
    // What is said wins.
    folder.read("--tape kilo -r tone:3150 tape.wav").ends(4);
}

#[test]
fn a_card_is_never_overwritten_unasked_and_what_is_wrong_is_said() {
    let folder = certified(0.0, "");
    folder.run(CERTIFY).ends(3).complains(&["--replace"]);
    folder.run(&format!("{CERTIFY} --replace")).ends(0);
    let missing = folder.run("read --tape 'no such' tape.wav");
    missing.ends(3).complains(&["there are: Tone Tape 3"]);
    folder.with("bad.toml", "tape_card = 1\nname = \"a\"\nwrong");
    let bad = folder.run("read --tape bad.toml tape.wav");
    bad.ends(3).complains(&["line 3"]);
    let both = "read --tape 'tone tape 3' --tape-error 1 tape.wav";
    folder.run(both).ends(2);
}

#[test]
fn a_cards_name_is_a_plain_one() {
    let folder = Folder::new();
    std::fs::create_dir(folder.path("bench")).unwrap();
    for name in ["a/b", "../evil", "..", "x/"] {
        let certify = format!("tape certify {name} --error=±0.1");
        let mut command = folder.command(&certify);
        let made = Answer::of(command.current_dir(folder.path("bench")));
        made.ends(2).complains(&["plain name"]);
    }
    assert_eq!(folder.names(), ["bench"]);
    assert_eq!(std::fs::read_dir(folder.path("bench")).unwrap().count(), 0);
}

#[test]
fn measuring_a_tape_offers_nothing_that_it_refuses() {
    let help = Folder::new().run("tape measure --help");
    help.never_says(&["--tape ", "--tape-error"]);
    help.says(&["--machine-error"]);
}

#[test]
fn a_speed_that_moved_makes_no_card() {
    let folder = Folder::new();
    let moved = tone(RATE, 39.8, 3150.0, |t| if t < 19.9 { 1.0 } else { 1.02 });
    folder.write("tape.wav", RATE, &[&moved]);
    let asked = "tape measure moved tape.wav --reference=3150 \
                 --machine-error=0±0.05";
    folder.run(asked).ends(4).complains(&["speed was moved"]);
    folder.run("tape").says(&["No tape cards"]);
}

#[test]
fn where_a_tape_was_recorded_is_asked_until_somebody_says_it() {
    let folder = tape(0.5);
    let question = &["Where was it recorded?"];
    let asked = |options: &str| folder.run(&format!("read tape.wav {options}"));
    asked("").says(question).says(&["--recorded-on"]);
    asked("--tape-error home-made").says(question);
    let elsewhere = asked("--recorded-on 'deck 4' --machine 'deck 9' --reference 3150");
    elsewhere.never_says(question);
    elsewhere.says(&["recorded on \"deck 4\"", "FAST"]);
    // However the name is written.
    let here = asked("--recorded-on Deck-9 --machine 'deck 9'");
    here.never_says(question)
        .says(&["RECORDED ON THIS MACHINE"]);
    folder
        .run(&format!("{CERTIFY} --recorded-on deck9"))
        .ends(0);
    asked("--tape 'tone tape 3'").never_says(question);
    asked("--tape 'tone tape 3' --machine 'Deck 9'").says(&["RECORDED ON THIS MACHINE"]);
}
