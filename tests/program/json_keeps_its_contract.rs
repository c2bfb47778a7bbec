//! `tapewright read --json` keeps the contract that scripts rely on: real
//! output of the real program, held against `assets/reading.schema.json` (each
//! line that any test reads is held against it: `support/program.rs`).

use std::f64::consts::TAU;
use std::process::Stdio;

use crate::support::invented;
use crate::support::program::{
    Folder, breaches, caution, codes, has, number, published_breaches, schema, tone,
};
use crate::support::wave_bytes::{plain, tone_pcm16};
use serde_json::Value;
use tapewright::readings::{
    BadSpot, Direction, FlutterReading, MarksFigures, MatchFigures, Measurement, NoteFigures, Pass,
    PassageFigures, ReferenceKind, SpotKind, SpotSeen, SweepReport, TuningHint, Unclear, Vibrato,
};
use tapewright::report::{FileReport, FileResult, json};
use tapewright::units::{Cents, Hertz, Percent, Seconds};

const RATE: u32 = 48_000;

fn write_tone(folder: &Folder, name: &str, hz: f64, seconds: f64) {
    folder.with(name, plain(RATE, &tone_pcm16(hz, RATE, seconds)));
}

#[track_caller]
fn assert_near(value: &Value, expected: f64, tolerance: f64) {
    let number = number(value);
    let near = (number - expected).abs() <= tolerance;
    assert!(near, "{number} is not {expected}");
}

/// The line of a measurement, which keeps the contract.
fn line(measurement: &Measurement, sweep: Option<&SweepReport>) -> Value {
    let line = json::line(&FileReport {
        sweep,
        ..FileReport::of("a.wav", FileResult::Measured(measurement))
    });
    let good = serde_json::from_str(&line).unwrap();
    assert_eq!(breaches(&good), [""; 0], "{line}");
    good
}

fn keys(good: &Value, pointer: &str) -> Vec<String> {
    let object = good.pointer(pointer).unwrap().as_object().unwrap();
    object.keys().cloned().collect()
}

/// Each of these keys of an object is required.
fn assert_required<K: AsRef<str>>(good: &Value, pointer: &str, keys: &[K]) {
    for key in keys {
        let mut bad = good.clone();
        let object = bad.pointer_mut(pointer).unwrap().as_object_mut().unwrap();
        let key = key.as_ref();
        assert!(object.remove(key).is_some(), "no {pointer}/{key}");
        let missed = !published_breaches(&bad).is_empty();
        assert!(missed, "{pointer}/{key} may be missing");
    }
}

#[test]
fn the_schema_is_sound_and_can_say_no() {
    assert!(jsonschema::meta::is_valid(&schema()));
    let good = line(&invented::measurement(), None);
    // Every key is required, wherever it stands; others may be added, and those
    // that nobody has described are seen here.
    let mut all = 0;
    let pointers = objects_within(&good, "");
    for pointer in &pointers {
        let keys = keys(&good, pointer);
        assert_required(&good, pointer, &keys);
        all += keys.len();
        let mut bad = good.clone();
        let object = bad.pointer_mut(pointer).unwrap().as_object_mut().unwrap();
        object.insert("surprise".to_owned(), Value::Null);
        assert!(!breaches(&bad).is_empty(), "{pointer} may have a surprise");
        assert_eq!(published_breaches(&bad), [""; 0], "{pointer}");
    }
    assert_eq!((pointers.len(), all), (14, 66));
    // Text for a number, and contradictions.
    for (pointer, value) in [
        ("/speed/deviation_percent", Value::from("-1.2")),
        ("/speed/deviation_percent", Value::Null),
        ("/speed/uncertainty_percent", Value::from(-0.1)),
        ("/signal/clipped_samples", Value::Null),
        ("/duration_s", Value::Null),
        ("/channel", Value::from("middle")),
        ("/schema", Value::from("tapewright.reading/2")),
        ("/cautions", Value::Array(Vec::new())),
        ("/cautions/0/code", Value::from("file_unreadable")),
    ] {
        let mut bad = good.clone();
        *bad.pointer_mut(pointer).unwrap() = value;
        assert!(!published_breaches(&bad).is_empty(), "{pointer}");
    }
}

