//! Hours of simulated tape, as fast as they go: through ring, analysis thread
//! and log without a break, and one stretch again and again through the engine.

#![allow(clippy::unwrap_used)] // in a test, a panic is the answer

use std::f64::consts::TAU;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel, sync_channel};
use std::thread;
use std::time::{Duration, Instant};

use super::{figures, memory, sound, tunes};
use tapewright::audio::LogFeed;
use tapewright::audio::analysis::{Analysis, LiveState, Request};
use tapewright::audio::ring::{RingWriter, ring};
use tapewright::audio::source::{SourceEvent, StreamFormat};
use tapewright::readings::matching::Copy;
use tapewright::readings::{
    ChannelChoice, Conditions, Engine, KeepRequest, Keeping, Measurement, Reading, ReferenceKind,
    Target, ToneState,
};
use tapewright::rehearsal::{FlutterLine, Follows, MachineConfig, SimulatedMachine};
use tapewright::report::LogLine;
use tapewright::units::{Percent, Ppm, Seconds};

const RATE_HZ: u32 = 48_000;
const CHANNELS: usize = 2;

/// The speed comes and goes by this much, over this time.
const SWAY_PERCENT: f64 = 0.3;
const SWAY_S: f64 = 4.0 * 3600.0;

/// Nothing waits longer than this for the analysis, however busy the computer.
const PATIENCE: Duration = Duration::from_secs(120);

const KEPT: KeepRequest = KeepRequest {
    at_least: Seconds(20.0),
    at_most: Seconds(40.0),
};

const MINUTE: Seconds = Seconds(60.0);

/// After a move flutter is held back this long: a little more than its filters take.
const SETTLED_AGAIN: Seconds = Seconds(10.0);

/// Of a machine that is left alone a move is seen in no more than this part of the
/// minutes. A choice: two days had 39 such minutes of 2880.
const MOST_MOVES: f64 = 0.02;

/// In this minute of each hour, from 0: before the first there is no engine to
/// ask.
const KEPT_IN: u64 = 1;

/// A portable at 48 kHz in stereo whose speed sways over hours as the room warms
/// and cools.
fn machine() -> SimulatedMachine {
    let mut config = MachineConfig {
        cold_percent: 0.0,
        pack_percent_per_min: 0.0,
        ..MachineConfig::portable()
    };
    config.flutter.lines.push(FlutterLine {
        start_turns: Some(0.0),
        follows: Follows::Nothing,
        ..FlutterLine::new(1.0 / SWAY_S, SWAY_PERCENT)
    });
    SimulatedMachine::new(config, 48)
}

/// True mean deviation in percent at a time.
fn true_percent(at_s: f64) -> f64 {
    SWAY_PERCENT * (TAU * at_s / SWAY_S).sin()
}

/// Memory of this process in kilobytes.
fn memory_kb() -> u64 {
    memory::resident_kib("self").unwrap()
}

/// What an hour came to.
#[derive(Clone, Debug, Default)]
pub struct Hour {
    /// Error of the digits over their ±, at the end of each minute.
    pub errors: Vec<f64>,
    /// The error itself, percent.
    pub errors_percent: Vec<f64>,
    /// Weighted flutter, percent.
    pub flutter_percent: Vec<f64>,
    /// Minutes after which a move had just been seen, though nobody made one.
    pub moves: usize,
    /// Error over its ± of what was kept near its beginning.
    pub kept_error: f64,
    /// At its end.
    pub memory_kb: u64,
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

impl Hour {
    pub fn mean_error_percent(&self) -> f64 {
        mean(&self.errors_percent)
    }

