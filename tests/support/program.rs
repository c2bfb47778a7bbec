//! A folder of recordings, the program run in it, and what it answers.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::LazyLock;

use hound::{SampleFormat, WavSpec, WavWriter};
use jsonschema::Validator;
use serde_json::Value;
use tempfile::TempDir;

pub const PROGRAM: &str = env!("CARGO_BIN_EXE_tapewright");

/// What the user may have set for the program, and for these tests, which what is
/// started here does not need.
pub fn users_settings() -> impl Iterator<Item = String> {
    let set = std::env::vars_os().filter_map(|(name, _)| name.into_string().ok());
    set.filter(|name| name.starts_with("TAPEWRIGHT_"))
}

/// The folders for data, settings and the log, where the system names them.
pub const FOLDERS: [&str; 3] = ["XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME"];

/// The program with a line of arguments; what stands between apostrophes is one.
pub fn program(line: &str) -> Command {
    let mut command = Command::new(PROGRAM);
    for name in users_settings() {
        command.env_remove(name);
    }
    for (nth, part) in line.split('\'').enumerate() {
        if nth % 2 == 1 {
            command.arg(part);
        } else {
            command.args(part.split_whitespace());
        }
    }
    command
}

/// Gone when dropped.
pub struct Folder(TempDir);

impl Folder {
    pub fn new() -> Self {
        Self(tempfile::tempdir().expect("a folder"))
    }

    pub fn root(&self) -> &Path {
        self.0.path()
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.root().join(name)
    }

    pub fn with(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        fs::write(&path, bytes).expect("room");
        path
    }

    /// A recording of one channel or two, as long as the shorter.
    pub fn write(&self, name: &str, rate_hz: u32, channels: &[&[f32]]) {
        let count = channels.iter().map(|it| it.len()).min().unwrap_or(0);
        let frames = (0..count).flat_map(|n| channels.iter().map(move |it| it[n]));
        write_wav(&self.path(name), rate_hz, channels.len() as u16, frames);
    }

    /// A named pipe, as a shell makes one.
    pub fn pipe(&self, name: &str) -> PathBuf {
        let path = self.path(name);
        let made = Command::new("mkfifo").arg(&path).status();
        assert!(made.is_ok_and(|made| made.success()), "no pipe at {name}");
        path
    }