/// A measurement against a time, of which nothing is told that it cannot show.
fn timed(kind: ReferenceKind) -> Measurement {
    let mut measurement = invented::measurement();
    measurement.conditions.kind = kind;
    measurement.nominal = None;
    measurement.speed.as_mut().unwrap().measured = None;
    measurement.drift = None;
    measurement.stability.clear();
    measurement.flutter = FlutterReading::default();
    measurement
}

#[test]
fn a_time_in_place_of_a_frequency_keeps_the_contract() {
    let passage = Measurement {
        passage: Some(PassageFigures {
            start: Some(Seconds(1.5)),
            end: Some(Seconds(204.0)),
            length: Some(Seconds(202.5)),
            expected: Seconds(200.0),
        }),
        ..timed(ReferenceKind::Passage)
    };
    let marks = Measurement {
        marks: Some(MarksFigures {
            found: 59,
            expected: 61,
            spacing: Some(Seconds(0.506)),
            nominal: Seconds(0.5),
        }),
        ..timed(ReferenceKind::Marks)
    };
    let recording = Measurement {
        recording: Some(MatchFigures {
            accepted: true,
            at_copy: Some(Seconds(-1.25)),
            residual: Some(Seconds(0.0005)),
            followed: Seconds(59.0),
        }),
        ..timed(ReferenceKind::Recording)
    };
    for (measurement, own) in [
        (
            &passage,
            r#"{"passage":{"end_s":204.0,"expected_s":200.0,"length_s":202.5,"start_s":1.5}}"#,
        ),
        (
            &recording,
            r#"{"match":{"accepted":true,"at_copy_s":-1.25,"residual_ms":0.5}}"#,
        ),
        (
            &marks,
            r#"{"marks":{"expected":61,"found":59,"spacing_s":0.506}}"#,
        ),
    ] {
        let good = line(measurement, None);
        let kind = measurement.conditions.kind.name();
        assert_eq!(good["reference"]["kind"], kind);
        let own: Value = serde_json::from_str(own).unwrap();
        for (key, own) in own.as_object().unwrap() {
            assert_eq!(good[key], *own);
            let pointer = format!("/{key}");
            assert_required(&good, &pointer, &keys(&good, &pointer));
        }
        // There is no frequency to be measured.
        let mut bad = good.clone();
        bad["speed"]["measured_hz"] = Value::from(3150.0);
        assert!(!breaches(&bad).is_empty());
    }
}

#[test]
fn lines_and_channels_keep_the_contract() {
    let mut measurement = invented::measurement();
    measurement.lines = Some(invented::lines());
    measurement.channels = Some(invented::channels());
    let good = line(&measurement, None);
    let first: Value = serde_json::from_str(
        r#"{"hz":7.6103,"uncertainty_hz":0.0123,"peak_percent":0.052,"uncertainty_percent":0.003,
            "weighted_share":0.41,"motion":"turns","course":"growing","percent_per_minute":-3.1,
            "uncertainty_percent_per_minute":1.2,
            "parts":[{"name":"capstan","harmonic":1,"likelihood":0.933},{"name":"belt","harmonic":3,"likelihood":0.05}],
            "over_time":[{"at_s":32.77,"hz":7.61,"peak_percent":0.052}]}"#,
    )
    .unwrap();
    assert_eq!(good["lines"][0], first);
    let channels: Value = serde_json::from_str(
        r#"{"level_left_dbfs":-12.1,"level_right_dbfs":-12.9,"balance_db":0.8,"balance_uncertainty_db":0.05,
            "right_lags_us":3.2,"right_lags_uncertainty_us":0.1,"right_lags_ambiguous_by_us":317.46,
            "right_lags_jitter_us":0.3,"inverted":false}"#,
    )
    .unwrap();
    assert_eq!(good["channels"], channels);
    assert_eq!(good["parts_card"], "bench deck");
    for pointer in [
        "/lines/0",
        "/lines/0/parts/0",
        "/lines/0/over_time/0",
        "/channels",
    ] {
        let required = keys(&good, pointer);
        let optional = |key: &String| key == "over_time";
        let required: Vec<&String> = required.iter().filter(|key| !optional(key)).collect();
        assert_required(&good, pointer, &required);
    }
    let all = good["lines"][0]["parts"].as_array().unwrap().iter();
    assert!(all.map(|part| number(&part["likelihood"])).sum::<f64>() <= 1.0);
    // No line is no reason for null, and what cannot be known is.
    measurement.lines = measurement.lines.map(|mut lines| {
        lines.lines.clear();
        lines
    });
    let mut channels = invented::channels();
    channels.ambiguous_by_us = None;
    channels.jitter_us = None;
    measurement.channels = Some(channels);
    let clean = line(&measurement, None);
    assert_eq!(clean["lines"], Value::Array(Vec::new()));
    assert!(clean["channels"]["right_lags_ambiguous_by_us"].is_null());
    let without = line(&invented::measurement(), None);
    assert!(without["lines"].is_null() && without["channels"].is_null());
}

