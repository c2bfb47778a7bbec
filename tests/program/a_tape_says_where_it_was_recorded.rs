//! A tape made with `tapewright tone --programme` says which machine it was
//! recorded on: measured on that machine, nothing it reads is called a speed
//! error. Tapes are played slow by giving their files another sample rate.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

/// The program, with a data folder of its own.
fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tapewright"))
        .args(arguments)
        .current_dir(folder)
        .env("XDG_DATA_HOME", folder.join("data"))
        .env("HOME", folder)
        .output()
        .unwrap()
}

fn said(output: &Output) -> String {
    let mut text = String::from_utf8_lossy(&output.stdout).into_owned();
    text.push_str(&String::from_utf8_lossy(&output.stderr));
    text
}

/// A programme recorded on deck 2, in `tape.wav`; what was said of it.
fn programme(folder: &Path, more: &[&str]) -> String {
    let mut arguments = vec!["tone", "--programme", "--machine", "Deck 2"];
    arguments.extend(["--seconds", "12", "-o", "tape.wav"]);
    arguments.extend(more);
    let made = run(folder, &arguments);
    assert!(made.status.success(), "{}", said(&made));
    said(&made)
}

/// The same tape on a machine whose speed is this ratio, in `played.wav`;
/// `mix` makes the channels that are heard of those on the tape.
fn play(folder: &Path, speed: f64, mix: fn([i16; 2]) -> [i16; 2]) {
    let mut tape = hound::WavReader::open(folder.join("tape.wav")).unwrap();
    let mut spec = tape.spec();
    spec.sample_rate = (f64::from(spec.sample_rate) * speed).round() as u32;
    let mut played = hound::WavWriter::create(folder.join("played.wav"), spec).unwrap();
    let samples: Vec<i16> = tape.samples::<i16>().map(Result::unwrap).collect();
    for frame in samples.chunks(2) {
        for sample in mix([frame[0], frame[1]]) {
            played.write_sample(sample).unwrap();
        }
    }
    played.finalize().unwrap();
}

/// What the program reads of it, as JSON that keeps the contract.
fn read(folder: &Path, options: &[&str]) -> Value {
    let output = run(
        folder,
        &[&["read", "--json", "played.wav"], options].concat(),
    );
    assert!(output.status.success(), "{}", said(&output));
    let reading: Value = serde_json::from_slice(&output.stdout).unwrap();
    let schema = include_str!("../../assets/reading.schema.json");
    let schema = jsonschema::validator_for(&serde_json::from_str(schema).unwrap()).unwrap();
    assert!(schema.is_valid(&reading), "{reading}");
    reading
}

fn caution<'a>(reading: &'a Value, code: &str) -> Option<&'a str> {
    let cautions = reading["cautions"].as_array().unwrap();
    let found = cautions.iter().find(|it| it["code"] == code)?;
    found["text"].as_str()
}

/// Seconds at which the named part of the list begins.
fn start(list: &str, name: &str) -> f64 {
    let line = list
        .lines()
        .find(|line| line.contains(&format!("  {name} ")));
    let time = line.unwrap().split_whitespace().next().unwrap();
    let (minutes, seconds) = time.split_once(':').unwrap();
    minutes.parse::<f64>().unwrap() * 60.0 + seconds.parse::<f64>().unwrap()
}

#[test]
fn on_the_machine_that_recorded_it_nothing_is_a_speed_error() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let list = programme(folder, &[]);
    // 12 % slow, and the tone alone is measured: the ident lies before it.
    play(folder, 0.88, |both| both);
    let from = ((start(&list, "tone") + 1.0) / 0.88).to_string();
    let to = ((start(&list, "tone") + 11.0) / 0.88).to_string();
    let stretch = ["--from", &from, "--to", &to];

    let here = read(
        folder,
        &[&["--machine", "deck 2", "--home-made"], &stretch[..]].concat(),
    );
    let text = caution(&here, "reference_recorded_here").unwrap();
    assert!(text.contains("no speed error"), "{text}");
    assert!(here["speed"]["uncertainty_with_reference_percent"].is_null());
    assert!(here["reference"]["error_uncertainty_percent"].is_null());
    assert_eq!(caution(&here, "reference_home_made"), None);
    // The raw figure stays.
    assert!((here["speed"]["deviation_percent"].as_f64().unwrap() + 12.0).abs() < 0.01);
    assert_eq!(here["ident"]["machine"], "Deck 2");
    assert_eq!(here["ident"]["hz"], 3150.0);

    let words = run(folder, &["read", "--machine", "deck 2", "played.wav"]);
    assert!(said(&words).contains("TAPE MADE HERE"), "{}", said(&words));
    assert!(said(&words).contains("Tape says"), "{}", said(&words));

    let other = read(
        folder,
        &[&["--machine", "deck 4", "--home-made"], &stretch[..]].concat(),
    );
    assert_eq!(caution(&other, "reference_recorded_here"), None);
    let with_tape = other["speed"]["uncertainty_with_reference_percent"].as_f64();
    assert!(with_tape.unwrap() >= 3.0);
    // Where it was recorded need not be asked.
    let text = caution(&other, "reference_home_made").unwrap();
    assert!(text.contains("recorded on \"Deck 2\""), "{text}");
}

