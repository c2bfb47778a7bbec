//! What happened while a recording was made is told, and does not spoil its
//! figures: the motor that runs up and down, a trimmer that is turned, a worn
//! belt, a dead channel, hum.

use crate::support::program::{Answer, Folder, caution, deviation, has, number as value};
use crate::support::sound;
use crate::support::take::{DECK, PORTABLE, RATE, Stop, Take, coasts, is_braked, slips};
use serde_json::Value;
use tapewright::readings::{Engine, Problem, Reading};

fn folder_with(samples: &[f32]) -> Folder {
    let folder = Folder::new();
    let channel =
        |nth: usize| -> Vec<f32> { samples.iter().skip(nth).step_by(2).copied().collect() };
    folder.write("take.wav", RATE, &[&channel(0), &channel(1)]);
    folder
}

fn text(take: &Take<'_>, options: &str) -> Answer {
    folder_with(&take.samples()).run(&format!("read take.wav {options}"))
}

fn json(take: &Take<'_>) -> Value {
    folder_with(&take.samples()).read("take.wav").object
}

fn both(take: &Take<'_>) -> (Value, Answer) {
    let folder = folder_with(&take.samples());
    let text = folder.run("read take.wav");
    (folder.read("take.wav").object, text)
}

#[track_caller]
fn number(object: &Value, group: &str, key: &str) -> f64 {
    value(&object[group][key])
}

/// −1 % throughout but for the ends.
#[track_caller]
fn assert_undisturbed(object: &Value, usual: &Value, what: &str) {
    let known = number(object, "speed", "uncertainty_percent");
    let usually = number(usual, "speed", "uncertainty_percent");
    let off = deviation(object) + 1.0;
    assert!(off.abs() <= known, "{what}: {off} ±{known}");
    let usual = known <= 1.6 * usually;
    assert!(usual, "{what}: ±{known}, usually {usually}");
    for code in ["speed_moved", "drifting", "dropouts"] {
        assert!(!has(object, code), "{what}: {code}: {object}");
    }
    let drift = number(object, "drift", "percent_per_minute");
    let around = number(object, "drift", "uncertainty_percent_per_minute");
    assert!(drift.abs() <= 2.0 * around, "{what}: {drift} ±{around}");
}

#[test]
fn a_stop_at_the_end_is_left_out() {
    for (machine, lines) in [("portable", &PORTABLE[..]), ("deck", &DECK[..])] {
        let of = |speed: &dyn Fn(f64) -> f64| {
            json(&Take {
                lines,
                ..Take::of(20.0, speed)
            })
        };
        let usual = of(&|_| 0.99);
        assert_eq!(usual["measured"], Value::Null, "{usual}");
        let stops: [(Stop, &[f64]); 3] = [
            (coasts, &[0.4, 2.0]),
            (is_braked, &[0.8, 1.5]),
            (slips, &[0.6, 1.1, 3.0]),
        ];
        for (stop, lengths) in stops {
            for &length in lengths {
                let got = of(&|t| 0.99 * stop(t - 20.0 + length, length));
                let what = format!("{machine}, {length} s");
                assert_undisturbed(&got, &usual, &what);
                let left_out = number(&got, "measured", "run_down_s");
                let most = 2.0 * length + 0.3;
                assert!(left_out > 0.0 && left_out < most, "{what}: {left_out}");
                let to_s = number(&got, "measured", "to_s");
                assert!(to_s <= 20.0 - length + 0.05, "{got}");
                assert!(number(&got, "measured", "run_up_s") <= 0.0, "{got}");
            }
        }
    }
}

#[test]
fn both_ends_are_left_out_and_it_is_said() {
    let speed = |t: f64| 0.99 * (1.0 - coasts(t, 2.0)) * coasts(t - 24.0, 2.0);
    let take = Take {
        lines: &PORTABLE,
        ..Take::of(26.0, &speed)
    };
    let usual = json(&Take {
        lines: &PORTABLE,
        ..Take::of(20.0, &|_| 0.99)
    });
    let (got, said) = both(&take);
    assert_undisturbed(&got, &usual, "both ends");
    assert!(number(&got, "measured", "run_up_s") > 0.5, "{got}");
    assert!((value(&got["duration_s"]) - 26.0).abs() < 0.01);
    said.says(&["run-up of", "at the end left out"]);
    said.never_says(&["MOVED"]);
}

