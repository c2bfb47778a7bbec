//! Readings with known figures for the tests of this floor.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use ratatui_core::buffer::Buffer;
use ratatui_core::layout::Rect;

use super::state::job::{OpenJob, Saved};
use super::state::{Kept, ScreenState, Setup, Slot, SourceKind};
use crate::audio::analysis::{LiveState, SourceState};
use crate::audio::source::StreamFormat;
use crate::readings::{
    BadSpot, ChannelUsed, Conditions, DriftReading, FlutterLine, FlutterLines, FlutterReading,
    Guidance, LineAt, LineCourse, LineMotion, Measurement, Nominal, Problem, Reading,
    SPECTRUM_CELLS, SPECTRUM_HZ, SignalFigures, SignalHealth, SpeedFigures, SpeedReading, SpotKind,
    SpotSeen, Steadiness, ToneState, UncertaintyParts,
};
use crate::records::{About, Entry as RecordEntry, JobFile, Label, Snapshot};
use crate::references::{MachineClass, Reference};
use crate::screen::Look;
use crate::units::{Decibels, Hertz, Percent, Seconds};

pub(super) fn speed(deviation: f64) -> SpeedReading {
    SpeedReading {
        deviation: Percent(deviation),
        measured: Some(Hertz(3150.0 * (1.0 + deviation / 100.0))),
        uncertainty: Some(Percent(0.02)),
        uncertainty_with_reference: None,
        scatter: Some(Percent(0.01)),
        needle: Percent(deviation + 0.05),
        averaged: Seconds(12.4),
        steadiness: Steadiness::Settled,
        since_move: Seconds(12.6),
    }
}

pub(super) fn flutter() -> FlutterReading {
    FlutterReading {
        weighted_two_sigma: Some(Percent(0.121)),
        weighted_two_sigma_uncertainty: Some(Percent(0.008)),
        weighted_peak: Some(Percent(0.142)),
        wow_rms: Some(Percent(0.1)),
        flutter_rms: Some(Percent(0.05)),
        ..FlutterReading::default()
    }
}

fn drift() -> DriftReading {
    DriftReading {
        percent_per_minute: 0.021,
        uncertainty_percent_per_minute: Some(0.015),
        span: Some(Percent(0.03)),
    }
}

pub(super) fn reading(deviation: f64) -> Reading {
    let trend = (0..240)
        .map(|at| (at % 60 != 7).then(|| Percent(deviation + f64::from(at % 9) * 0.02)))
        .collect();
    Reading {
        at: Seconds(120.0),
        tone: ToneState::Locked,
        signal: SignalHealth {
            channel: ChannelUsed::Both,
            input_level: vec![Decibels(-12.1), Decibels(-12.4)],
            input_peak: vec![Decibels(-9.0), Decibels(-9.4)],
            tone_level: Some(Decibels(-12.2)),
            snr: Some(Decibels(57.9)),
            clipped_samples: 0,
            since_clip: None,
            dropouts: 0,
            gaps: 0,
            problems: Vec::new(),
        },
        nominal: Some(Hertz(3150.0)),
        place: None,
        timed: None,
        speed: Some(speed(deviation)),
        drift: Some(drift()),
        worth: None,
        flutter: flutter(),
        lines: None,
        channels: None,
        channels_now: None,
        trend,
        keeping: None,
        guidance: Guidance::default(),
        sweep: None,
        holding: None,
        ident: None,
    }
}

/// A leap of half a percent on both ways.
pub(super) fn bad_spot(at: f64) -> BadSpot {
    BadSpot {
        at: Percent(at),
        depth: Some(Percent(0.5)),
        kind: SpotKind::Jump,
        seen: SpotSeen::Both,
        times: Vec::new(),
    }
}

