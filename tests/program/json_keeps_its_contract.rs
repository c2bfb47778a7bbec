//! `tapewright read --json` keeps the contract that scripts rely on: real
//! output of the real program, held against `assets/reading.schema.json`.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::support::invented;
use crate::support::wave_bytes::{chunk, file, format_chunk, plain, tone_pcm16};
use serde_json::Value;
use tapewright::readings::{
    BadSpot, Direction, FlutterReading, MarksFigures, MatchFigures, Measurement, NoteFigures, Pass,
    PassageFigures, ReferenceKind, SpotKind, SpotSeen, SweepReport, TuningHint, Unclear, Vibrato,
};
use tapewright::references::Tolerance;
use tapewright::report::{FileReport, FileResult, json};
use tapewright::units::{Cents, Hertz, Percent, Seconds};
use tempfile::TempDir;

const RATE: u32 = 48_000;

fn schema() -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/reading.schema.json");
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

/// Scripts are promised that keys may be added; what this version writes is
/// described to the last key all the same.
fn strict(schema: &mut Value) {
    match schema {
        Value::Object(object) => {
            object.values_mut().for_each(strict);
            if object.contains_key("type") && object.contains_key("properties") {
                object.insert("additionalProperties".to_owned(), Value::Bool(false));
            }
        }
        Value::Array(items) => items.iter_mut().for_each(strict),
        _ => {}
    }
}

/// What the schema has against a line, keys that it does not know included.
fn breaches(value: &Value) -> Vec<String> {
    let mut described = schema();
    strict(&mut described);
    breaches_of(&described, value)
}

/// The same of the schema as it is published.
fn published_breaches(value: &Value) -> Vec<String> {
    breaches_of(&schema(), value)
}

fn breaches_of(schema: &Value, value: &Value) -> Vec<String> {
    let validator = jsonschema::draft202012::new(schema).unwrap();
    validator
        .iter_errors(value)
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect()
}

struct Run {
    status: Option<i32>,
    objects: Vec<Value>,
    text: String,
    errors: String,
}

struct Folder(TempDir);

impl Folder {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn with(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.0.path().join(name);
        fs::write(&path, bytes).unwrap();
        path
    }

    fn tone(&self, name: &str, hz: f64, seconds: f64) {
        self.with(name, &plain(RATE, &tone_pcm16(hz, RATE, seconds)));
    }

    /// Runs the program in this folder. Every line must be an object that
    /// keeps the contract.
    fn read(&self, arguments: &[&str]) -> Run {
        let mut run = self.tapewright(&[&["read", "--json"], arguments].concat());
        for line in run.text.lines() {
            let value: Value = serde_json::from_str(line).unwrap();
            assert_eq!(breaches(&value), Vec::<String>::new(), "{line}");
            run.objects.push(value);
        }
        run
    }

    fn tapewright(&self, arguments: &[&str]) -> Run {
        let output = Command::new(env!("CARGO_BIN_EXE_tapewright"))
            .args(arguments)
            .current_dir(self.0.path())
            .output()
            .unwrap();
        Run {
            status: output.status.code(),
            objects: Vec::new(),
            text: String::from_utf8(output.stdout).unwrap(),
            errors: String::from_utf8(output.stderr).unwrap(),
        }
    }
}

fn codes(object: &Value) -> Vec<&str> {
    let cautions = object["cautions"].as_array().unwrap();
    cautions
        .iter()
        .map(|c| c["code"].as_str().unwrap())
        .collect()
}

#[track_caller]
fn assert_near(value: &Value, expected: f64, tolerance: f64) {
    let number = value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"));
    assert!(
        (number - expected).abs() <= tolerance,
        "{number} is not {expected}"
    );
}

