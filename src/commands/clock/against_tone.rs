//! The sample clock against a reference tone whose frequency is known.

use std::path::Path;
use std::thread;
use std::time::Duration;

use super::{Measured, no_run};
use crate::audio::clock_run::{Heard, Listening};
use crate::audio::input;
use crate::audio::recording::Recording;
use crate::audio::source::StreamFormat;
use crate::commands::cli::ClockOptions;
use crate::commands::interrupt::Interrupt;
use crate::commands::progress::Progress;
use crate::commands::{Exit, Failure};
use crate::readings::{
    ClockSource, Conditions, Engine, Measurement, Nominal, ReferenceError, ReferenceKind,
    SampleClock, Settings,
};
use crate::records::Against;
use crate::references::MachineClass;
use crate::units::{Hertz, Percent, Ppm};

/// How long to listen when nothing is said.
const USUAL_MINUTES: f64 = 1.0;

/// Shorter than this, the scatter of the tone is not known.
const SHORTEST_S: f64 = 10.0;

/// A tone that wavers more than this, weighted two-sigma, comes from a
/// mechanism, not from a standard.
const STEADIEST: Percent = Percent(0.01);

/// No sample clock is so far off; a tone that is, is another tone.
const FARTHEST: Ppm = Ppm(2000.0);

const NAP: Duration = Duration::from_millis(20);

pub(super) fn of_input(options: &ClockOptions) -> Result<Measured, Failure> {
    let length_s = 60.0 * options.minutes.unwrap_or(USUAL_MINUTES);
    let interrupt = Interrupt::listen();
    let mut listening = Listening::start(options.input.as_deref(), options.channel.pick())
        .map_err(|error| no_run(&error))?;
    let format = listening.format();
    let mut engine = engine(options, format)?;
    let mut progress = Progress::new(Some((length_s * 1000.0) as u64));
    let mut buffer = vec![0.0; 1 << 14];
    let mut frames = 0_u64;
    let wanted = (length_s * f64::from(format.rate_hz)) as u64;
    while frames < wanted && !interrupt.came() {
        match listening
            .next(&mut buffer)
            .map_err(|error| no_run(&error))?
        {
            Heard::Samples(samples) => {
                engine.push(samples);
                frames += samples.len() as u64 / u64::from(format.channels.max(1));
            }
            Heard::Missing(lost) => engine.gap(lost),
            Heard::Nothing => thread::sleep(NAP),
        }
        progress.at(frames * 1000 / u64::from(format.rate_hz.max(1)));
    }
    drop(progress);
    let mut measured = measured(options, &engine.measurement(), false)?;
    measured.input = Some(listening.input().clone());
    Ok(measured)
}

pub(super) fn of_recording(options: &ClockOptions, path: &Path) -> Result<Measured, Failure> {
    // Which input is meant is asked first: it may not be there.
    let input = match &options.input {
        Some(named) => Some(
            input::identify(Some(named))
                .map_err(|error| Failure::new(Exit::Sound, error.to_string()))?,
        ),
        None => None,
    };
    let mut recording = Recording::open_taking(path, options.channel.pick())
        .map_err(|error| Failure::new(Exit::File, error.to_string()))?;
    let mut engine = engine(options, recording.format())?;
    let mut progress = Progress::of_recording(recording.total_frames(), recording.format().rate_hz);
    let mut block = Vec::new();
    while recording.next_block(&mut block).is_some() {
        engine.push(&block);
        progress.at(recording.read_frames());
    }
    drop(progress);
    let mut measured = measured(options, &engine.measurement(), true)?;
    measured.input = input;
    Ok(measured)
}

fn engine(options: &ClockOptions, format: StreamFormat) -> Result<Engine, Failure> {
    let tone = Hertz(options.tone.unwrap_or_default());
    Engine::new(Settings {
        rate_hz: format.rate_hz,
        channels: format.channels,
        choice: options.channel.choice(),
        conditions: Conditions {
            kind: ReferenceKind::Tone,
            nominal: Nominal::Fixed(tone),
            reference: ReferenceError::default(),
            // The clock is what is asked for: no part of it in the ±.
            clock: SampleClock {
                error: Ppm(0.0),
                uncertainty: Ppm(0.0),
                source: ClockSource::Option,
            },
        },
        tolerance: MachineClass::Professional.tolerance().half_width,
    })
    .map_err(|error| Failure::new(Exit::NoReference, error.to_string()))
}

fn measured(
    options: &ClockOptions,
    heard: &Measurement,
    recorded: bool,
) -> Result<Measured, Failure> {
    let tone = Hertz(options.tone.unwrap_or_default());
    let refuse = |why: String| Failure::new(Exit::NoReference, why);
    let speed = match &heard.speed {
        Some(speed) if heard.signal.usable => speed,
        _ => return Err(refuse(nothing_heard(heard, tone))),
    };
    if heard.duration.0 < SHORTEST_S {
        return Err(refuse(format!(
            "{:.1} s of the tone are too short; listen for {SHORTEST_S:.0} s at least",
            heard.duration.0
        )));
    }
    let wavers = heard.flutter.weighted_two_sigma;
    if let Some(wavers) = wavers.filter(|wavers| *wavers > STEADIEST) {
        return Err(refuse(format!(
            "the tone wavers by {:.3} %, as from a tape and not from a frequency standard; feed the standard into the input itself",
            wavers.0
        )));
    }
    // A clock that runs fast makes the tone read low.
    let error = Ppm((1.0 / speed.deviation.ratio() - 1.0) * 1e6);
    if error.0.abs() > FARTHEST.0 {
        let heard = speed
            .measured
            .map_or(String::new(), |hz| format!("{hz:.2}, "));
        return Err(refuse(format!(
            "the tone reads {heard}{:+.3} % off the {tone} that it is said to be, which no sample clock is; check the generator and --tone",
            speed.deviation.0
        )));
    }
    let own = match speed.uncertainty {
        Some(own) if own.0 * 1e4 <= options.wanted => Ppm(own.0 * 1e4),
        Some(own) => {
            return Err(refuse(format!(
                "after {:.0} s the tone itself leaves ±{:.1} ppm, more than the ±{:.1} ppm that are wanted; listen for longer or feed it in louder and cleaner",
                heard.duration.0,
                own.0 * 1e4,
                options.wanted
            )));
        }
        None => {
            return Err(refuse(format!(
                "after {:.0} s the scatter of the tone is not known; listen for longer",
                heard.duration.0
            )));
        }
    };
    let true_to = Ppm(options.tone_uncertainty.unwrap_or_default());
    Ok(Measured {
        input: None,
        rate_hz: heard.rate_hz,
        error,
        own,
        against: Against::Tone {
            frequency: tone,
            uncertainty: true_to,
            recorded,
        },
        over: heard.duration,
        notes: vec![
            format!("±{:.3} ppm the reading of the tone", own.0),
            format!(
                "±{} ppm the tone itself, as said by --tone-uncertainty",
                true_to.0
            ),
        ],
    })
}

fn nothing_heard(heard: &Measurement, tone: Hertz) -> String {
    let why = heard.cautions.first().map_or(String::new(), |caution| {
        format!(" ({})", caution.to_string().trim_end_matches('.'))
    });
    format!("no usable tone of {tone} was heard{why}; check the generator, the cable and --tone")
}