#[test]
fn a_turn_or_a_drift_near_the_end_is_not_taken_for_a_stop() {
    let down = |t: f64| 1.0 - 0.03 * ((t - 18.0) / 2.0).clamp(0.0, 1.0);
    let rests = |t: f64| 1.0 - 0.03 * ((t - 18.7) / 0.3).clamp(0.0, 1.0);
    for speed in [&down as &dyn Fn(f64) -> f64, &rests] {
        let got = json(&Take::of(20.0, speed));
        assert!(has(&got, "speed_moved"), "{got}");
        let whole = got["measured"].is_null() || got["measured"]["run_down_s"] == 0.0;
        assert!(whole, "{got}");
    }
    // Tired cells, a slow hour, a reel that drags: each is one line.
    for per_minute in [0.005, 0.01, 0.02, -0.028] {
        let drifts = json(&Take::of(40.0, &|t| 1.0 - per_minute * t / 60.0));
        assert!(has(&drifts, "drifting"), "{drifts}");
        assert!(!has(&drifts, "speed_moved"), "{drifts}");
        assert_eq!(drifts["measured"], Value::Null, "{drifts}");
        let told = number(&drifts, "drift", "percent_per_minute");
        assert!((told + 100.0 * per_minute).abs() < 0.1, "{drifts}");
    }
}

#[test]
fn every_steady_stretch_is_told_with_its_figures() {
    type Case<'a> = (&'a dyn Fn(f64) -> f64, f64, &'a [f64]);
    let turned = |t: f64| 0.97 + 0.031 * ((t - 13.0) / 4.0).clamp(0.0, 1.0);
    let twice = |t: f64| {
        0.97 + 0.02 * ((t - 12.0) / 2.0).clamp(0.0, 1.0)
            + 0.012 * ((t - 26.0) / 3.0).clamp(0.0, 1.0)
    };
    let step = |t: f64| if t < 14.0 { 0.985 } else { 1.0 };
    let cases: [Case; 3] = [
        (&turned, 30.0, &[-3.0, 0.1]),
        (&twice, 42.0, &[-3.0, -1.0, 0.2]),
        (&step, 28.0, &[-1.5, 0.0]),
    ];
    for (speed, seconds, right) in cases {
        for lines in [&PORTABLE[..], &DECK[..]] {
            let take = Take {
                lines,
                ..Take::of(seconds, speed)
            };
            let got = json(&take);
            let stretches = got["stretches"].as_array().unwrap();
            assert_eq!(stretches.len(), right.len(), "{got}");
            for (stretch, right) in stretches.iter().zip(right) {
                let known = value(&stretch["uncertainty_percent"]);
                let off = value(&stretch["deviation_percent"]) - right;
                assert!(off.abs() <= known && known < 0.03, "{right}: {stretch}");
                value(&stretch["weighted_two_sigma_percent"]);
            }
            assert!(has(&got, "speed_moved"), "{got}");
            let last = stretches.last().unwrap();
            assert_eq!(got["speed"]["deviation_percent"], last["deviation_percent"]);
        }
    }
    text(&Take::of(30.0, &turned), "").says(&["MOVED", "-3.00", "+0.10"]);
}

#[test]
fn heavy_wow_is_named_with_a_figure() {
    for rms in [0.7, 1.0] {
        let lines = [(0.6, rms * 2f64.sqrt())];
        let take = Take {
            lines: &lines,
            ..Take::of(40.0, &|_| 0.99)
        };
        let (got, said) = both(&take);
        assert!(!has(&got, "speed_moved"), "{got}");
        let known = number(&got, "speed", "uncertainty_percent");
        assert!((deviation(&got) + 1.0).abs() <= known, "{got}");
        // At the edge of its band; see assets/manual/figures.md.
        let wow = number(&got, "flutter", "wow_rms_percent");
        assert!((0.7 * rms..=1.05 * rms).contains(&wow), "{rms}: {wow}");
        let named = format!("Heavy wow: about {rms:.1} % at 0.6 Hz");
        said.says(&[&named]);
    }
}

#[test]
fn what_each_channel_carries_is_told() {
    let of = |hz: [f64; 2], peak: [f64; 2]| {
        let speed = |_| 0.99;
        let take = Take {
            hz,
            peak,
            ..Take::of(12.0, &speed)
        };
        both(&take)
    };
    let (fair, _) = of([3150.0; 2], [0.25, 0.22]);
    for code in ["one_channel", "levels_differ", "channels_disagree"] {
        assert!(!has(&fair, code), "{fair}");
    }
    let (dead, said) = of([3150.0; 2], [0.25, 0.0]);
    assert!(has(&dead, "one_channel"), "{dead}");
    said.says(&["on the left channel only"]);
    for other in [3000.0, 1000.0] {
        let (two, said) = of([3150.0, other], [0.25; 2]);
        assert!(has(&two, "channels_disagree"), "{two}");
        said.says(&["The right channel carries something else"]);
        let said = said.said();
        let (_, heard) = said.split_once("something else: about ").unwrap();
        let heard: f64 = heard.split(' ').next().unwrap().parse().unwrap();
        assert!((heard - 0.99 * other).abs() < 3.0, "{said}");
        assert!((deviation(&two) + 1.0).abs() < 0.02, "{two}");
    }
    let (louder, said) = of([3150.0; 2], [0.125, 0.25]);
    assert!(has(&louder, "levels_differ"), "{louder}");
    said.says(&["left channel is 6.0 dB quieter"]);
}