#[test]
fn the_schema_is_sound_and_can_say_no() {
    assert!(jsonschema::meta::is_valid(&schema()));
    let measurement = invented::measurement();
    let line = json::line(&FileReport {
        file: "a.wav",
        result: FileResult::Measured(&measurement),
        tolerance: Tolerance::default(),
        tape: None,
        sweep: None,
        contact: None,
    });
    let good: Value = serde_json::from_str(&line).unwrap();
    assert_eq!(breaches(&good), Vec::<String>::new());
    // Every key is required, wherever it stands; others may be added, and those
    // that nobody has described are seen here.
    let mut removed = 0;
    let pointers = objects_within(&good, "");
    for pointer in &pointers {
        let keys: Vec<String> = good
            .pointer(pointer)
            .unwrap()
            .as_object()
            .unwrap()
            .keys()
            .cloned()
            .collect();
        for key in keys {
            let mut bad = good.clone();
            bad.pointer_mut(pointer)
                .unwrap()
                .as_object_mut()
                .unwrap()
                .remove(&key);
            assert!(
                !published_breaches(&bad).is_empty(),
                "{pointer}/{key} may be missing"
            );
            removed += 1;
        }
        let mut bad = good.clone();
        let object = bad.pointer_mut(pointer).unwrap().as_object_mut().unwrap();
        object.insert("surprise".to_owned(), Value::Null);
        assert!(!breaches(&bad).is_empty(), "{pointer} may have a surprise");
        assert_eq!(published_breaches(&bad), [""; 0], "{pointer}");
    }
    assert_eq!((pointers.len(), removed), (14, 64));
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
    for (measurement, key, own) in [
        (
            &passage,
            "passage",
            "{\"end_s\":204.0,\"expected_s\":200.0,\"length_s\":202.5,\"start_s\":1.5}",
        ),
        (
            &recording,
            "match",
            "{\"accepted\":true,\"at_copy_s\":-1.25,\"residual_ms\":0.5}",
        ),
        (
            &marks,
            "marks",
            "{\"expected\":61,\"found\":59,\"spacing_s\":0.506}",
        ),
    ] {
        let kind = measurement.conditions.kind.name();
        let line = json::line(&FileReport {
            file: "a.wav",
            result: FileResult::Measured(measurement),
            tolerance: Tolerance::default(),
            tape: None,
            sweep: None,
            contact: None,
        });
        let good: Value = serde_json::from_str(&line).unwrap();
        assert_eq!(breaches(&good), Vec::<String>::new());
        assert_eq!(good["reference"]["kind"], kind);
        let own: Value = serde_json::from_str(own).unwrap();
        assert_eq!(good[key], own);
        for member in own.as_object().unwrap().keys() {
            let mut bad = good.clone();
            bad[key].as_object_mut().unwrap().remove(member);
            assert!(!breaches(&bad).is_empty(), "{key}/{member} may be missing");
        }
        // There is no frequency to be measured.
        let mut bad = good.clone();
        bad["speed"]["measured_hz"] = Value::from(3150.0);
        assert!(!breaches(&bad).is_empty());
    }
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
    let line = json::line(&FileReport {
        file: "a.wav",
        result: FileResult::Measured(&measurement),
        tolerance: Tolerance::default(),
        tape: None,
        sweep: None,
        contact: None,
    });
    let good: Value = serde_json::from_str(&line).unwrap();
    assert_eq!(breaches(&good), Vec::<String>::new());
    assert_eq!(good["note"]["vibrato"]["rate_hz"], 5.5);
    assert_eq!(good["tuning"]["offset_cents"], -12.3);
    for pointer in [
        "/note/stiffness",
        "/note/vibrato/depth_percent",
        "/tuning/offset_percent",
    ] {
        let (object, key) = pointer.rsplit_once('/').unwrap();
        let mut bad = good.clone();
        let members = bad.pointer_mut(object).unwrap().as_object_mut().unwrap();
        members.remove(key);
        assert!(!breaches(&bad).is_empty(), "{pointer} may be missing");
    }
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
    let measurement = invented::measurement();
    let line = json::line(&FileReport {
        file: "a.wav",
        result: FileResult::Measured(&measurement),
        tolerance: Tolerance::default(),
        tape: None,
        sweep: Some(&sweep),
        contact: None,
    });
    let good: Value = serde_json::from_str(&line).unwrap();
    assert_eq!(breaches(&good), Vec::<String>::new());
    assert_eq!(good["sweep"]["unclear"], "blind");
    assert_eq!(good["sweep"]["slight_spots"][0]["depth_percent"], 0.11);
    for object in ["/sweep", "/sweep/bad_spots/0", "/sweep/slight_spots/0"] {
        let members = good.pointer(object).unwrap().as_object().unwrap();
        for key in members.keys() {
            let mut bad = good.clone();
            let members = bad.pointer_mut(object).unwrap().as_object_mut().unwrap();
            members.remove(key);
            assert!(!breaches(&bad).is_empty(), "{object}/{key} may be missing");
        }
    }
}