#[test]
fn a_note_and_a_tuning_keep_the_contract() {
    let mut measurement = invented::measurement();
    measurement.conditions.kind = ReferenceKind::Note;
    measurement.note = Some(NoteFigures {
        vibrato: Some(Vibrato {
            rate: Hertz(5.5),
            depth: Percent(0.9),
        }),
        stiffness: 0.0004,
        partials: vec![1, 2, 5],
    });
    measurement.tuning = Some(TuningHint {
        concert_pitch: Hertz(440.0),
        offset: Cents(-12.3),
        uncertainty: Cents(2.5),
        scatter: Cents(9.0),
    });
    measurement.speed.as_mut().unwrap().parts.partials = Some(Percent(0.02));
    let good = line(&measurement, None);
    assert_eq!(good["note"]["vibrato"]["rate_hz"], 5.5);
    assert_eq!(good["tuning"]["offset_cents"], -12.3);
    assert_required(&good, "/note", &["stiffness"]);
    assert_required(&good, "/note/vibrato", &["depth_percent"]);
    assert_required(&good, "/tuning", &["offset_percent"]);
}

#[test]
fn a_sweep_says_why_it_is_unclear_and_what_is_too_small_to_matter() {
    let spot = BadSpot {
        at: Percent(-1.2),
        depth: Some(Percent(0.11)),
        kind: SpotKind::Jump,
        seen: SpotSeen::Both,
        times: vec![Seconds(4.0)],
    };
    let pass = Pass {
        from: Seconds(1.0),
        to: Seconds(9.0),
        direction: Direction::Up,
    };
    let sweep = SweepReport {
        passes: vec![pass; 2],
        bad_spots: vec![spot.clone()],
        slight_spots: vec![spot],
        ..SweepReport::unclear(Unclear::Blind)
    };
    let good = line(&invented::measurement(), Some(&sweep));
    assert_eq!(good["sweep"]["unclear"], "blind");
    assert_eq!(good["sweep"]["slight_spots"][0]["depth_percent"], 0.11);
    for object in ["/sweep", "/sweep/bad_spots/0", "/sweep/slight_spots/0"] {
        assert_required(&good, object, &keys(&good, object));
    }
}

/// Pointers to all objects within a value, itself first.
fn objects_within(value: &Value, pointer: &str) -> Vec<String> {
    let within =
        |(key, member): (String, &Value)| objects_within(member, &format!("{pointer}/{key}"));
    match value {
        Value::Object(members) => std::iter::once(pointer.to_owned())
            .chain(
                members
                    .iter()
                    .map(|(key, it)| (key.clone(), it))
                    .flat_map(within),
            )
            .collect(),
        Value::Array(items) => (items.iter().enumerate())
            .map(|(index, it)| (index.to_string(), it))
            .flat_map(within)
            .collect(),
        _ => Vec::new(),
    }
}