    pub fn mean_flutter_percent(&self) -> f64 {
        mean(&self.flutter_percent)
    }
}

/// The whole path, and the end of it that the tape is played into.
struct Bench {
    machine: SimulatedMachine,
    writer: RingWriter,
    analysis: Analysis,
    log: Receiver<LogLine>,
    block: Vec<f32>,
    seconds: u64,
    sequence: u64,
    // Held, so that the source counts as being there.
    _events: Sender<SourceEvent>,
}

impl Bench {
    fn new() -> Self {
        let (events, source) = channel();
        let (lines, log) = sync_channel(256);
        let mut conditions = Conditions::default();
        // The simulated clock is right: the ± is that of the tape alone.
        conditions.clock.uncertainty = Ppm(0.0);
        let analysis = Analysis::start(
            source,
            conditions,
            ChannelChoice::Auto,
            Percent(0.5),
            Target::Frequency,
            None,
            Some(LogFeed::new(lines)),
        );
        let (writer, reader) = ring(2 * RATE_HZ as usize, CHANNELS as u16);
        let connected = SourceEvent::Connected {
            format: StreamFormat {
                rate_hz: RATE_HZ,
                channels: CHANNELS as u16,
            },
            reader,
            name: "simulated".into(),
            may_be_another: false,
        };
        events.send(connected).unwrap();
        Self {
            machine: machine(),
            writer,
            analysis: analysis.unwrap(),
            log,
            block: vec![0.0; RATE_HZ as usize / 10 * CHANNELS],
            seconds: 0,
            sequence: 0,
            _events: events,
        }
    }

    /// Plays a minute and waits until it has been measured to its last sample.
    fn minute(&mut self) -> Arc<LiveState> {
        for _ in 0..60 * 10 {
            self.machine.fill(&mut self.block);
            let pause = Duration::from_micros(500);
            assert!(self.writer.push_all(&self.block, pause));
        }
        self.seconds += 60;
        let frames = self.seconds * u64::from(RATE_HZ);
        assert_eq!(self.machine.frames(), frames);
        // To the last bit: the counter of samples and nothing else.
        let at_s = frames as f64 / f64::from(RATE_HZ);
        let begun = Instant::now();
        loop {
            let state = self.analysis.newest();
            let reading = state.reading.as_ref();
            if reading.is_some_and(|it| it.at.0.to_bits() == at_s.to_bits()) {
                assert!(state.sequence > self.sequence);
                self.sequence = state.sequence;
                self.read_log();
                return state;
            }
            let now_s = reading.map(|it| it.at.0);
            assert!(begun.elapsed() < PATIENCE, "{now_s:?}, not {at_s}");
            thread::sleep(Duration::from_micros(200));
        }
    }

    /// Each second once, each minute once.
    fn read_log(&self) {
        let (mut seconds, mut minutes) = (Vec::new(), 0);
        for line in self.log.try_iter() {
            match line {
                LogLine::Second(second) => seconds.push(second.at_s),
                LogLine::Lines(_) => minutes += 1,
            }
        }
        let wanted: Vec<u64> = (self.seconds - 59..=self.seconds).collect();
        assert_eq!((seconds, minutes), (wanted, 1));
    }

    fn hour(&mut self, minutes: u64) -> Hour {
        let mut hour = Hour::default();
        for minute in 0..minutes {
            if minute == KEPT_IN {
                self.analysis.ask(Request::Keep(KEPT));
            }
            let state = self.minute();
            let reading = state.reading.as_ref().unwrap();
            undisturbed(&state, reading);
            let speed = reading.speed.unwrap();
            let middle_s = self.seconds as f64 - speed.averaged.0 / 2.0;
            let error = speed.deviation.0 - true_percent(middle_s);
            hour.errors.push(error / speed.uncertainty.unwrap().0);
            hour.errors_percent.push(error);
            // After a move the filters settle again.
            let flutter = reading.flutter.weighted_two_sigma;
            assert!(
                flutter.is_some() || speed.since_move < SETTLED_AGAIN,
                "{reading:?}"
            );
            hour.flutter_percent.extend(flutter.map(|it| it.0));
            hour.moves += usize::from(self.seconds > 60 && speed.since_move < MINUTE);
            if minute == KEPT_IN {
                hour.kept_error = self.kept(reading);
            }
        }
        hour.memory_kb = memory_kb();
        hour
    }