/// What the screen is given at the end of a take.
fn watched(take: &Take<'_>) -> Reading {
    let mut engine = Engine::new(sound::settings(RATE, 2)).unwrap();
    engine.push(&take.samples());
    engine.reading()
}

#[test]
fn another_tone_on_the_other_channel_is_named_live() {
    for other in [3000.0, 1000.0] {
        let reading = watched(&Take {
            hz: [3150.0, other],
            ..Take::of(8.0, &|_| 1.0)
        });
        let named = reading.signal.problems.iter().find_map(|problem| {
            let Problem::OtherSound { heard, .. } = problem else {
                return None;
            };
            Some(heard.0)
        });
        let named = named.unwrap_or_else(|| panic!("{:?}", reading.signal.problems));
        assert!((named - other).abs() < 3.0, "{named}");
    }
}

#[test]
fn strong_hum_is_named_and_the_tone_measured_beside_it() {
    for below_db in [14.0, 10.0, 8.0, 6.0] {
        // Its third harmonic at a third of it adds 0.5 dB.
        let hum = 0.25 * 10f64.powf(-(below_db + 0.46) / 20.0);
        let take = Take {
            hum,
            ..Take::of(12.0, &|_| 0.99)
        };
        let (got, said) = both(&take);
        assert_eq!(got["signal"]["usable"], Value::Bool(true), "{got}");
        let known = number(&got, "speed", "uncertainty_percent");
        let off = deviation(&got) + 1.0;
        assert!(off.abs() <= known && known < 0.03, "{got}");
        assert!(has(&got, "hum") && !has(&got, "low_snr"), "{got}");
        let level = format!("Hum of 50 Hz mains, {below_db:.0} dB below the tone");
        said.says(&[&level, "earth loop"]);
        let reading = watched(&take);
        let hum = |problem: &Problem| matches!(problem, Problem::Hum { .. });
        assert!(reading.speed.is_some(), "{reading:?}");
        assert!(reading.signal.problems.iter().any(hum), "{reading:?}");
    }
}

#[test]
fn a_falling_speed_points_at_the_supply_first() {
    let falls = text(&Take::of(70.0, &|t| 1.0 - 0.005 * t / 60.0), "");
    falls.says(&["flat cells or a sagging supply come first"]);
    let rises = text(&Take::of(70.0, &|t| 1.0 + 0.005 * t / 60.0), "");
    rises.ends(0).never_says(&["flat cells"]);
}

#[test]
fn jargon_stands_behind_the_budget() {
    let take = Take::of(12.0, &|_| 0.99);
    text(&take, "").ends(0).never_says(&["Allan"]);
    text(&take, "--budget").says(&["Allan deviation"]);
}

#[test]
fn clipping_is_told_as_a_part_of_the_whole() {
    let take = Take {
        peak: [4.0; 2],
        ..Take::of(8.0, &|_| 0.99)
    };
    // 1 − 2/π · arcsin(1/4) of a sine clipped at a quarter of its peak.
    let said = text(&take, "");
    said.says(&["84 % of it stood at full scale", "84 % of it clipped"]);
}

/// One now and then is no reason to open a machine, here as on the screen.
#[test]
fn only_many_dropouts_ask_for_clean_heads() {
    let whole = Take::of(24.0, &|_| 0.99).samples();
    for (times, begins, clean) in [
        (&[9.0][..], "One dropout", false),
        (&[3.0, 7.0, 11.0, 15.5, 19.0], "5 dropouts", false),
        (&[9.0, 10.0, 12.0, 14.0], "4 dropouts", true),
    ] {
        let mut samples = whole.clone();
        for at in times {
            let from = (at * f64::from(RATE)) as usize * 2;
            samples[from..from + 2 * 1440].fill(0.0);
        }
        let object = folder_with(&samples).read("take.wav").object;
        let said = caution(&object, "dropouts").unwrap();
        assert!(said.starts_with(begins), "{said}");
        assert_eq!(said.contains("clean the heads"), clean, "{said}");
        assert_eq!(said.contains("clean"), clean, "{said}");
    }
}

#[test]
fn a_locale_without_our_characters_gets_plain_ones() {
    let folder = folder_with(&Take::of(8.0, &|_| 0.99).samples());
    for locale in ["C", "POSIX", "de_DE.ISO-8859-1"] {
        let mut command = folder.command("read take.wav");
        let answer = Answer::of(command.env("LC_ALL", locale));
        assert!(answer.text.is_ascii(), "{locale}");
        answer.says(&["+-"]);
    }
    folder.run("read take.wav").says(&["±"]);
}