/// Pointers to all objects within a value, itself first.
fn objects_within(value: &Value, pointer: &str) -> Vec<String> {
    let mut found = Vec::new();
    match value {
        Value::Object(members) => {
            found.push(pointer.to_owned());
            for (key, member) in members {
                found.extend(objects_within(member, &format!("{pointer}/{key}")));
            }
        }
        Value::Array(items) => {
            for (index, item) in items.iter().enumerate() {
                found.extend(objects_within(item, &format!("{pointer}/{index}")));
            }
        }
        _ => {}
    }
    found
}

#[test]
fn a_recording_is_measured() {
    let folder = Folder::new();
    // 1 % slow.
    folder.tone("side a.wav", 3118.5, 12.0);
    let run = folder.read(&["side a.wav"]);
    assert_eq!(run.status, Some(0), "{}", run.errors);
    assert_eq!(run.errors, "");
    let [object] = &run.objects[..] else {
        panic!("{}", run.text);
    };
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
    assert!(codes(object).contains(&"reference_error_unknown"));
    // Keys stand in the order of the contract.
    let places: Vec<_> = [
        "\"schema\"",
        "\"file\"",
        "\"duration_s\"",
        "\"rate_hz\"",
        "\"channel\"",
        "\"reference\"",
        "\"signal\"",
        "\"speed\"",
        "\"clock\"",
        "\"drift\"",
        "\"stability\"",
        "\"flutter\"",
        "\"cautions\"",
    ]
    .map(|key| run.text.find(key).unwrap())
    .to_vec();
    assert!(places.is_sorted(), "{}", run.text);
}

#[test]
fn what_is_said_of_the_reference_is_taken_in() {
    let folder = Folder::new();
    folder.tone("a.wav", 3150.0, 12.0);
    let run = folder.read(&[
        "--reference-error",
        "-0.5",
        "--reference-uncertainty",
        "0.2",
        "--clock-error",
        "50",
        "--clock-uncertainty",
        "10",
        "a.wav",
    ]);
    let object = &run.objects[0];
    assert_near(&object["reference"]["error_percent"], -0.5, 1e-9);
    assert_near(&object["clock"]["error_ppm"], 50.0, 1e-9);
    assert_eq!(object["clock"]["source"], "option");
    // (3150 × 1.00005 ÷ 3150) ÷ 0.995 − 1
    assert_near(&object["speed"]["deviation_percent"], 0.507_54, 0.0005);
    let with = object["speed"]["uncertainty_with_reference_percent"]
        .as_f64()
        .unwrap();
    let without = object["speed"]["uncertainty_percent"].as_f64().unwrap();
    assert!(with >= 0.2 && without < 0.1, "{with} {without}");
    assert!(!codes(object).contains(&"reference_error_unknown"));

    let run = folder.read(&["--home-made", "a.wav"]);
    assert_near(
        &run.objects[0]["reference"]["error_uncertainty_percent"],
        3.0,
        1e-9,
    );
    assert!(codes(&run.objects[0]).contains(&"reference_home_made"));
}

