//! A digital copy of what is on the tape tells the speed: files that an
//! invented machine played too fast or too slow, measured by the real program.

use crate::support::folder::{Folder, Run, number};
use crate::support::tunes::{Player, RATE_HZ, looped, tune};
use serde_json::Value;

/// Status, JSON object, standard error.
fn read(folder: &Folder, tape: &str) -> (Option<i32>, Value, String) {
    let Run {
        status,
        object,
        errors,
    } = folder.read(&["--reference", "recording:copy.wav", tape]);
    (status, object, errors)
}

fn has(object: &Value, code: &str) -> bool {
    let cautions = object["cautions"].as_array().unwrap();
    cautions.iter().any(|caution| caution["code"] == code)
}

/// Error of the deviation in percent, and its ± without clock and tape.
fn error(object: &Value, speed: f64) -> [f64; 2] {
    let parts = &object["speed"]["uncertainty_parts"];
    let own = number(&parts["noise_percent"]).hypot(number(&parts["wow_percent"]));
    let deviation = number(&object["speed"]["deviation_percent"]);
    [(deviation - 100.0 * (speed - 1.0)).abs(), own]
}

#[test]
fn place_and_speed_are_found_from_the_sound_alone() {
    let folder = Folder::new();
    let music = tune(11, 1, 100.0);
    folder.write("copy.wav", RATE_HZ, &[&music]);
    for (speed, start_s, seconds, within) in [
        (0.9, 61.0, 11.0, 0.1),
        (1.1, 20.5, 11.0, 0.1),
        (1.0123, 3.0, 60.0, 0.01),
        (0.955, 30.0, 60.0, 0.01),
    ] {
        let player = Player::good(speed, start_s, seconds).worn();
        folder.write("tape.wav", RATE_HZ, &[&player.play(&music)]);
        let (status, object, errors) = read(&folder, "tape.wav");
        assert_eq!(status, Some(0), "{speed}: {errors}");
        let [off, own] = error(&object, speed);
        assert!(off < within && off < own, "{speed}: {off} ±{own} %");
        assert_eq!(object["reference"]["kind"], "recording");
        assert_eq!(object["match"]["accepted"], true);
        let at_s = number(&object["match"]["at_copy_s"]);
        assert!((at_s - start_s).abs() < 0.02, "{at_s} for {start_s}");
        assert!(number(&object["match"]["residual_ms"]) < 2.8);
        assert!(object["speed"]["measured_hz"].is_null());
        assert!(has(&object, "reference_error_unknown"));
    }
}

#[test]
fn rates_may_differ_and_a_channel_may_be_missing() {
    let folder = Folder::new();
    let music = tune(12, 2, 60.0);
    // The same samples called 5 % faster are the same music, 5 % faster.
    folder.write("copy.wav", 16_800, &[&music, &music]);
    let tape = Player::good(1.0, 10.0, 15.0).play(&music);
    let nothing = vec![0.0; tape.len()];
    folder.write("tape.wav", RATE_HZ, &[&nothing, &tape]);
    let (status, object, errors) = read(&folder, "tape.wav");
    assert_eq!(status, Some(0), "{errors}");
    let [off, own] = error(&object, 1.0 / 1.05);
    assert!(off < 0.05 && off < own, "{off} ±{own} %");
    assert_eq!(object["channel"], "right");
}

#[test]
fn the_text_says_where_the_tape_is() {
    let folder = Folder::new();
    let music = tune(13, 3, 40.0);
    folder.write("copy.wav", RATE_HZ, &[&music]);
    folder.write(
        "tape.wav",
        RATE_HZ,
        &[&Player::good(0.98, 12.0, 12.0).play(&music)],
    );
    let arguments = [
        "read",
        "--budget",
        "--reference",
        "recording:copy.wav",
        "tape.wav",
    ];
    let text = String::from_utf8(folder.tapewright(&arguments).stdout).unwrap();
    for words in [
        "SLOW",
        "begins at 12.00 s of the copy",
        "noise of the places",
        "Drift and flutter cannot be had from music",
    ] {
        assert!(text.contains(words), "{words} in {text}");
    }
}

#[test]
fn other_music_is_refused_even_over_the_same_drums() {
    let folder = Folder::new();
    folder.write("copy.wav", RATE_HZ, &[&tune(14, 4, 60.0)]);
    for drums in [4, 5] {
        let other = tune(15, drums, 40.0);
        folder.write(
            "tape.wav",
            RATE_HZ,
            &[&Player::good(1.0, 5.0, 20.0).play(&other)],
        );
        let (status, object, errors) = read(&folder, "tape.wav");
        assert_eq!(status, Some(4), "{object}");
        assert!(errors.contains("The copy was not found"), "{errors}");
        assert_eq!(object["match"]["accepted"], false);
        assert!(object["match"]["at_copy_s"].is_null());
        assert!(object["speed"]["deviation_percent"].is_null());
    }
}

