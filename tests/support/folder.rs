//! A folder of recordings, and the program run in it.

use std::path::PathBuf;
use std::process::{Command, Output};

use hound::{SampleFormat, WavSpec, WavWriter};
use serde_json::Value;
use tempfile::TempDir;

/// Gone when dropped.
pub struct Folder(TempDir);

/// What came of reading a file.
pub struct Run {
    pub status: Option<i32>,
    pub object: Value,
    pub errors: String,
}

impl Folder {
    pub fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// A file of one channel or two, as long as the shorter.
    pub fn write(&self, name: &str, rate_hz: u32, channels: &[&[f32]]) {
        let spec = WavSpec {
            channels: channels.len() as u16,
            sample_rate: rate_hz,
            bits_per_sample: 32,
            sample_format: SampleFormat::Float,
        };
        let mut writer = WavWriter::create(self.path(name), spec).unwrap();
        let count = channels.iter().map(|samples| samples.len()).min().unwrap();
        for n in 0..count {
            for channel in channels {
                writer.write_sample(channel[n]).unwrap();
            }
        }
        writer.finalize().unwrap();
    }

    pub fn tapewright(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_tapewright"))
            .args(arguments)
            .current_dir(self.0.path())
            .output()
            .unwrap()
    }

    /// `read --json` with these.
    pub fn read(&self, arguments: &[&str]) -> Run {
        let output = self.tapewright(&[&["read", "--json"], arguments].concat());
        let text = String::from_utf8(output.stdout).unwrap();
        Run {
            status: output.status.code(),
            object: serde_json::from_str(text.trim_end()).unwrap_or(Value::Null),
            errors: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// Makes `to` out of `from`, `factor` times as fast, by another program,
    /// which resamples with an ear of its own; false where it is not there.
    pub fn sped_up_by_sox(&self, from: &str, to: &str, factor: f64, rate_hz: u32) -> bool {
        let made = Command::new("sox")
            .arg(self.path(from))
            .arg(self.path(to))
            .args(["speed", &factor.to_string()])
            .args(["rate", "-v", &rate_hz.to_string()])
            .output();
        let done = made.is_ok_and(|made| made.status.success());
        assert!(
            done || std::env::var("TAPEWRIGHT_REQUIRE_LIVE").as_deref() != Ok("1"),
            "sox is not there"
        );
        if !done {
            eprintln!("SKIPPED: sox is not there");
        }
        done
    }
}

pub fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}