#[test]
fn one_bad_file_never_stops_the_others() {
    let folder = Folder::new();
    folder.tone("a.wav", 3150.0, 8.0);
    folder.with("notes.wav", b"No sound, only words.\n");
    folder.with("empty.wav", b"");
    folder.with("silent.wav", &plain(RATE, &vec![0; 8 * 4 * RATE as usize]));
    folder.tone("b.wav", 3160.0, 8.0);
    let run = folder.read(&[
        "a.wav",
        "notes.wav",
        "missing.wav",
        "empty.wav",
        "silent.wav",
        "b.wav",
    ]);
    // The highest that occurred.
    assert_eq!(run.status, Some(4), "{}", run.errors);
    let files: Vec<_> = run
        .objects
        .iter()
        .map(|o| o["file"].as_str().unwrap())
        .collect();
    assert_eq!(
        files,
        [
            "a.wav",
            "notes.wav",
            "missing.wav",
            "empty.wav",
            "silent.wav",
            "b.wav"
        ]
    );
    let usable: Vec<_> = run
        .objects
        .iter()
        .map(|o| o["signal"]["usable"].as_bool().unwrap())
        .collect();
    assert_eq!(usable, [true, false, false, false, false, true]);
    for unreadable in &run.objects[1..4] {
        assert_eq!(codes(unreadable), ["file_unreadable"]);
    }
    assert!(!codes(&run.objects[4]).contains(&"file_unreadable"));
    // One sentence each, the file named.
    let sentences: Vec<_> = run.errors.lines().collect();
    assert_eq!(sentences.len(), 4, "{}", run.errors);
    for (sentence, file) in sentences.iter().zip(&files[1..]) {
        assert!(
            sentence.starts_with("tapewright: ") && sentence.contains(file),
            "{sentence}"
        );
    }
}

#[test]
fn an_unreadable_file_has_its_object_and_its_status() {
    let folder = Folder::new();
    let run = folder.read(&["--reference", "tone:3000", "gone.wav"]);
    assert_eq!(run.status, Some(3));
    let object = &run.objects[0];
    assert_near(&object["reference"]["hz"], 3000.0, 1e-9);
    assert_eq!(codes(object), ["file_unreadable"]);
    assert!(
        object["cautions"][0]["text"]
            .as_str()
            .unwrap()
            .contains("gone.wav")
    );
    assert_eq!(run.errors.lines().count(), 1);

    let run = folder.read(&["--reference", "tone:auto", "."]);
    assert_eq!(run.status, Some(3));
    assert!(run.objects[0]["reference"]["hz"].is_null());
}

#[test]
fn a_sample_rate_that_cannot_carry_a_tone_is_refused() {
    let folder = Folder::new();
    for rate_hz in [0, 1, 7999, 4_000_000] {
        folder.with("rate.wav", &plain(rate_hz, &[0; 4000]));
        let run = folder.read(&["rate.wav"]);
        assert_eq!(run.status, Some(3), "{rate_hz}");
        assert!(
            run.errors
                .contains(&format!("the sample rate is {rate_hz} Hz")),
            "{}",
            run.errors
        );
    }
}

#[test]
fn no_reference_in_a_file_has_its_own_status() {
    let folder = Folder::new();
    folder.with("header only.wav", &plain(RATE, &[]));
    folder.with("silence.wav", &plain(RATE, &vec![0; 5 * 4 * RATE as usize]));
    folder.tone("too short.wav", 3150.0, 0.01);
    for name in ["header only.wav", "silence.wav", "too short.wav"] {
        let run = folder.read(&[name]);
        assert_eq!(run.status, Some(4), "{name}: {}", run.errors);
        assert_eq!(run.objects[0]["signal"]["usable"], false, "{name}");
        assert!(run.errors.contains(name), "{}", run.errors);
    }
}