    /// Error over its ± of what was kept in this minute.
    fn kept(&mut self, reading: &Reading) -> f64 {
        let Some(Keeping::Done(kept)) = &reading.keeping else {
            panic!("{:?}", reading.keeping);
        };
        self.analysis.ask(Request::ForgetKept);
        let speed = kept.speed.unwrap();
        // It was kept somewhere within the minute: what sways meanwhile is
        // added to its ±.
        let sways = TAU / SWAY_S * SWAY_PERCENT * 30.0;
        let truth = true_percent(self.seconds as f64 - 30.0);
        (speed.deviation.0 - truth) / (speed.uncertainty.unwrap().0 + sways)
    }
}

/// Nothing has happened: one tone from the first second on.
fn undisturbed(state: &LiveState, reading: &Reading) {
    assert_eq!(state.overrun_frames, 0);
    assert_eq!(reading.tone, ToneState::Locked);
    assert_eq!(figures::faults(state), Vec::<String>::new());
    let signal = &reading.signal;
    assert_eq!((signal.gaps, signal.clipped_samples), (0, 0));
    assert_eq!(signal.dropouts, 0);
}

/// Plays hours of this many minutes each, and checks at every minute that every
/// sample and every second of the log was counted.
pub fn played(hours: u64, minutes: u64) -> Vec<Hour> {
    let mut bench = Bench::new();
    (0..hours).map(|_| bench.hour(minutes)).collect()
}

/// The digits keep their ± and come to the truth on average, in the last hour
/// as in the first; flutter stays what it is.
pub fn steady(hours: &[Hour]) {
    let errors: Vec<f64> = hours.iter().flat_map(|it| it.errors.clone()).collect();
    let beyond = errors.iter().filter(|it| it.abs() > 1.0).count();
    assert!(
        beyond as f64 <= 0.08 * errors.len() as f64 + 1.0,
        "{beyond}"
    );
    let moves: usize = hours.iter().map(|it| it.moves).sum();
    assert!(moves as f64 <= MOST_MOVES * errors.len() as f64, "{moves}");
    let all = mean(
        &hours
            .iter()
            .map(Hour::mean_flutter_percent)
            .collect::<Vec<_>>(),
    );
    for (number, hour) in (1..).zip(hours) {
        assert!(hour.errors.iter().all(|it| it.abs() < 3.0), "hour {number}");
        assert!(
            hour.kept_error.abs() < 2.0,
            "hour {number}: {}",
            hour.kept_error
        );
        let error = hour.mean_error_percent();
        assert!(error.abs() < 0.005, "hour {number}: {error} %");
        let flutter = hour.mean_flutter_percent() / all;
        assert!((flutter - 1.0).abs() < 0.1, "hour {number}: {flutter}");
    }
}

/// The figures of a reading that have no memory beyond the tone that is
/// followed, to the last digit.
fn figures(reading: &Reading) -> String {
    let Reading {
        tone,
        speed,
        drift,
        worth,
        flutter,
        lines,
        channels,
        holding,
        guidance,
        ..
    } = reading;
    format!(
        "{tone:?} {speed:?} {drift:?} {worth:?} {flutter:?} {lines:?} {channels:?} \
         {holding:?} {guidance:?}"
    )
}

/// What an engine says each time of a stretch that it hears again and again, a
/// break before each.
pub struct Repeated {
    /// Of every tenth time, memory in kilobytes.
    pub memory_kb: Vec<u64>,
    /// Times that were not told as the second one, to the last digit.
    pub otherwise: Vec<String>,
    pub times: u64,
    /// Of all of it.
    pub whole: Measurement,
}

/// Seconds of the stretch.
pub const STRETCH_S: u64 = 40;

/// Repeats it for this long.
pub fn repeated(seconds: u64) -> Repeated {
    let mut stretch = vec![0.0; (STRETCH_S * u64::from(RATE_HZ)) as usize * CHANNELS];
    machine().fill(&mut stretch);
    let mut engine = sound::engine(sound::settings(RATE_HZ, CHANNELS as u16));
    // Left on by somebody who went home.
    engine.begin_sweep();
    let times = seconds / STRETCH_S;
    let (mut told, mut otherwise) = (None, Vec::new());
    let mut memory = Vec::new();
    for time in 0..times {
        engine.gap(0);
        engine.push(&stretch);
        let reading = engine.reading();
        let at_s = ((time + 1) * STRETCH_S) as f64;
        assert_eq!(reading.at.0.to_bits(), at_s.to_bits());
        assert_eq!(reading.signal.gaps, time + 1);
        let now = figures(&reading);
        if time > 0 {
            let first = told.get_or_insert_with(|| now.clone());
            if *first != now {
                otherwise.push(format!("{at_s} s:\n{first}\n{now}"));
            }
        }
        if time % 10 == 9 {
            memory.push(memory_kb());
        }
    }
    Repeated {
        memory_kb: memory,
        otherwise,
        times,
        whole: engine.measurement(),
    }
}

/// What is left on overnight beside a tone, each by its name.
pub const LEFT_ON: [&str; 4] = ["a note", "a passage", "marks", "a familiar recording"];

/// Memory in kilobytes after each of these hours of one of [`LEFT_ON`], its
/// sound coming again and again.
pub fn left_on(which: usize, hours: u64) -> Vec<u64> {
    let rate_hz = tunes::RATE_HZ;
    let music = tunes::tune(21, 4, 60.0);
    let note = |n: u32| {
        let t = f64::from(n) / f64::from(rate_hz);
        let partials = (1..6).map(|k| sound::sine(440.0 * f64::from(k) * t) / f64::from(k));
        0.2 * partials.sum::<f64>() as f32
    };
    let click = |n: u32| f32::from(u8::from(n % (rate_hz / 4) < 16));
    let a_minute = 0..60 * rate_hz;
    let (kind, target, minute) = match which {
        0 => (
            ReferenceKind::Note,
            Target::Frequency,
            a_minute.map(note).collect(),
        ),
        1 => (ReferenceKind::Passage, Target::Time(Seconds(20.0)), music),
        2 => (
            ReferenceKind::Marks,
            Target::Time(Seconds(0.25)),
            a_minute.map(click).collect(),
        ),
        _ => {
            let copy = Copy::prepare(&music, rate_hz).unwrap();
            (
                ReferenceKind::Recording,
                Target::Copy(Arc::new(copy)),
                music,
            )
        }
    };
    let minute: Vec<f32> = minute;
    let mut settings = sound::settings_at(rate_hz, 1, 440.0);
    settings.conditions.kind = kind;
    let mut engine = Engine::by(settings, target).unwrap();
    // A passage needs silence before it.
    engine.push(&vec![0.0; 3 * rate_hz as usize]);
    let mut an_hour = || {
        for minute in std::iter::repeat_n(&minute, 60) {
            minute
                .chunks(rate_hz as usize / 20)
                .for_each(|block| engine.push(block));
            assert_eq!(figures::faults(&engine.reading()), Vec::<String>::new());
        }
        memory_kb()
    };
    (0..hours).map(|_| an_hour()).collect()
}

impl Repeated {
    /// Nothing was told otherwise, and all of it adds up.
    pub fn check(&self) {
        let some = &self.otherwise[..self.otherwise.len().min(2)];
        assert!(
            some.is_empty(),
            "{} of {}: {some:#?}",
            self.otherwise.len(),
            self.times
        );
        let whole = &self.whole;
        let seconds = (self.times * STRETCH_S) as f64;
        assert_eq!(whole.duration.0.to_bits(), seconds.to_bits());
        assert_eq!(whole.signal.gaps, self.times);
        // Its place within the sway, which hardly shows in so short a stretch.
        let error = whole.speed.unwrap().deviation.0 - true_percent(STRETCH_S as f64 / 2.0);
        assert!(error.abs() < 0.02, "{error}");
        assert!(whole.track.as_ref().unwrap().speed.len() <= 1 << 14);
    }
}