#[test]
fn a_recording_is_measured() {
    let folder = Folder::new();
    // 1 % slow.
    write_tone(&folder, "side a.wav", 3118.5, 12.0);
    let run = folder.read("'side a.wav'");
    assert_eq!(run.ends(0).errors, "");
    assert_eq!(run.objects.len(), 1);
    let object = &run.object;
    assert_eq!(object["file"], "side a.wav");
    assert_eq!(object["rate_hz"], 48_000);
    assert_eq!(object["channel"], "both");
    assert_eq!(object["signal"]["usable"], true);
    assert_near(&object["duration_s"], 12.0, 1e-9);
    assert_near(&object["speed"]["measured_hz"], 3118.5, 0.01);
    assert_near(&object["speed"]["deviation_percent"], -1.0, 0.0005);
    // An amplitude of a quarter.
    assert_near(&object["signal"]["level_dbfs"], -12.04, 0.05);
    assert_near(&object["clock"]["uncertainty_ppm"], 100.0, 1e-9);
    assert!(has(object, "reference_error_unknown"));
    // Keys stand in the order of the contract.
    let keys = "schema file duration_s rate_hz channel reference signal speed clock drift \
                stability flutter cautions";
    let place = |key: &str| run.text.find(&format!("\"{key}\"")).unwrap();
    assert!(keys.split(' ').map(place).is_sorted(), "{}", run.text);
}

#[test]
fn what_is_said_of_the_reference_is_taken_in() {
    let folder = Folder::new();
    write_tone(&folder, "a.wav", 3150.0, 12.0);
    let reference = "--tape-error -0.5±0.2";
    let clock = "--clock 50±10";
    let object = folder.measured(&format!("{reference} {clock} a.wav"));
    assert_near(&object["reference"]["error_percent"], -0.5, 1e-9);
    assert_near(&object["clock"]["error_ppm"], 50.0, 1e-9);
    assert_eq!(object["clock"]["source"], "option");
    let speed = &object["speed"];
    // (3150 × 1.00005 ÷ 3150) ÷ 0.995 − 1
    assert_near(&speed["deviation_percent"], 0.507_54, 0.0005);
    assert!(number(&speed["uncertainty_with_reference_percent"]) >= 0.2);
    assert!(number(&speed["uncertainty_percent"]) < 0.1);
    assert!(!has(&object, "reference_error_unknown"));

    let object = folder.measured("--tape-error home-made a.wav");
    assert_near(&object["reference"]["error_uncertainty_percent"], 3.0, 1e-9);
    assert!(has(&object, "reference_home_made"));
}

#[test]
fn one_bad_file_never_stops_the_others() {
    let folder = Folder::new();
    write_tone(&folder, "a.wav", 3150.0, 8.0);
    folder.with("notes.wav", "No sound, only words.\n");
    folder.with("empty.wav", "");
    folder.with("silent.wav", plain(RATE, &vec![0; 8 * 4 * RATE as usize]));
    write_tone(&folder, "b.wav", 3160.0, 8.0);
    let asked = "a.wav notes.wav missing.wav empty.wav silent.wav b.wav";
    let run = folder.read(asked);
    // The highest that occurred.
    run.ends(4);
    let files: Vec<_> = asked.split(' ').collect();
    let told: Vec<_> = run.objects.iter().map(|it| &it["file"]).collect();
    assert_eq!(told, files);
    let usable: Vec<_> = run
        .objects
        .iter()
        .map(|it| &it["signal"]["usable"])
        .collect();
    assert_eq!(usable, [true, false, false, false, false, true]);
    for unreadable in &run.objects[1..4] {
        assert_eq!(codes(unreadable), ["file_unreadable"]);
    }
    assert!(!has(&run.objects[4], "file_unreadable"));
    // One sentence each, the file named; the summary of all comes after.
    let lines = run.errors.lines();
    let sentences: Vec<_> = lines
        .take_while(|it| it.starts_with("tapewright: "))
        .collect();
    assert_eq!(sentences.len(), 4, "{}", run.errors);
    for (sentence, file) in sentences.iter().zip(&files[1..]) {
        assert!(sentence.contains(file), "{sentence}");
    }
    run.complains(&["6 recordings, 2 measured"]);
    let quiet = folder.read(&format!("--quiet {asked}"));
    assert_eq!(quiet.errors.lines().count(), 4, "{}", quiet.errors);
}