#[test]
fn a_cut_file_is_measured_as_far_as_it_goes() {
    let folder = Folder::new();
    let whole = plain(RATE, &tone_pcm16(3150.0, RATE, 20.0));
    folder.with("cut.wav", &whole[..whole.len() / 2]);
    let run = folder.read(&["cut.wav"]);
    assert_eq!(run.status, Some(0), "{}", run.errors);
    assert!(codes(&run.objects[0]).contains(&"file_cut_short"));
    assert_near(&run.objects[0]["duration_s"], 10.0, 0.01);
    let text = run.objects[0]["cautions"].to_string();
    assert!(text.contains("10.0 s are missing"), "{text}");
    assert_near(&run.objects[0]["speed"]["deviation_percent"], 0.0, 0.001);
    // What lies before the cut is whole.
    let run = folder.read(&["--to", "8", "cut.wav"]);
    assert!(!codes(&run.objects[0]).contains(&"file_cut_short"));
}

#[test]
fn samples_that_are_no_number_do_not_spread() {
    let folder = Folder::new();
    let mut data = Vec::new();
    for number in 0..8 * RATE {
        let turns = (3150.0 * f64::from(number) / f64::from(RATE)).fract();
        let value = 0.25 * (std::f64::consts::TAU * turns).sin();
        let value = if number == 100_000 { f64::NAN } else { value };
        data.extend_from_slice(&(value as f32).to_le_bytes());
    }
    let bytes = file(&[
        chunk(*b"fmt ", &format_chunk(3, 1, RATE, 32)),
        chunk(*b"data", &data),
    ]);
    folder.with("nan.wav", &bytes);
    let run = folder.read(&["nan.wav"]);
    assert_eq!(run.status, Some(0), "{}", run.errors);
    assert_eq!(run.objects[0]["channel"], "mono");
    assert!(codes(&run.objects[0]).contains(&"samples_replaced"));
    assert_near(&run.objects[0]["speed"]["deviation_percent"], 0.0, 0.001);
}

#[test]
fn a_stretch_can_be_chosen() {
    let folder = Folder::new();
    // 8 s slow, then 8 s fast.
    let mut pcm = tone_pcm16(3118.5, RATE, 8.0);
    pcm.extend(tone_pcm16(3181.5, RATE, 8.0));
    folder.with("two.wav", &plain(RATE, &pcm));
    for (from, to, deviation) in [("0", "8", -1.0), ("8", "16", 1.0), ("8", "99", 1.0)] {
        let run = folder.read(&["--from", from, "--to", to, "two.wav"]);
        assert_near(&run.objects[0]["duration_s"], 8.0, 1e-6);
        assert_near(
            &run.objects[0]["speed"]["deviation_percent"],
            deviation,
            0.001,
        );
    }
    let run = folder.read(&["--from", "20", "two.wav"]);
    assert_eq!(run.status, Some(4));
    assert!(codes(&run.objects[0]).contains(&"record_too_short"));
    assert!(run.errors.contains("ends at 16.0 s"), "{}", run.errors);
    let run = folder.read(&["--from", "5", "--to", "5", "two.wav"]);
    assert_eq!(run.status, Some(2));
    assert_eq!(run.text, "");
}