/// A capstan, its second harmonic and a slow line; the spectrum has them.
pub(super) fn lines() -> FlutterLines {
    let line = |hz: f64, peak: f64, share: f64| FlutterLine {
        hz: Hertz(hz),
        hz_uncertainty: Hertz(0.002),
        peak: Percent(peak),
        peak_uncertainty: Percent(0.002),
        weighted_share: share,
        motion: LineMotion::NotTold,
        course: Some(LineCourse::Growing),
        chirp: None,
        windows: (0..5)
            .map(|at| LineAt {
                at: Seconds(33.0 * f64::from(at + 1)),
                hz: Hertz(hz),
                peak: Percent(peak * (0.5 + 0.1 * f64::from(at))),
            })
            .collect(),
        parts: Vec::new(),
    };
    let lines = vec![
        line(7.51, 0.162, 0.62),
        line(15.02, 0.034, 0.11),
        line(0.47, 0.043, 0.02),
        line(33.3, 0.021, 0.04),
    ];
    let octave = (SPECTRUM_HZ[1] / SPECTRUM_HZ[0]).ln();
    let cell = |hz: f64| ((hz / SPECTRUM_HZ[0]).ln() / octave * SPECTRUM_CELLS as f64) as usize;
    let mut spectrum = vec![0.002f32; SPECTRUM_CELLS];
    for line in &lines {
        spectrum[cell(line.hz.0)] = line.peak.0 as f32;
    }
    FlutterLines {
        lines,
        seen: Seconds(64.0),
        reach: [Hertz(0.1), Hertz(200.0)],
        smallest: [
            Some(Percent(0.004)),
            Some(Percent(0.003)),
            Some(Percent(0.002)),
        ],
        no_line_slow: 0.1,
        no_line_fast: 0.2,
        card: None,
        spectrum: spectrum.into(),
    }
}

/// No tone, no figures.
pub(super) fn silence() -> Reading {
    let mut reading = reading(0.0);
    reading.tone = ToneState::Searching;
    reading.speed = None;
    reading.drift = None;
    reading.flutter = FlutterReading {
        valid_in: Some(Seconds(9.0)),
        ..FlutterReading::default()
    };
    reading.trend = Arc::from([]);
    reading.signal.snr = None;
    reading.signal.tone_level = None;
    reading.signal.input_level = vec![Decibels(f64::NEG_INFINITY); 2];
    reading.signal.input_peak = vec![Decibels(f64::NEG_INFINITY); 2];
    reading.signal.problems = vec![Problem::NoSignal];
    reading
}

pub(super) fn ambiguous() -> Problem {
    Problem::Ambiguous {
        taken: Hertz(3000.0),
        other: Hertz(3150.0),
    }
}

/// Somebody is to say which of two tones it is.
pub(super) fn asking(deviation: f64) -> ScreenState {
    let mut reading = reading(deviation);
    reading.signal.problems = vec![ambiguous()];
    let mut state = showing(reading);
    state.conditions.nominal = Nominal::Nearest;
    state
}

pub(super) fn measurement(deviation: f64) -> Measurement {
    Measurement {
        duration: Seconds(20.0),
        rate_hz: 48_000,
        channel: ChannelUsed::Both,
        conditions: Conditions::default(),
        nominal: Some(Hertz(3150.0)),
        signal: SignalFigures {
            usable: true,
            level: Some(Decibels(-12.2)),
            snr: Some(Decibels(57.9)),
            ..SignalFigures::default()
        },
        speed: Some(SpeedFigures {
            measured: Some(Hertz(3150.0 * (1.0 + deviation / 100.0))),
            deviation: Percent(deviation),
            uncertainty: Some(Percent(0.02)),
            uncertainty_with_reference: None,
            parts: UncertaintyParts {
                noise: None,
                wow: None,
                wow_freedom: None,
                partials: None,
                clock: Percent(0.01),
                reference: None,
            },
        }),
        drift: Some(drift()),
        flutter: flutter(),
        ..Measurement::default()
    }
}

/// A snapshot.
pub(super) fn kept(slot: Slot, deviation: f64) -> Kept {
    Kept {
        tolerance: MachineClass::Deck.tolerance(),
        slot,
        measurement: Arc::new(measurement(deviation)),
        machine: None,
        supply_volts: None,
        tape: None,
        recorded_on: None,
        is_new: true,
        run: None,
        wiper: None,
        wiper_at_first: None,
        wiper_cleanings: None,
        source: "Line In".to_owned(),
    }
}

/// A job of this machine; each has a file of its own.
pub(super) fn job_of(machine: &str, snapshots: Vec<Snapshot>) -> OpenJob {
    job_named(&format!("job of {machine}"), Some(machine), snapshots)
}

/// A job that says this of its machine.
pub(super) fn job_saying(name: &str, said: &[(About, &str)]) -> OpenJob {
    job_with(name, said, Vec::new())
}