#[test]
fn an_unreadable_file_has_its_object_and_its_status() {
    let folder = Folder::new();
    let run = folder.read("--reference tone:3000 gone.wav");
    let object = &run.ends(3).object;
    assert_near(&object["reference"]["hz"], 3000.0, 1e-9);
    assert_eq!(codes(object), ["file_unreadable"]);
    let text = object["cautions"][0]["text"].as_str().unwrap();
    assert!(text.contains("gone.wav"), "{text}");
    assert_eq!(run.errors.lines().count(), 1);

    let run = folder.read("--reference tone:auto .");
    assert!(run.ends(3).object["reference"]["hz"].is_null());
}

#[test]
fn no_reference_in_a_file_has_its_own_status() {
    let folder = Folder::new();
    folder.with("header.wav", plain(RATE, &[]));
    folder.with("silence.wav", plain(RATE, &vec![0; 5 * 4 * RATE as usize]));
    write_tone(&folder, "short.wav", 3150.0, 0.01);
    for name in ["header.wav", "silence.wav", "short.wav"] {
        let run = folder.read(name);
        assert_eq!(run.ends(4).object["signal"]["usable"], false, "{name}");
        assert!(run.errors.contains(name), "{}", run.errors);
    }
}

#[test]
fn a_cut_file_is_measured_as_far_as_it_goes() {
    let folder = Folder::new();
    let whole = plain(RATE, &tone_pcm16(3150.0, RATE, 20.0));
    folder.with("cut.wav", &whole[..whole.len() / 2]);
    let object = folder.measured("cut.wav");
    assert!(has(&object, "file_cut_short"));
    assert_near(&object["duration_s"], 10.0, 0.01);
    let text = object["cautions"].to_string();
    assert!(text.contains("10.0 s are missing"), "{text}");
    assert_near(&object["speed"]["deviation_percent"], 0.0, 0.001);
    // What lies before the cut is whole.
    let object = folder.measured("--to 8 cut.wav");
    assert!(!has(&object, "file_cut_short"));
}

#[test]
fn samples_that_are_no_number_do_not_spread() {
    let folder = Folder::new();
    let mut sound = tone(RATE, 8.0, 3150.0, |_| 1.0);
    sound[100_000] = f32::NAN;
    folder.write("nan.wav", RATE, &[&sound]);
    let object = folder.measured("nan.wav");
    assert_eq!(object["channel"], "mono");
    assert!(has(&object, "samples_replaced"));
    assert_near(&object["speed"]["deviation_percent"], 0.0, 0.001);
}

#[test]
fn a_stretch_can_be_chosen() {
    let folder = Folder::new();
    // 8 s slow, then 8 s fast.
    let mut pcm = tone_pcm16(3118.5, RATE, 8.0);
    pcm.extend(tone_pcm16(3181.5, RATE, 8.0));
    folder.with("two.wav", plain(RATE, &pcm));
    for (from, to, deviation) in [(0, 8, -1.0), (8, 16, 1.0), (8, 99, 1.0)] {
        let object = folder.measured(&format!("--from {from} --to {to} two.wav"));
        assert_near(&object["duration_s"], 8.0, 1e-6);
        assert_near(&object["speed"]["deviation_percent"], deviation, 0.001);
    }
    let run = folder.read("--from 20 two.wav");
    assert!(has(&run.ends(4).object, "record_too_short"));
    assert!(run.errors.contains("ends at 16.0 s"), "{}", run.errors);
    assert_eq!(folder.read("--from 5 --to 5 two.wav").ends(2).text, "");
}