#[test]
fn music_that_repeats_gives_no_wrong_speed() {
    let folder = Folder::new();
    for (seed, bar_s) in [(21, 2.0), (22, 1.3), (23, 4.1)] {
        let music = looped(seed, bar_s, 60.0);
        folder.write("copy.wav", RATE_HZ, &[&music]);
        for speed in [0.97, 1.05] {
            let tape = Player::good(speed, 11.0, 20.0).play(&music);
            folder.write("tape.wav", RATE_HZ, &[&tape]);
            let (_, object, _) = read(&folder, "tape.wav");
            if object["signal"]["usable"] == true {
                let [off, own] = error(&object, speed);
                assert!(off < own.max(0.1), "{seed} {speed}: {off} ±{own} %");
            }
        }
    }
}

#[test]
fn what_cannot_be_measured_is_said_in_a_sentence() {
    let folder = Folder::new();
    let music = tune(16, 6, 30.0);
    folder.write("copy.wav", RATE_HZ, &[&music]);
    let second = RATE_HZ as usize;
    for (tape, code, words) in [
        (
            &vec![0.0; 12 * second][..],
            "reference_not_found",
            "no sound",
        ),
        (
            &music[..4 * second],
            "record_too_short",
            "record 10 s or more",
        ),
    ] {
        folder.write("tape.wav", RATE_HZ, &[tape]);
        let (status, object, errors) = read(&folder, "tape.wav");
        assert_eq!(status, Some(4));
        assert!(has(&object, code), "{object}");
        assert!(errors.contains(words), "{errors}");
    }
    folder.write("short.wav", RATE_HZ, &[&music[..3 * second]]);
    folder.write("silent.wav", RATE_HZ, &[&vec![0.0; 10 * second]]);
    std::fs::write(folder.path("notes.wav"), "Side A, spring\n").unwrap();
    for (copy, status, words) in [
        ("short.wav", 4, "the copy lasts 3.0 s, too short"),
        ("silent.wav", 4, "the copy is silent"),
        ("notes.wav", 3, "text file"),
        ("missing.flac", 3, "no such file"),
        ("", 2, "says no file"),
    ] {
        let reference = format!("recording:{copy}");
        let output = folder.tapewright(&["read", "--reference", &reference, "tape.wav"]);
        let errors = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(status), "{errors}");
        assert!(errors.contains(words) && errors.contains(copy), "{errors}");
    }
}

#[test]
fn two_different_things_on_two_channels_are_named() {
    let folder = Folder::new();
    let music = tune(11, 1, 60.0);
    folder.write("copy.wav", RATE_HZ, &[&music]);
    let tape = Player::good(1.02, 5.0, 30.0).play(&music);
    let other = Player::good(1.0, 5.0, 30.0).play(&tune(12, 2, 60.0));
    folder.write("both.wav", RATE_HZ, &[&tape, &tape]);
    folder.write("two.wav", RATE_HZ, &[&tape, &other]);
    let (_, both, _) = read(&folder, "both.wav");
    assert!(!has(&both, "channels_disagree"), "{both}");
    let (_, two, _) = read(&folder, "two.wav");
    assert!(has(&two, "channels_disagree"), "{two}");
}

#[test]
fn a_tape_is_as_fast_as_another_program_makes_it() {
    let folder = Folder::new();
    folder.write("copy.wav", RATE_HZ, &[&tune(11, 1, 75.0)]);
    for factor in [0.931, 1.0007, 1.0823] {
        if !folder.sped_up_by_sox("copy.wav", "tape.wav", factor, RATE_HZ) {
            return;
        }
        let (_, object, errors) = read(&folder, "tape.wav");
        assert!(object["speed"].is_object(), "{errors}");
        let [off, _] = error(&object, factor);
        assert!(off < 0.01, "{factor}: {off}");
    }
}

#[test]
fn a_speed_that_was_moved_is_named() {
    let folder = Folder::new();
    let music = tune(11, 1, 75.0);
    folder.write("copy.wav", RATE_HZ, &[&music]);
    let slow = Player::good(0.97, 3.0, 30.0).play(&music);
    let right = Player::good(1.0, 3.0 + 30.0 * 0.97, 30.0).play(&music);
    folder.write("moved.wav", RATE_HZ, &[&[slow, right].concat()]);
    let steady = Player::good(0.97, 3.0, 60.0).play(&music);
    folder.write("steady.wav", RATE_HZ, &[&steady]);
    let (_, moved, _) = read(&folder, "moved.wav");
    assert!(has(&moved, "speed_moved"), "{moved}");
    let (_, steady, _) = read(&folder, "steady.wav");
    assert!(!has(&steady, "speed_moved"), "{steady}");
}
