//! What happened while a recording was made is told, and does not spoil its
//! figures: the motor that runs up and down, a trimmer that is turned, a worn
//! belt, a dead channel, hum.

use std::fs;
use std::process::{Command, Output};

use crate::support::take::{DECK, PORTABLE, RATE, Stop, Take, coasts, is_braked, slips};
use crate::support::wave_bytes::plain;
use serde_json::Value;
use tapewright::readings::{ChannelChoice, Conditions, Engine, Problem, Reading, Settings};
use tapewright::units::Percent;

fn run(take: &Take<'_>, options: &[&str], variables: &[(&str, &str)]) -> Output {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("take.wav"), plain(RATE, &take.pcm16())).unwrap();
    Command::new(env!("CARGO_BIN_EXE_tapewright"))
        .args([&["read", "take.wav"], options].concat())
        .envs(variables.iter().copied())
        .current_dir(folder.path())
        .output()
        .unwrap()
}

fn text(take: &Take<'_>, options: &[&str]) -> String {
    let output = run(take, options, &[("LC_ALL", "C.UTF-8")]);
    let text = String::from_utf8(output.stdout).unwrap();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn json(take: &Take<'_>) -> Value {
    let output = run(take, &["--json"], &[]);
    serde_json::from_slice(&output.stdout).unwrap()
}

fn has(object: &Value, code: &str) -> bool {
    let cautions = object["cautions"].as_array().unwrap();
    cautions.iter().any(|caution| caution["code"] == code)
}

fn number(object: &Value, group: &str, key: &str) -> f64 {
    object[group][key]
        .as_f64()
        .unwrap_or_else(|| panic!("no {group}.{key}: {object}"))
}

fn deviation(object: &Value) -> f64 {
    number(object, "speed", "deviation_percent")
}

/// −1 % throughout but for the ends.
#[track_caller]
fn assert_undisturbed(object: &Value, usual: &Value, what: &str) {
    let known = number(object, "speed", "uncertainty_percent");
    let usually = number(usual, "speed", "uncertainty_percent");
    assert!(
        (deviation(object) + 1.0).abs() <= known,
        "{what}: {} ±{known}",
        deviation(object)
    );
    assert!(
        known <= 1.6 * usually,
        "{what}: ±{known}, usually {usually}"
    );
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
                assert!(
                    left_out > 0.0 && left_out < 2.0 * length + 0.3,
                    "{what}: {left_out}"
                );
                assert!(
                    number(&got, "measured", "to_s") <= 20.0 - length + 0.05,
                    "{got}"
                );
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
    let got = json(&take);
    assert_undisturbed(&got, &usual, "both ends");
    assert!(number(&got, "measured", "run_up_s") > 0.5, "{got}");
    assert!((got["duration_s"].as_f64().unwrap() - 26.0).abs() < 0.01);
    let said = text(&take, &[]);
    assert!(said.contains("run-up of"), "{said}");
    assert!(said.contains("at the end left out"), "{said}");
    assert!(!said.contains("MOVED"), "{said}");
}

#[test]
fn a_turn_or_a_drift_near_the_end_is_not_taken_for_a_stop() {
    let down = |t: f64| 1.0 - 0.03 * ((t - 18.0) / 2.0).clamp(0.0, 1.0);
    let rests = |t: f64| 1.0 - 0.03 * ((t - 18.7) / 0.3).clamp(0.0, 1.0);
    for speed in [&down as &dyn Fn(f64) -> f64, &rests] {
        let got = json(&Take::of(20.0, speed));
        assert!(has(&got, "speed_moved"), "{got}");
        assert!(
            got["measured"].is_null() || number(&got, "measured", "run_down_s") == 0.0,
            "{got}"
        );
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
                let told = stretch["deviation_percent"].as_f64().unwrap();
                let known = stretch["uncertainty_percent"].as_f64().unwrap();
                assert!((told - right).abs() <= known, "{right}: {stretch}");
                assert!(known < 0.03, "{stretch}");
                assert!(
                    stretch["weighted_two_sigma_percent"].is_number(),
                    "{stretch}"
                );
            }
            assert!(has(&got, "speed_moved"), "{got}");
            let last = stretches.last().unwrap();
            assert_eq!(got["speed"]["deviation_percent"], last["deviation_percent"]);
        }
    }
    let said = text(&Take::of(30.0, &turned), &[]);
    assert!(said.contains("MOVED"), "{said}");
    assert!(said.contains("-3.00") && said.contains("+0.10"), "{said}");
}

#[test]
fn heavy_wow_is_named_with_a_figure() {
    for rms in [0.7, 1.0] {
        let lines = [(0.6, rms * 2f64.sqrt())];
        let take = Take {
            lines: &lines,
            ..Take::of(40.0, &|_| 0.99)
        };
        let got = json(&take);
        assert!(!has(&got, "speed_moved"), "{got}");
        let known = number(&got, "speed", "uncertainty_percent");
        assert!((deviation(&got) + 1.0).abs() <= known, "{got}");
        // At the edge of its band; see assets/manual/figures.md.
        let wow = number(&got, "flutter", "wow_rms_percent");
        assert!((0.7 * rms..=1.05 * rms).contains(&wow), "{rms}: {wow}");
        let said = text(&take, &[]);
        let named = format!("Heavy wow: about {rms:.1} % at 0.6 Hz");
        assert!(said.contains(&named), "{said}");
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
        (json(&take), text(&take, &[]))
    };
    let (fair, said) = of([3150.0; 2], [0.25, 0.22]);
    for code in ["one_channel", "levels_differ", "channels_disagree"] {
        assert!(!has(&fair, code), "{said}");
    }
    let (dead, said) = of([3150.0; 2], [0.25, 0.0]);
    assert!(has(&dead, "one_channel"), "{said}");
    assert!(said.contains("on the left channel only"), "{said}");
    for other in [3000.0, 1000.0] {
        let (two, said) = of([3150.0, other], [0.25; 2]);
        assert!(has(&two, "channels_disagree"), "{said}");
        assert!(
            said.contains("The right channel carries something else"),
            "{said}"
        );
        let (_, heard) = said.split_once("something else: about ").unwrap();
        let heard: f64 = heard.split(' ').next().unwrap().parse().unwrap();
        assert!((heard - 0.99 * other).abs() < 3.0, "{said}");
        assert!((deviation(&two) + 1.0).abs() < 0.02, "{two}");
    }
    let (louder, said) = of([3150.0; 2], [0.125, 0.25]);
    assert!(has(&louder, "levels_differ"), "{said}");
    assert!(said.contains("left channel is 6.0 dB quieter"), "{said}");
}