#[test]
fn one_channel_or_two_that_cancel_are_enough() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    programme(folder, &[]);
    let mixes: [fn([i16; 2]) -> [i16; 2]; 3] = [
        |[_, right]| [0, right],
        |[left, _]| [left, 0],
        |[left, _]| [left, -left],
    ];
    for mix in mixes {
        play(folder, 1.2, mix);
        assert_eq!(read(folder, &[])["ident"]["machine"], "Deck 2");
    }
}

#[test]
fn a_reference_that_the_tape_does_not_carry_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    programme(folder, &[]);
    play(folder, 1.0, |both| both);
    let reading = read(folder, &["--reference", "tone:3000"]);
    let text = caution(&reading, "reference_contradicts_tape").unwrap();
    assert!(text.contains("--reference tone:3150"), "{text}");
    assert_eq!(
        caution(&read(folder, &[]), "reference_contradicts_tape"),
        None
    );
}

#[test]
fn without_an_ident_nothing_is_said_of_one() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let made = run(folder, &["tone", "-o", "played.wav", "--seconds", "12"]);
    assert!(made.status.success(), "{}", said(&made));
    let reading = read(folder, &["--machine", "deck 2"]);
    assert!(reading.get("ident").is_none());
    assert_eq!(caution(&reading, "reference_recorded_here"), None);
}

#[test]
fn a_card_takes_over_what_the_tape_says_and_is_refused_where_it_would_lie() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    programme(folder, &[]);
    play(folder, 1.002, |both| both);
    let measure = |played_on: &str| {
        let mut arguments = vec!["tape", "measure", "home", "played.wav"];
        arguments.extend(["--machine-error", "0.2", "--machine-uncertainty", "0.05"]);
        arguments.extend(["--played-on", played_on, "--reference", "3150"]);
        run(folder, &arguments)
    };
    let refused = measure("deck 2");
    assert_eq!(refused.status.code(), Some(2), "{}", said(&refused));
    assert!(
        said(&refused).contains("another machine"),
        "{}",
        said(&refused)
    );
    let made = measure("deck 1");
    assert!(made.status.success(), "{}", said(&made));
    assert!(
        said(&made).contains("recorded on  Deck 2"),
        "{}",
        said(&made)
    );
}

#[test]
fn the_list_says_where_everything_is() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let list = programme(folder, &["--level", "-6"]);
    let mut tape = hound::WavReader::open(folder.join("tape.wav")).unwrap();
    let samples: Vec<i16> = tape.samples::<i16>().map(Result::unwrap).collect();
    // Loudest of each channel, in dB of full scale, between two times.
    let loudest = |from: f64, to: f64| {
        let frame = |seconds: f64| 2 * (seconds * 48_000.0) as usize;
        [0, 1].map(|channel| {
            let of_channel = samples[frame(from) + channel..frame(to)].iter().step_by(2);
            let peak = of_channel.map(|it| it.unsigned_abs()).max().unwrap();
            20.0 * (f64::from(peak) / 32_768.0).log10()
        })
    };
    for name in ["level", "ident", "tone", "marks", "tone again"] {
        let from = start(&list, name);
        for peak in loudest(from + 0.6, from + 1.8) {
            assert!((peak + 6.0).abs() < 0.2, "{name}: {peak}\n{list}");
        }
    }
    let sides = start(&list, "sides") + 0.6;
    let [left, right] = [
        loudest(sides, sides + 0.4),
        loudest(sides + 1.3, sides + 1.8),
    ];
    assert!(left[0] > -7.0 && left[1] < -80.0, "{left:?}");
    assert!(right[1] > -7.0 && right[0] < -80.0, "{right:?}");
    let silence = start(&list, "silence") + 1.0;
    assert!(
        loudest(silence, silence + 8.0)
            .iter()
            .all(|peak| *peak < -80.0)
    );
}