    pub fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.root()).expect("it is there");
        let names = entries.map(|it| it.expect("an entry").file_name().into_string());
        let mut names: Vec<String> = names.map(|it| it.expect("UTF-8")).collect();
        names.sort();
        names
    }

    /// The program in this folder, which holds its data too.
    pub fn command(&self, line: &str) -> Command {
        let mut command = program(line);
        self.settle(&mut command);
        command
    }

    /// What runs in this folder reads and writes nothing of the user's.
    pub fn settle(&self, command: &mut Command) {
        for name in users_settings() {
            command.env_remove(name);
        }
        command
            .current_dir(self.root())
            .env("HOME", self.root())
            .env("XDG_DATA_HOME", self.path("data"))
            .env("XDG_CONFIG_HOME", self.path("config"))
            .env("XDG_STATE_HOME", self.path("state"))
            .env("LC_ALL", "C.UTF-8")
            .stdin(Stdio::null());
    }

    pub fn run(&self, line: &str) -> Answer {
        Answer::of(&mut self.command(line))
    }

    /// `read --json` with these.
    pub fn read(&self, line: &str) -> Answer {
        self.run(&format!("read --json {line}"))
    }

    /// The object of a recording that can be measured.
    #[track_caller]
    pub fn measured(&self, line: &str) -> Value {
        let read = self.read(line);
        read.ends(0);
        read.object
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

/// What the program answered. Each object keeps the published contract.
#[derive(Debug)]
pub struct Answer {
    pub status: Option<i32>,
    pub text: String,
    pub errors: String,
    /// One a line, where the text is JSON.
    pub objects: Vec<Value>,
    /// The first of them, or null.
    pub object: Value,
}

impl Answer {
    #[track_caller]
    pub fn of(command: &mut Command) -> Self {
        Self::from(command.output().expect("the program runs"))
    }

    #[track_caller]
    pub fn from(output: Output) -> Self {
        let [text, errors] =
            [output.stdout, output.stderr].map(|it| String::from_utf8(it).expect("UTF-8"));
        let lines = text.lines().filter(|_| text.starts_with('{'));
        let objects = lines.map(|line| serde_json::from_str(line).expect("JSON"));
        let objects: Vec<Value> = objects.collect();
        for object in &objects {
            assert_eq!(breaches(object), [""; 0], "{object}");
        }
        Self {
            status: output.status.code(),
            object: objects.first().cloned().unwrap_or_default(),
            text,
            errors,
            objects,
        }
    }

    /// All that it said, in one line.
    pub fn said(&self) -> String {
        [&self.text, &self.errors]
            .map(|it| in_one_line(it))
            .join(" ")
    }

    #[track_caller]
    pub fn ends(&self, status: i32) -> &Self {
        assert_eq!(self.status, Some(status), "{}", self.said());
        self
    }

    /// All of these words on standard output, however they fall into lines.
    #[track_caller]
    pub fn says(&self, words: &[&str]) -> &Self {
        self.has(&self.text, words)
    }

    /// All of these words on standard error.
    #[track_caller]
    pub fn complains(&self, words: &[&str]) -> &Self {
        self.has(&self.errors, words)
    }

    #[track_caller]
    fn has(&self, stream: &str, words: &[&str]) -> &Self {
        let stream = in_one_line(stream);
        for words in words {
            assert!(stream.contains(words), "no \"{words}\": {}", self.said());
        }
        self
    }

    #[track_caller]
    pub fn never_says(&self, words: &[&str]) -> &Self {
        let said = self.said();
        for words in words {
            assert!(!said.contains(words), "\"{words}\": {said}");
        }
        self
    }
}

fn in_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The schema of `read --json`, as it is published.
pub fn schema() -> Value {
    serde_json::from_str(include_str!("../../assets/reading.schema.json")).expect("JSON")
}

/// What the schema has against a line. Scripts are promised that keys may be
/// added; what this version writes is described to the last key all the same.
pub fn breaches(line: &Value) -> Vec<String> {
    static STRICT: LazyLock<Validator> = LazyLock::new(|| {
        let mut described = schema();
        strict(&mut described);
        validator(&described)
    });
    breaches_of(&STRICT, line)
}

/// The same of the schema as it is published.
pub fn published_breaches(line: &Value) -> Vec<String> {
    static PUBLISHED: LazyLock<Validator> = LazyLock::new(|| validator(&schema()));
    breaches_of(&PUBLISHED, line)
}

fn validator(schema: &Value) -> Validator {
    jsonschema::draft202012::new(schema).expect("a sound schema")
}

fn breaches_of(validator: &Validator, line: &Value) -> Vec<String> {
    let errors = validator.iter_errors(line);
    errors
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect()
}

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

#[track_caller]
pub fn number(value: &Value) -> f64 {
    let number = value.as_f64();
    number.unwrap_or_else(|| panic!("{value} is no number"))
}

#[track_caller]
pub fn deviation(object: &Value) -> f64 {
    number(&object["speed"]["deviation_percent"])
}

pub fn codes(object: &Value) -> Vec<&str> {
    let cautions = object["cautions"].as_array().into_iter().flatten();
    cautions.filter_map(|it| it["code"].as_str()).collect()
}

pub fn has(object: &Value, code: &str) -> bool {
    codes(object).contains(&code)
}

/// What a caution says.
pub fn caution<'a>(object: &'a Value, code: &str) -> Option<&'a str> {
    let mut cautions = object["cautions"].as_array()?.iter();
    cautions.find(|it| it["code"] == code)?["text"].as_str()
}

/// A recording of interleaved samples, 32 bit.
pub fn write_wav(path: &Path, rate_hz: u32, channels: u16, samples: impl IntoIterator<Item = f32>) {
    let spec = WavSpec {
        channels,
        sample_rate: rate_hz,
        bits_per_sample: 32,
        sample_format: SampleFormat::Float,
    };
    let mut writer = WavWriter::create(path, spec).expect("a file");
    for sample in samples {
        writer.write_sample(sample).expect("room");
    }
    writer.finalize().expect("room");
}

/// A tone of half amplitude whose speed is a ratio at each time.
pub fn tone(rate_hz: u32, seconds: f64, hz: f64, speed: impl Fn(f64) -> f64) -> Vec<f32> {
    let mut turns = 0.0f64;
    let rate = f64::from(rate_hz);
    (0..(seconds * rate).round() as usize)
        .map(|n| {
            turns = (turns + hz * speed(n as f64 / rate) / rate).fract();
            (0.5 * (std::f64::consts::TAU * turns).sin()) as f32
        })
        .collect()
}
