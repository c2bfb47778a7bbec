//! `tapewright read` tells the speed at the start, in the middle and at the
//! end of a long recording, as text and in JSON, and is silent about the tape
//! where the recording is short.

use std::path::Path;
use std::process::Command;

use serde_json::Value;
use tapewright::rehearsal::{MachineConfig, SimulatedMachine};

/// What a deck plays whose speed falls by half a percent a minute.
fn recording(path: &Path, seconds: u32) {
    let config = MachineConfig {
        channels: 1,
        pack_percent_per_min: -0.5,
        ..MachineConfig::deck()
    };
    let rate = config.rate_hz;
    let mut machine = SimulatedMachine::new(config, 5);
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    let mut block = vec![0.0; rate as usize];
    for _ in 0..seconds {
        machine.fill(&mut block);
        for sample in &block {
            let sample = (f64::from(*sample) * 32_767.0).round() as i16;
            writer.write_sample(sample).unwrap();
        }
    }
    writer.finalize().unwrap();
}

fn read(path: &Path, more: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_tapewright"))
        .arg("read")
        .args(more)
        .arg(path)
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn a_long_recording_is_told_by_its_thirds() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("side-a.wav");
    recording(&path, 72);
    let line = read(&path, &["--json"]);
    let object: Value = serde_json::from_str(&line).unwrap();
    let schema = std::fs::read_to_string("assets/reading.schema.json").unwrap();
    let schema = serde_json::from_str(&schema).unwrap();
    assert!(jsonschema::is_valid(&schema, &object), "{line}");
    let along = &object["along"];
    let at = |place: &str| along[place]["deviation_percent"].as_f64().unwrap();
    // The middles of the thirds: 12, 36 and 60 s at half a percent a minute.
    for (place, truth) in [("start", -0.1), ("middle", -0.3), ("end", -0.5)] {
        assert!((at(place) - truth).abs() < 0.03, "{place}: {along}");
        assert!(along[place]["uncertainty_percent"].as_f64().unwrap() < 0.1);
    }
    let change = along["change_percent"].as_f64().unwrap();
    let known = along["change_uncertainty_percent"].as_f64().unwrap();
    assert!((change + 0.4).abs() < known.max(0.03), "{along}");
    assert_eq!(along["sloping"], true, "{along}");
    let text = read(&path, &[]);
    let told = text.lines().find(|line| line.contains("Along"));
    assert!(
        told.is_some_and(|line| line.contains("start -0.1")),
        "{text}"
    );
}

#[test]
fn a_short_recording_says_nothing_of_the_tape() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("short.wav");
    recording(&path, 20);
    let object: Value = serde_json::from_str(&read(&path, &["--json"])).unwrap();
    assert_eq!(object.get("along"), None);
    assert!(!read(&path, &[]).contains("Along"));
}