#[test]
fn what_cannot_be_made_is_refused_with_a_way_out() {
    let folder = tempfile::tempdir().unwrap();
    for (arguments, way_out) in [
        (&["tone", "--programme"][..], "--machine"),
        (
            &[
                "tone",
                "--programme",
                "--machine",
                "a name that is much too long",
            ],
            "room for 24",
        ),
        (&["tone", "--programme", "--machine", ""], "empty"),
        (&["tone", "--machine", "deck 2"], "--programme"),
        (
            &["tone", "--programme", "--machine", "deck 2", "--marks", "1"],
            "--marks",
        ),
    ] {
        let refused = run(folder.path(), arguments);
        assert_eq!(refused.status.code(), Some(2), "{arguments:?}");
        assert!(said(&refused).contains(way_out), "{}", said(&refused));
    }
}

#[test]
fn a_whole_programme_is_read_by_its_tone_alone() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    programme(folder, &[]);
    for speed in [1.0, 0.95] {
        play(folder, speed, |both| both);
        let reading = read(folder, &[]);
        let deviation = reading["speed"]["deviation_percent"].as_f64().unwrap();
        assert!(
            (deviation - 100.0 * (speed - 1.0)).abs() < 0.001,
            "{deviation}"
        );
        for code in ["speed_moved", "tone_lost"] {
            assert_eq!(caution(&reading, code), None, "{speed}");
        }
    }
}

/// The part that is read is chosen by nobody, so all times are those of the
/// recording.
#[test]
fn times_in_a_programme_are_those_of_the_recording() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let again = start(&programme(folder, &[]), "tone again");
    let mut tape = hound::WavReader::open(folder.join("tape.wav")).unwrap();
    let spec = tape.spec();
    let rate = f64::from(spec.sample_rate);
    let mut left: Vec<i16> = (tape.samples::<i16>().map(Result::unwrap).step_by(2)).collect();
    let dropout_s = again + 5.0;
    let from = (dropout_s * rate) as usize;
    left[from..from + (0.03 * rate) as usize].fill(0);
    // The motor stops while the tone still plays.
    let stop_s = again + 9.0;
    left.truncate((stop_s * rate) as usize);
    let mut played = hound::WavWriter::create(folder.join("played.wav"), spec).unwrap();
    let mut at = 0.0f64;
    let braking_s = 1.0;
    let begins = left.len() as f64 - braking_s * rate;
    while (at as usize) + 1 < left.len() {
        let (below, part) = (at as usize, at.fract());
        let [one, next] = [left[below], left[below + 1]].map(f64::from);
        let sample = (one + part * (next - one)).round() as i16;
        for _ in 0..spec.channels {
            played.write_sample(sample).unwrap();
        }
        // It comes to rest near the end of what is left.
        let rest = (left.len() as f64 - at) / (braking_s * rate);
        at += if at < begins { 1.0 } else { rest.sqrt() };
        if at >= begins && rest < 0.001 {
            break;
        }
    }
    let lasts_s = f64::from(played.duration()) / rate;
    played.finalize().unwrap();

    let reading = read(folder, &[]);
    assert!(caution(&reading, "part_read").is_some(), "{reading}");
    let number = |value: &Value| value.as_f64().unwrap_or_else(|| panic!("{reading}"));
    let measured = &reading["measured"];
    let [part_from, part_to] = ["from_s", "to_s"].map(|key| number(&measured[key]));
    assert!((again..again + 5.0).contains(&part_from), "{measured}");
    assert!((part_to - (stop_s - braking_s)).abs() < 1.0, "{measured}");
    let dropout = number(&reading["signal"]["dropouts"][0]["start_s"]);
    assert!((dropout - dropout_s).abs() < 0.005, "{dropout}");
    assert!((number(&reading["duration_s"]) - lasts_s).abs() < 0.01);
    let said = said(&run(folder, &["read", "played.wav"]));
    let words = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains(&format!("from {part_from:.1} to {part_to:.1} s")),
        "{said}"
    );
}

/// Where nothing but what stands before the ident was left out, that is said.
#[test]
fn the_part_of_a_programme_that_was_read_is_told_to_scripts() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let again = start(&programme(folder, &[]), "tone again");
    play(folder, 1.0, |both| both);
    let reading = read(folder, &[]);
    let number = |value: &Value| value.as_f64().unwrap_or_else(|| panic!("{reading}"));
    let [from, to] = ["from_s", "to_s"].map(|key| number(&reading["measured"][key]));
    assert!((again..again + 2.5).contains(&from), "{reading}");
    // Both are rounded.
    assert!(
        (to - number(&reading["duration_s"])).abs() < 0.011,
        "{reading}"
    );
}