#[test]
fn the_table_for_people_fits_and_says_the_same() {
    let folder = Folder::new();
    write_tone(&folder, "a.wav", 3118.5, 12.0);
    let run = folder.run("read --reference 3150 a.wav missing.wav");
    let text = &run.ends(3).says(&["-1.000", "SLOW"]).text;
    // Why a file is missing from it stands on standard error, once.
    assert!(text.contains("missing.wav\n  Not read"), "{text}");
    assert!(run.errors.contains("no such file"), "{}", run.errors);
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    assert!(!text.contains('\u{1b}'), "escapes where nobody draws");
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let folder = Folder::new();
    write_tone(&folder, "good.wav", 3150.0, 1.0);
    // Until then, the status says what came of the recordings.
    for (first, status) in [("good.wav", 0), ("missing.wav", 3)] {
        let mut command = folder.command("read --json --parallel 1");
        command.arg(first);
        command.args((0..2000).map(|n| format!("missing-{n}.wav")));
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let code = command.stdout(writer).stderr(Stdio::null()).status();
        assert_eq!(code.unwrap().code(), Some(status), "{first}");
    }
}

#[test]
fn a_check_of_the_wiper_keeps_the_contract_and_a_steady_tone_its_speed() {
    let folder = Folder::new();
    for (name, seconds) in [("short.wav", 1.0), ("steady.wav", 3.0), ("long.wav", 20.0)] {
        write_tone(&folder, name, 3150.0, seconds);
        let run = folder.read(&format!("--sweep {name}"));
        assert_near(&run.object["speed"]["deviation_percent"], 0.0, 0.01);
        run.never_says(&["was turned through"]);
        assert_eq!(run.object["sweep"]["verdict"], "unclear", "{name}");
    }
    // One channel, swept 6 % down and up twice.
    let swept = tone(RATE, 40.0, 3150.0, |t| 1.0 + 0.06 * (TAU * t / 20.0).sin());
    folder.write("swept.wav", RATE, &[&swept]);
    let object = folder.read("--sweep swept.wav").object;
    assert_eq!(object["signal"]["usable"], true);
    assert_eq!(object["speed"]["deviation_percent"], Value::Null);
    assert!(has(&object, "speed_moved"), "{object}");
    assert!(!has(&object, "drifting"), "{object}");
    // Wow of a hand at the trimmer is none of the machine's.
    let flutter = object["flutter"].as_object().unwrap();
    assert!(flutter.values().all(Value::is_null), "{object}");
}

#[test]
fn every_file_has_its_object_whatever_it_was_to_be_held_against() {
    let folder = Folder::new();
    for (name, seconds) in [("a.wav", 2.0), ("b.wav", 2.0), ("short.wav", 3.0)] {
        write_tone(&folder, name, 3150.0, seconds);
    }
    folder.with("silent.wav", plain(RATE, &vec![0; 10 * 4 * RATE as usize]));
    folder.with("notes.wav", "Side A, spring\n");
    folder.with("card.toml", "tape_card = 1\nname = ");
    for (against, file, status, says) in [
        (
            "--reference recording:",
            "short.wav",
            4,
            "lasts 3.0 s, too short",
        ),
        ("--reference recording:", "silent.wav", 4, "is silent"),
        ("--reference recording:", "notes.wav", 3, "text file"),
        ("--reference recording:", "missing.wav", 3, "no such file"),
        ("--tape ", "missing.toml", 3, ""),
        ("--tape ", "card.toml", 3, ""),
    ] {
        let run = folder.read(&format!("{against}{file} a.wav b.wav"));
        let errors = &run.ends(status).errors;
        assert!(errors.contains(file) && errors.contains(says), "{errors}");
        assert_eq!(errors.lines().count(), 1, "{errors}");
        let files: Vec<_> = run.objects.iter().map(|it| &it["file"]).collect();
        assert_eq!(files, ["a.wav", "b.wav"], "{against}");
        for object in &run.objects {
            assert_eq!(object["signal"]["usable"], false);
            assert!(object["speed"]["deviation_percent"].is_null());
            let told = caution(object, "reference_not_found").unwrap();
            assert!(told.contains(says), "{told}");
            let is_recording = object["reference"]["kind"] == "recording";
            assert_eq!(is_recording, !says.is_empty(), "{object}");
        }
    }
}

#[test]
fn no_name_is_the_same_machine_as_no_name() {
    let folder = Folder::new();
    write_tone(&folder, "a.wav", 3150.0, 3.0);
    let object = folder.measured("--machine '' --recorded-on '' a.wav");
    assert!(!has(&object, "reference_recorded_here"));
}