/// What the screen is given at the end of a take.
fn watched(take: &Take<'_>) -> Reading {
    let mut engine = Engine::new(Settings {
        rate_hz: RATE,
        channels: 2,
        choice: ChannelChoice::Auto,
        conditions: Conditions::default(),
        tolerance: Percent(0.5),
    })
    .unwrap();
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
        let got = json(&take);
        assert_eq!(got["signal"]["usable"], Value::Bool(true), "{got}");
        let known = number(&got, "speed", "uncertainty_percent");
        assert!(
            (deviation(&got) + 1.0).abs() <= known && known < 0.03,
            "{got}"
        );
        assert!(has(&got, "hum") && !has(&got, "low_snr"), "{got}");
        let said = text(&take, &[]);
        let level = format!("Mains hum at -{below_db:.0} dB of the tone");
        assert!(
            said.contains(&level) && said.contains("earth loop"),
            "{said}"
        );
        let reading = watched(&take);
        let hum = |problem: &Problem| matches!(problem, Problem::Hum { .. });
        assert!(reading.speed.is_some(), "{reading:?}");
        assert!(reading.signal.problems.iter().any(hum), "{reading:?}");
    }
}

#[test]
fn a_falling_speed_points_at_the_supply_first() {
    let take = Take::of(70.0, &|t| 1.0 - 0.005 * t / 60.0);
    let said = text(&take, &[]);
    assert!(
        said.contains("flat cells or a sagging supply come first"),
        "{said}"
    );
    let rises = text(&Take::of(70.0, &|t| 1.0 + 0.005 * t / 60.0), &[]);
    assert!(!rises.contains("flat cells"), "{rises}");
}

#[test]
fn jargon_stands_behind_the_budget() {
    let take = Take::of(12.0, &|_| 0.99);
    let said = text(&take, &[]);
    assert!(!said.contains("Allan"), "{said}");
    assert!(text(&take, &["--budget"]).contains("Allan deviation"));
}

#[test]
fn clipping_is_told_as_a_part_of_the_whole() {
    let take = Take {
        peak: [4.0; 2],
        ..Take::of(8.0, &|_| 0.99)
    };
    let said = text(&take, &[]);
    // 1 − 2/π · arcsin(1/4) of a sine clipped at a quarter of its peak.
    assert!(said.contains("84 % of it stood at full scale"), "{said}");
    assert!(said.contains("84 % of it clipped"), "{said}");
}

/// One now and then is no reason to open a machine, here as on the screen.
#[test]
fn only_many_dropouts_ask_for_clean_heads() {
    let gone_at = |times: &'static [f64]| {
        let whole = Take::of(24.0, &|_| 0.99);
        let mut samples = whole.samples();
        for at in times {
            let from = (at * f64::from(RATE)) as usize * 2;
            samples[from..from + 2 * 1440].fill(0.0);
        }
        let folder = tempfile::tempdir().unwrap();
        let whole = samples.iter().map(|sample| (sample * 32_767.0) as i16);
        let bytes: Vec<u8> = whole.flat_map(i16::to_le_bytes).collect();
        fs::write(folder.path().join("take.wav"), plain(RATE, &bytes)).unwrap();
        let output = Command::new(env!("CARGO_BIN_EXE_tapewright"))
            .args(["read", "--json", "take.wav"])
            .current_dir(folder.path())
            .output()
            .unwrap();
        let object: Value = serde_json::from_slice(&output.stdout).unwrap();
        let cautions = object["cautions"].as_array().unwrap().clone();
        let said = cautions.iter().find(|it| it["code"] == "dropouts").unwrap();
        said["text"].as_str().unwrap().to_owned()
    };
    let one = gone_at(&[9.0]);
    assert!(
        one.starts_with("One dropout") && !one.contains("clean"),
        "{one}"
    );
    let scattered = gone_at(&[3.0, 7.0, 11.0, 15.5, 19.0]);
    assert!(
        scattered.starts_with("5 dropouts") && !scattered.contains("clean"),
        "{scattered}"
    );
    let many = gone_at(&[9.0, 10.0, 12.0, 14.0]);
    assert!(
        many.starts_with("4 dropouts") && many.contains("clean the heads"),
        "{many}"
    );
}

#[test]
fn a_locale_without_our_characters_gets_plain_ones() {
    let take = Take::of(8.0, &|_| 0.99);
    for locale in ["C", "POSIX", "de_DE.ISO-8859-1"] {
        let output = run(&take, &[], &[("LC_ALL", locale)]);
        assert!(output.stdout.is_ascii(), "{locale}");
        let said = String::from_utf8(output.stdout).unwrap();
        assert!(said.contains("+-"), "{said}");
    }
    assert!(text(&take, &[]).contains('±'));
}
