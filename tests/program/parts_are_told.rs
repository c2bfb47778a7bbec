//! A card of a machine's parts names the part behind a line in the flutter, for
//! people and for scripts; cards are listed, shown, learnt and put right from the
//! shell. Recordings are invented: tones whose speed wavers at known rates.

use std::f64::consts::TAU;

use crate::support::program::{Folder, breaches, caution, has, number, tone};

const RATE: u32 = 48_000;

/// A card of the least form that every version reads.
const LEAST: &str = "parts_card = 1\nname = \"bench deck\"\n[[part]]\nname = \"capstan\"\n\
    turns_per_second = 6.0\ntolerance_percent = 1.5\nharmonics = [1, 2]\n";

/// `a.wav`: 2 % slow, its capstan (6 turns a second at right speed) wavers by
/// 0.08 %, and something at 3.3 by 0.04 %.
fn folder() -> Folder {
    let folder = Folder::new();
    let speed = |t: f64| {
        let capstan = 8e-4 * (TAU * 6.0 * 0.98 * t).sin();
        let other = 4e-4 * (TAU * 3.3 * t).sin();
        0.98 * (1.0 + capstan + other)
    };
    let sound = tone(RATE, 40.0, 3150.0, speed);
    folder.write("a.wav", RATE, &[&sound]);
    folder.with("deck.toml", LEAST);
    folder
}

#[test]
fn lines_and_parts_are_told() {
    let folder = folder();
    let reading = folder.measured("--reference 3150 --tape-error 0±0.2 --parts deck.toml a.wav");
    let lines = reading["lines"].as_array().unwrap();
    let [first, second, ..] = &lines[..] else {
        panic!("{reading}");
    };
    assert!((number(&first["hz"]) - 5.88).abs() < 0.01, "{first}");
    let peak = number(&first["peak_percent"]);
    assert!((peak - 0.08).abs() < 0.004, "{first}");
    assert_eq!(first["parts"][0]["name"], "capstan");
    assert_eq!(first["parts"][0]["harmonic"], 1);
    assert!(number(&first["parts"][0]["likelihood"]) > 0.8);
    assert_eq!(second["parts"].as_array().unwrap().len(), 0, "{second}");
    assert_eq!(reading["parts_card"], "bench deck");
    assert!(reading["channels"].is_null(), "mono");

    let words = folder.run("read --reference 3150 --parts deck.toml a.wav");
    words.says(&[
        "Lines 5.88",
        "likely capstan, by its rate alone",
        "3.300",
        "not on the parts card",
        "Cause likely the capstan or its flywheel",
        "Keep hair, sleeves",
    ]);
    // Without a card nothing is named, and the caution of nothing is left out.
    let words = folder.run("read --reference 3150 a.wav");
    words
        .never_says(&["likely capstan", "likely the capstan"])
        .says(&["name a parts card"]);
}

#[test]
fn where_no_line_can_be_told_there_is_none_and_a_reason() {
    let folder = Folder::new();
    let clean = tone(RATE, 30.0, 3150.0, |_| 1.0);
    folder.write("clean.wav", RATE, &[&clean, &clean]);
    let reading = folder.measured("--reference 3150 clean.wav");
    assert_eq!(reading["lines"].as_array().unwrap().len(), 0);
    assert!(reading["channels"].is_object());
    folder.write("short.wav", RATE, &[&clean[..48_000 * 7]]);
    let reading = folder.measured("--reference 3150 short.wav");
    assert!(reading["lines"].is_null());
    assert!(has(&reading, "record_too_short") || has(&reading, "lines_too_short"));
    assert_eq!(breaches(&reading), [""; 0]);
}

#[test]
fn the_card_of_the_machine_is_taken_by_itself() {
    let folder = folder();
    let data = folder.path("data").join("parts");
    std::fs::create_dir_all(&data).unwrap();
    std::fs::write(data.join("deck-9.toml"), LEAST).unwrap();
    let reading = folder.measured("--reference 3150 --data data --machine 'Deck 9' a.wav");
    assert_eq!(reading["lines"][0]["parts"][0]["name"], "capstan");
    let reading = folder.measured("--reference 3150 --data data --machine 'Deck 8' a.wav");
    assert!(reading.get("parts_card").is_none());
    // One that cannot be used is not passed over in silence.
    std::fs::write(data.join("deck-9.toml"), "parts_card = 1\n").unwrap();
    folder
        .run("read --reference 3150 --data data --machine 'Deck 9' a.wav")
        .ends(3)
        .complains(&["deck-9.toml", "line 1", "name"]);
}

#[test]
fn a_card_of_a_kind_of_machine_says_that_it_only_hints() {
    let folder = folder();
    let reading = folder.measured("--reference 3150 --parts 'portable cassette' a.wav");
    assert!(caution(&reading, "parts_card_generic").is_some());
    let words = folder.run("read --reference 3150 --parts 'no such card' a.wav");
    words.ends(3).complains(&["no such card", "microcassette"]);
}

#[test]
fn parts_are_learnt_from_a_line_and_put_right() {
    let folder = folder();
    let learn = |part: &str, more: &str| {
        folder.run(&format!(
            "parts learn --data data 'my deck' a.wav --reference 3150 --tape-error 0±0.1 \
             --part '{part}' {more}"
        ))
    };
    // 5.88 heard on a machine 2 % slow is 6 at right speed.
    learn("capstan", "--line 5.9").ends(0).says(&["6.000"]);
    learn("capstan", "--line 5.9")
        .ends(2)
        .complains(&["--replace"]);
    learn("capstan", "--line 5.9 --replace").ends(0);
    learn("idler", "--line 17")
        .ends(4)
        .complains(&["no line near 17", "5.88"]);
    learn("tacho", "--line 3.3 --times 3").ends(0);
    // A card for a kind of machine is no machine's.
    folder
        .run(
            "parts learn --data data 'portable cassette' a.wav --reference 3150 --part capstan \
             --line 5.9",
        )
        .ends(2)
        .complains(&["kind of machine"]);
    // A reel has no one rate.
    folder.with(
        "reels.toml",
        "parts_card = 1\nname = \"a\"\nspeed_cm_s = 4.76\n[[part]]\nname = \"take-up reel\"\n\
         reel = \"take_up\"\nhub_mm = 22\ntape_um = 18\nlength_m = 86\n",
    );
    folder
        .run(
            "parts learn reels.toml a.wav --reference 3150 --part 'take-up reel' --line 3.3 \
             --replace",
        )
        .ends(2)
        .complains(&["follows the pack"]);
    folder
        .run("parts --data data show 'my deck' --deviation -2")
        .says(&["capstan", "5.880", "tacho", "3 a turn"]);
    let reading = folder.measured("--reference 3150 --data data --parts 'my deck' a.wav");
    assert_eq!(reading["lines"][0]["parts"][0]["name"], "capstan");
    folder
        .run("parts --data data")
        .says(&["my deck: capstan, tacho"]);
}

#[test]
fn cards_come_with_the_program_and_none_is_asked_for_without_a_terminal() {
    let folder = Folder::new();
    folder
        .run("parts")
        .says(&["portable cassette", "open reel 38"]);
    folder
        .run("parts show 'open reel 19'")
        .says(&["capstan", "take-up reel", " to ", "hint"]);
    folder
        .run("parts make --data data mine")
        .ends(6)
        .complains(&["needs a terminal", "tapewright help lines"]);
    assert!(!folder.path("data").exists());
}
