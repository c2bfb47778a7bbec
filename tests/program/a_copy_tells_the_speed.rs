//! A digital copy of what is on the tape tells the speed: files that an
//! invented machine played too fast or too slow, measured by the real program.

use crate::support::program::{Answer, Folder, deviation, has, number};
use crate::support::tunes::{Player, RATE_HZ, looped, tune};
use serde_json::Value;

fn with_copy(copy: &[f32]) -> Folder {
    let folder = Folder::new();
    folder.write("copy.wav", RATE_HZ, &[copy]);
    folder
}

fn read(folder: &Folder, channels: &[&[f32]]) -> Answer {
    folder.write("tape.wav", RATE_HZ, channels);
    folder.read("--reference recording:copy.wav tape.wav")
}

/// Error of the deviation in percent, and its ± without clock and tape.
fn error(object: &Value, speed: f64) -> [f64; 2] {
    let parts = &object["speed"]["uncertainty_parts"];
    let own = number(&parts["noise_percent"]).hypot(number(&parts["wow_percent"]));
    [(deviation(object) - 100.0 * (speed - 1.0)).abs(), own]
}

#[test]
fn place_and_speed_are_found_from_the_sound_alone() {
    let music = tune(11, 1, 100.0);
    let folder = with_copy(&music);
    for (speed, start_s, seconds, within) in [
        (0.9, 61.0, 11.0, 0.1),
        (1.1, 20.5, 11.0, 0.1),
        (1.0123, 3.0, 60.0, 0.01),
        (0.955, 30.0, 60.0, 0.01),
    ] {
        let player = Player::good(speed, start_s, seconds).worn();
        let got = read(&folder, &[&player.play(&music)]);
        let object = &got.ends(0).object;
        let [off, own] = error(object, speed);
        assert!(off < within && off < own, "{speed}: {off} ±{own} %");
        assert_eq!(object["reference"]["kind"], "recording");
        assert_eq!(object["match"]["accepted"], true);
        let at_s = number(&object["match"]["at_copy_s"]);
        assert!((at_s - start_s).abs() < 0.02, "{at_s} for {start_s}");
        assert!(number(&object["match"]["residual_ms"]) < 2.8);
        assert!(object["speed"]["measured_hz"].is_null());
        assert!(has(object, "reference_error_unknown"));
    }
}

#[test]
fn rates_may_differ_and_a_channel_may_be_missing() {
    let folder = Folder::new();
    let music = tune(12, 2, 60.0);
    // The same samples called 5 % faster are the same music, 5 % faster.
    folder.write("copy.wav", 16_800, &[&music, &music]);
    let tape = Player::good(1.0, 10.0, 15.0).play(&music);
    let got = read(&folder, &[&vec![0.0; tape.len()], &tape]);
    let [off, own] = error(&got.ends(0).object, 1.0 / 1.05);
    assert!(off < 0.05 && off < own, "{off} ±{own} %");
    assert_eq!(got.object["channel"], "right");
}

#[test]
fn the_text_says_where_the_tape_is() {
    let music = tune(13, 3, 40.0);
    let folder = with_copy(&music);
    let tape = Player::good(0.98, 12.0, 12.0).play(&music);
    folder.write("tape.wav", RATE_HZ, &[&tape]);
    let text = folder.run("read --budget --reference recording:copy.wav tape.wav");
    text.says(&["SLOW", "begins at 12.00 s of the copy"]);
    text.says(&[
        "noise of the places",
        "Drift and flutter cannot be had from music",
    ]);
}

#[test]
fn other_music_is_refused_even_over_the_same_drums() {
    let folder = with_copy(&tune(14, 4, 60.0));
    for drums in [4, 5] {
        let other = Player::good(1.0, 5.0, 20.0).play(&tune(15, drums, 40.0));
        let got = read(&folder, &[&other]);
        got.ends(4).says(&["The copy was not found"]);
        assert_eq!(got.object["match"]["accepted"], false);
        assert!(got.object["match"]["at_copy_s"].is_null());
        assert!(got.object["speed"]["deviation_percent"].is_null());
    }
}

#[test]
fn music_that_repeats_gives_no_wrong_speed() {
    for (seed, bar_s) in [(21, 2.0), (22, 1.3), (23, 4.1)] {
        let music = looped(seed, bar_s, 60.0);
        let folder = with_copy(&music);
        for speed in [0.97, 1.05] {
            let tape = Player::good(speed, 11.0, 20.0).play(&music);
            let object = read(&folder, &[&tape]).object;
            if object["signal"]["usable"] == true {
                let [off, own] = error(&object, speed);
                assert!(off < own.max(0.1), "{seed} {speed}: {off} ±{own} %");
            }
        }
    }
}

#[test]
fn what_cannot_be_measured_is_said_in_a_sentence() {
    let music = tune(16, 6, 30.0);
    let folder = with_copy(&music);
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
        let got = read(&folder, &[tape]);
        assert!(has(&got.ends(4).object, code), "{}", got.object);
        assert!(got.errors.contains(words), "{}", got.errors);
    }
}

#[test]
fn two_different_things_on_two_channels_are_named() {
    let music = tune(11, 1, 60.0);
    let folder = with_copy(&music);
    let tape = Player::good(1.02, 5.0, 30.0).play(&music);
    let other = Player::good(1.0, 5.0, 30.0).play(&tune(12, 2, 60.0));
    for (right, disagree) in [(&tape, false), (&other, true)] {
        let object = read(&folder, &[&tape, right]).object;
        assert_eq!(has(&object, "channels_disagree"), disagree, "{object}");
    }
}

#[test]
fn a_tape_is_as_fast_as_another_program_makes_it() {
    let folder = with_copy(&tune(11, 1, 75.0));
    for factor in [0.931, 1.0007, 1.0823] {
        if !folder.sped_up_by_sox("copy.wav", "tape.wav", factor, RATE_HZ) {
            return;
        }
        let got = folder.read("--reference recording:copy.wav tape.wav");
        let [off, _] = error(&got.object, factor);
        assert!(off < 0.01, "{factor}: {off}");
    }
}

#[test]
fn a_speed_that_was_moved_is_named() {
    let music = tune(11, 1, 75.0);
    let folder = with_copy(&music);
    let slow = Player::good(0.97, 3.0, 30.0).play(&music);
    let right = Player::good(1.0, 3.0 + 30.0 * 0.97, 30.0).play(&music);
    let steady = Player::good(0.97, 3.0, 60.0).play(&music);
    for (tape, moved) in [([slow, right].concat(), true), (steady, false)] {
        let object = read(&folder, &[&tape]).object;
        assert_eq!(has(&object, "speed_moved"), moved, "{object}");
    }
}