fn job_named(name: &str, machine: Option<&str>, snapshots: Vec<Snapshot>) -> OpenJob {
    let said: Vec<_> = machine.map(|it| (About::Machine, it)).into_iter().collect();
    job_with(name, &said, snapshots)
}

fn job_with(name: &str, said: &[(About, &str)], snapshots: Vec<Snapshot>) -> OpenJob {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    let folder = tempfile::tempdir().expect("a folder");
    let (mut file, _) = JobFile::open(folder.path().join("job.jsonl")).expect("free");
    let (opened, simulated) = (name.to_owned(), false);
    let opened = RecordEntry::Opened {
        name: opened,
        simulated,
    };
    file.add(opened).expect("room");
    for (about, words) in said {
        file.say(*about, words).expect("room");
    }
    for mut snapshot in snapshots {
        snapshot.machine = file.job().machine().map(str::to_owned);
        let entry = RecordEntry::Snapshot(Box::new(snapshot));
        file.add(entry).expect("room");
    }
    OpenJob {
        path: format!("/data/jobs/{count}.jsonl").into(),
        job: Arc::new(file.job().clone()),
        sheet: format!("tapewright sheet {name:?}"),
    }
}

/// What comes of saving into the job of a machine, whose name was corrected
/// meanwhile or not.
pub(super) fn saved_under(machine: &str, corrected: Option<&str>) -> Saved {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut file, _) = JobFile::open(folder.path().join("job.jsonl")).expect("free");
    let mut snapshot = Snapshot::new(Label::Before, "Line In", measurement(-1.2));
    file.say(About::Machine, machine).expect("room");
    snapshot.machine = Some(machine.to_owned());
    file.add(RecordEntry::Snapshot(Box::new(snapshot)))
        .expect("room");
    if let Some(corrected) = corrected {
        file.say(About::Machine, corrected).expect("room");
    }
    Saved {
        into: OpenJob {
            job: Arc::new(file.job().clone()),
            ..job_named(machine, None, Vec::new())
        },
        warning: None,
    }
}

/// What comes of saving into a job of this name.
pub(super) fn saved(job: &str) -> Saved {
    let snapshot = Snapshot::new(Label::Before, "Line In", measurement(-1.2));
    Saved {
        into: OpenJob {
            path: format!("/data/jobs/{job}.jsonl").into(),
            ..job_named(job, None, vec![snapshot])
        },
        warning: None,
    }
}

pub(super) fn live(sequence: u64, reading: Reading) -> Arc<LiveState> {
    Arc::new(LiveState {
        sequence,
        sources: 1,
        source: SourceState::Running {
            name: "Line In".to_owned(),
            format: StreamFormat {
                rate_hz: 48_000,
                channels: 2,
            },
        },
        reading: Some(Arc::new(reading)),
        clock: None,
        contact: None,
        overrun_frames: 0,
    })
}

pub(super) fn state(kind: SourceKind) -> ScreenState {
    ScreenState::new(Setup {
        look: Look {
            unicode: true,
            colour: true,
        },
        kind,
        conditions: Conditions::default(),
        tolerance: MachineClass::Deck.tolerance(),
        reference: Reference::Tone(Hertz(3150.0)),
        tape: None,
        cards: Vec::new(),
        machine: None,
        parts: None,
        parts_cards: Vec::new(),
        runs: Vec::new(),
        job: None,
        zone: jiff::tz::TimeZone::UTC,
        message: None,
    })
}

/// A state that shows a reading.
pub(super) fn showing(reading: Reading) -> ScreenState {
    let mut state = state(SourceKind::Input);
    let _ = state.take(live(1, reading));
    state
}

/// The rows of a screen of this size.
pub(super) fn drawn(state: &ScreenState, (width, height): (u16, u16)) -> Vec<String> {
    let mut state = state.clone();
    state.size = (width, height);
    let mut buffer = Buffer::empty(Rect::new(0, 0, width, height));
    super::draw(&state, &mut buffer);
    let row = |y: u16| (0..width).map(|x| buffer[(x, y)].symbol()).collect();
    (0..height).map(row).collect()
}

pub(super) fn text(state: &ScreenState, size: (u16, u16)) -> String {
    drawn(state, size).join("\n")
}