#[test]
fn the_table_for_people_fits_and_says_the_same() {
    let folder = Folder::new();
    folder.tone("a.wav", 3118.5, 12.0);
    let run = folder.tapewright(&["read", "--reference", "3150", "a.wav", "missing.wav"]);
    assert_eq!(run.status, Some(3));
    assert!(run.text.contains("-1.000"), "{}", run.text);
    assert!(run.text.contains("SLOW"), "{}", run.text);
    // Why a file is missing from it stands on standard error, once.
    assert!(run.text.contains("missing.wav\n  Not read"), "{}", run.text);
    assert!(run.errors.contains("no such file"), "{}", run.errors);
    for line in run.text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    assert!(!run.text.contains('\u{1b}'), "escapes where nobody draws");
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let folder = Folder::new();
    let names: Vec<String> = (0..2000).map(|n| format!("missing-{n}.wav")).collect();
    let mut child = Command::new(env!("CARGO_BIN_EXE_tapewright"))
        .args(["read", "--json"])
        .args(&names)
        .current_dir(folder.0.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    assert_eq!(child.wait().unwrap().code(), Some(0));
}

#[test]
fn a_check_of_the_wiper_keeps_the_contract_and_a_steady_tone_its_speed() {
    let folder = Folder::new();
    for (name, seconds) in [("short.wav", 1.0), ("steady.wav", 3.0), ("long.wav", 20.0)] {
        folder.tone(name, 3150.0, seconds);
        let run = folder.read(&["--sweep", name]);
        let object = &run.objects[0];
        assert_near(&object["speed"]["deviation_percent"], 0.0, 0.01);
        assert!(
            !run.text.contains("was turned through"),
            "{name}: {}",
            run.text
        );
        assert_eq!(object["sweep"]["verdict"], "unclear", "{name}");
    }
    // One channel, swept 6 % down and up twice.
    let mut phase = 0.0f64;
    let samples: Vec<u8> = (0..40 * RATE)
        .flat_map(|n| {
            let at_s = f64::from(n) / f64::from(RATE);
            let speed = 1.0 + 0.06 * (std::f64::consts::TAU * at_s / 20.0).sin();
            phase += std::f64::consts::TAU * 3150.0 * speed / f64::from(RATE);
            ((phase.sin() * 8000.0) as i16).to_le_bytes()
        })
        .collect();
    let format = chunk(*b"fmt ", &format_chunk(1, 1, RATE, 16));
    folder.with("swept.wav", &file(&[format, chunk(*b"data", &samples)]));
    let run = folder.read(&["--sweep", "swept.wav"]);
    let object = &run.objects[0];
    assert_eq!(object["signal"]["usable"], true);
    assert_eq!(object["speed"]["deviation_percent"], Value::Null);
    let told = codes(object);
    assert!(told.contains(&"speed_moved"), "{}", run.text);
    assert!(!told.contains(&"drifting"), "{}", run.text);
    // Wow of a hand at the trimmer is none of the machine's.
    let flutter = object["flutter"].as_object().unwrap();
    assert!(flutter.values().all(Value::is_null), "{}", run.text);
}

#[test]
fn every_file_has_its_object_whatever_it_was_to_be_held_against() {
    let folder = Folder::new();
    folder.tone("a.wav", 3150.0, 2.0);
    folder.tone("b.wav", 3150.0, 2.0);
    folder.with("bad.wav", b"no sound at all, and of no kind");
    folder.with("card.toml", b"tape_card = 1\nname = ");
    for (arguments, status) in [
        (["--reference", "recording:bad.wav"], 3),
        (["--reference", "recording:missing.wav"], 3),
        (["--tape", "missing.toml"], 3),
        (["--tape", "card.toml"], 3),
        // Too short to be found again.
        (["--reference", "recording:b.wav"], 4),
    ] {
        let run = folder.read(&[&arguments[..], &["a.wav", "b.wav"]].concat());
        assert_eq!(run.status, Some(status), "{arguments:?}: {}", run.errors);
        assert_eq!(run.objects.len(), 2, "{arguments:?}: {}", run.text);
        for object in &run.objects {
            assert_eq!(object["signal"]["usable"], false);
            assert!(codes(object).contains(&"reference_not_found"));
        }
    }
}

#[test]
fn no_name_is_the_same_machine_as_no_name() {
    let folder = Folder::new();
    folder.tone("a.wav", 3150.0, 3.0);
    let run = folder.read(&["--machine", "", "--recorded-on", "", "a.wav"]);
    assert!(!codes(&run.objects[0]).contains(&"reference_recorded_here"));
}
